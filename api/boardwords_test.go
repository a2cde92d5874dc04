package api_test

import (
	"regexp"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"askwright/service"
)

// notPlain is what nobody says who sells furniture: codes, ids, days as machines
// write them, words of the API, and words that docs/words.md replaced.
var notPlain = regexp.MustCompile(`\b[a-z]+_[a-z_]+\b|[0-9a-f]{8}-[0-9a-f]{4}-|\b\d{4}-\d\d-\d\d\b|\d %|\bof 100\b|` +
	`(?i:\b(?:API|JSON|CSV|endpoint|null|parameter|kerb|yard|withdrawn|let go|fair value|fetch(?:es|ed|ing)?|viewings|on file|reckoned|such pieces|USD)\b)`)

// visible is what a reader sees, with the choices of forms.
func (d document) visible() string {
	var out strings.Builder
	for n := range d.Descendants() {
		if n.Type == html.TextNode && n.Parent.Data != "cite" {
			out.WriteString(n.Data + " ")
		}
	}
	return strings.Join(strings.Fields(out.String()), " ")
}

// Every page of the demo speaks plain trade English.
func TestPagesSpeakPlainly(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	key := s.Keys["Maren"]
	v := s.signedIn(t, key)
	paths := []string{
		"/board", "/board/listings", "/board/charts", "/board/pieces", "/board/new-piece", "/board/settings", "/board/keys", "/board/wall",
		"/board/finds?category=dresser&width=48&condition=good&planned_finish=painted&seller_ask=45", "/board/finds",
		"/board/what-if?category=sideboard&width=60&finish=painted&color=green&if_color=navy", "/board/what-if?category=spinet",
	}
	at := func(id string) string { return "/board/listings/" + id }
	for _, r := range want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/reviews?member=me", key: key}), 200).Items {
		paths = append(paths, at(r.ID))
	}
	first := demoListing(t, s)
	for _, kind := range []string{"ask", "offer", "hold", "release", "sold", "pause", "resume", "interest", "check", "work", "cost", "refinish", "pulled", "reopen", "relist", "retired"} {
		paths = append(paths, at(first)+"/confirm?kind="+kind)
	}
	rows := want[items](t, s.do(t, call{method: "GET", path: "/v1/listings?member=me&limit=500", key: key}), 200).Items
	sold, left := 0, 0
	for _, row := range rows {
		id := row["id"].(string)
		switch {
		case row["stage"] != nil:
			paths = append(paths, at(id)+"/confirm?kind=listed", at(id)+"/confirm?kind=plan")
		case row["outcome"] == service.OutcomeSold && sold < 3:
			sold++
			paths = append(paths, at(id))
		case row["outcome"] == service.OutcomePulled && left < 3:
			left++
			paths = append(paths, at(id))
		}
	}
	for _, p := range want[struct{ Items []struct{ ID, State string } }](t, s.do(t, call{method: "GET", path: "/v1/pieces?member=me&state=found,bought,on_bench", key: key}), 200).Items {
		paths = append(paths, "/board/pieces/"+p.ID)
	}
	if len(paths) < 40 {
		t.Errorf("only %d pages", len(paths))
	}
	for _, path := range paths {
		r := v.get(t, path)
		if r.StatusCode != 200 {
			t.Errorf("%s: %d", path, r.StatusCode)
			continue
		}
		text := r.page(t, 200).visible()
		for _, found := range notPlain.FindAllStringIndex(text, 3) {
			t.Errorf("%s says %q: …%s…", path, text[found[0]:found[1]], text[max(0, found[0]-40):min(len(text), found[1]+30)])
		}
	}
}
