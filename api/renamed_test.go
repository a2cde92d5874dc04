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

// What earlier exports hold is read as today's, by an import and by nothing else.
func TestImportsReadWhatEarlierExportsHave(t *testing.T) {
	t.Parallel()
	s := setup(t)
	const former = "ref,category,items,venue,listed_on,ask,estimate,asks,viewings,outcome,ended_on,let_go,let_go_on,let_go_note,stage\r\n" +
		"B-1,dining_table,dining_table:1;dining_chair:4,porch sale board;town board,2026-03-01,430,450,2026-03-01:480;2026-03-10:430,2,Withdrawn,2026-03-20,kept,2026-03-21,for the hall,\r\n" +
		"B-2,desk,,,,,,,,,,,,,in work\r\n"
	key := s.Keys["Wilda"]
	send := func(path, mediaType, body string) reply {
		return s.do(t, call{method: "POST", path: path, key: key, body: body, header: []string{"Content-Type", mediaType}})
	}
	if got := want[counts](t, send(landing(""), "text/csv", former), 200); got.Created != 2 || len(got.Errors) != 0 || len(got.NewValues) != 0 {
		t.Fatalf("the former export: %+v", got)
	}
	rows := s.do(t, call{method: "GET", path: "/v1/listings?sort=ref", key: key}).body
	for _, part := range []string{
		`"set_items":[{"category":"dining_table","count":1},{"category":"dining_chair","count":4}]`, `"venues":["porch sale board","town board"]`,
		`"own_price":450.00`, `"ask_history":[{"on":"2026-03-01","ask":480.00},{"on":"2026-03-10","ask":430.00}]`, `"showings":2`, `"outcome":"pulled"`,
		`"closed_as":"kept"`, `"closed_on":"2026-03-21"`, `"closed_note":"for the hall"`, `"stage":"on_bench"`,
	} {
		if !strings.Contains(rows, part) {
			t.Errorf("no %s in %s", part, rows)
		}
	}
	if got := want[counts](t, send(landing(""), "application/json", `[{"ref":"B-1","viewings":2,"outcome":"withdrawn"}]`), 200); got.Unchanged != 1 {
		t.Errorf("a former row in JSON: %+v", got)
	}
	if p := wantProblem(t, send(landing(""), "text/csv", "ref,estimate,own_price\r\nB-1,1,2\r\n"), 422, "invalid"); !strings.Contains(p.Detail, "twice") {
		t.Errorf("both headings: %+v", p)
	}
	for body, nearest := range map[string]string{`{"ref":"B-1","estimate":440}`: "own_price", `{"ref":"B-1","outcome":"withdrawn"}`: "pulled"} {
		p := wantProblem(t, send("/v1/listings", "application/json", body), 422, "invalid")
		if len(p.Errors) != 1 || p.Errors[0].Code != "renamed" || p.Errors[0].Nearest != nearest {
			t.Errorf("%s: %+v", body, p)
		}
	}
}

// The release before reads and writes the same rows: on file are its words.
func TestOnFileStandTheFirstNames(t *testing.T) {
	t.Parallel()
	s := setup(t)
	row := s.create(t, "Wilda", `{"ref":"B-1","category":"desk","listed_on":"2026-03-01","ask":430,"own_price":450}`)
	path := "/v1/listings/" + row["id"].(string) + "/events"
	for _, body := range []string{`{"kind":"interest","showings":1}`, `{"kind":"pulled"}`, `{"kind":"retired","reason":"kept"}`} {
		want[any](t, s.do(t, call{method: "POST", path: path, key: s.Keys["Wilda"], body: body}), 201)
	}
	stored := strings.Join(s.Select(t, `select concat_ws(' ', outcome, let_go, (select string_agg(concat_ws(' ', kind, changes::text), ' ' order by change_no) from askwright.event)) from askwright.listing`), "\n")
	for _, part := range []string{"withdrawn kept", "viewings", "let_go_on", `"new": "withdrawn"`, " let_go {"} {
		if !strings.Contains(stored, part) {
			t.Errorf("no %q is on file: %s", part, stored)
		}
	}
	for _, part := range []string{"pulled", "own_price", "showings", "closed_as", "retired"} {
		if strings.Contains(stored, part) {
			t.Errorf("%q is on file: %s", part, stored)
		}
	}
	events := s.do(t, call{method: "GET", path: path, key: s.Keys["Wilda"]}).body
	for _, part := range []string{`"kind":"pulled"`, `"kind":"retired"`, `"showings"`, `"closed_as"`, `"new":"pulled"`} {
		if !strings.Contains(events, part) {
			t.Errorf("no %s in %s", part, events)
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
