package api_test

import (
	"strings"
	"testing"

	"askwright/api/renamed"
)

// No key is needed to learn where an address went.
func TestEveryOldAddressNamesTheNewOne(t *testing.T) {
	t.Parallel()
	s := setup(t)
	described := make(map[string]bool)
	for _, route := range documented(t) {
		described[route[0]+" "+route[1]] = true
	}
	for _, r := range renamed.Routes {
		path := strings.NewReplacer(":id", noID, ":delivery_id", noID).Replace(r.Was)
		answer := s.do(t, call{method: r.Method, path: path + "?fields=ref"})
		p := wantProblem(t, answer, 410, "renamed")
		now := r.At(func(name string) string { return map[string]string{"id": noID, "delivery_id": noID}[name] })
		if !strings.Contains(answer.body, `"now":"`+now+`"`) || !strings.Contains(p.Detail, now) {
			t.Errorf("%s %s: %s", r.Method, r.Was, answer.body)
		}
		address, _, _ := strings.Cut(now, "?")
		if got := answer.Header.Get("Link"); got != "<"+address+`>; rel="successor-version"` {
			t.Errorf("%s %s: Link %q", r.Method, r.Was, got)
		}
		address, _, _ = strings.Cut(r.Now, "?")
		if !described[r.Method+" "+strings.Replace(address, "{listing_id}", "{id}", 1)] {
			t.Errorf("%s %s is in no description", r.Method, r.Now)
		}
		if options := s.do(t, call{method: "OPTIONS", path: path}); options.StatusCode != 204 {
			t.Errorf("OPTIONS %s: %d", path, options.StatusCode)
		}
	}
}

// Bookmarks of the board go on.
func TestOldPagesOfTheBoardLeadToTheNewOnes(t *testing.T) {
	t.Parallel()
	s := setup(t)
	for was, now := range map[string]string{"/board/try?listing=17": "/board/what-if?listing=17", "/board/kerb": "/board/finds"} {
		r := s.do(t, call{method: "GET", path: was})
		if r.StatusCode != 301 || r.Header.Get("Location") != now {
			t.Errorf("%s: %d to %q, want 301 to %s", was, r.StatusCode, r.Header.Get("Location"), now)
		}
	}
}

// A parameter that became an address of its own says which.
func TestOldParametersNameTheNewOnes(t *testing.T) {
	t.Parallel()
	s := setup(t)
	for path, nearest := range map[string]string{
		"/v1/reports/profit?lines=true":    "/v1/reports/profit-lines",
		"/v1/reports/profit.csv?rows=lets": "/v1/reports/profit-lines, /v1/reports/stock or /v1/reports/let-go",
	} {
		p := wantProblem(t, s.do(t, call{method: "GET", path: path, key: s.Keys["Wilda"]}), 400, "malformed")
		if len(p.Errors) != 1 || p.Errors[0].Code != "renamed" || p.Errors[0].Nearest != nearest {
			t.Errorf("%s: %+v", path, p)
		}
	}
}
