package pricing

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

func TestEveryKindOfSentenceIsDocumented(t *testing.T) {
	source, err := os.ReadFile("sentence.go")
	if err != nil {
		t.Fatal(err)
	}
	guide, err := os.ReadFile("../docs/api.md")
	if err != nil {
		t.Fatal(err)
	}
	kinds := regexp.MustCompile(`\bSaid\w+ += "(\w+)"`).FindAllStringSubmatch(string(source), -1)
	if len(kinds) < 30 {
		t.Fatalf("read %d kinds", len(kinds))
	}
	for _, kind := range kinds {
		if !strings.Contains(string(guide), "| `"+kind[1]+"` |") {
			t.Errorf("docs/api.md does not tell what %q is", kind[1])
		}
	}
}
