package renamed_test

import (
	"flag"
	"os"
	"slices"
	"strings"
	"testing"

	"askwright/api/renamed"
)

var update = flag.Bool("update", false, "write the list in docs/changelog.md anew")

const (
	changelog = "../../docs/changelog.md"
	marker    = "<!-- made from api/renamed: go test ./api/renamed -update -->\n"
)

func TestTheChangelogListsEveryName(t *testing.T) {
	text, err := os.ReadFile(changelog)
	if err != nil {
		t.Fatal(err)
	}
	before, list, found := strings.Cut(string(text), marker)
	if !found {
		t.Fatalf("%s has no line %q", changelog, marker)
	}
	wanted := "\n" + renamed.Markdown()
	if *update {
		if err := os.WriteFile(changelog, []byte(before+marker+wanted), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if list != wanted {
		t.Errorf("%s is not what the table says; run go test ./api/renamed -update", changelog)
	}
}

// A name that were in the table twice, or that is its own successor, would be told wrongly.
func TestTheTableIsSound(t *testing.T) {
	for i, n := range renamed.Names {
		if n.Was == n.Now || n.Was == "" || n.Now == "" || n.Where == "" {
			t.Errorf("%+v says nothing", n)
		}
		if j := slices.Index(renamed.Names, n); j != i {
			t.Errorf("%+v stands twice", n)
		}
	}
}

func TestAnAddressKeepsWhatStoodInIt(t *testing.T) {
	r := renamed.Route{Method: "POST", Was: "/v1/webhooks/:id/test", Now: "/v1/webhooks/{id}/deliveries/{other}"}
	got := r.At(func(name string) string { return map[string]string{"id": "17"}[name] })
	if got != "/v1/webhooks/17/deliveries/{other}" {
		t.Errorf("got %s", got)
	}
}
