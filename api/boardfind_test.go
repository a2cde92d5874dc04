package api_test

import (
	"encoding/json"
	"maps"
	"net/url"
	"slices"
	"strings"
	"testing"

	"askwright/service"
)

// Figures of the page are those of /v1/suggestions for the piece and for what
// is tried instead, also of a listing on file, line by line.
func TestWhatIfEqualsTheAPI(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	v := s.signedIn(t, key)
	id := want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/stale", key: key}), 200).Items[0].ID
	for query, subjects := range map[string]string{
		"category=sideboard&width=60&finish=painted&color=green":               `{"category":"sideboard","width":60,"finish":"painted","color":"green"}`,
		"category=sideboard&width=60&finish=painted&color=green&if_color=navy": `{"category":"sideboard","width":60,"finish":"painted","color":"green"},{"category":"sideboard","width":60,"finish":"painted","color":"navy"}`,
		"listing=" + id: `{"id":"` + id + `"}`,
		"listing=" + id + "&if_finish=clear&if_color=natural": `{"id":"` + id + `"},{"id":"` + id + `","finish":"clear","color":"natural"}`,
	} {
		answer := s.do(t, call{method: "POST", path: "/v1/suggestions", key: key, body: `{"subjects":[` + subjects + `]}`})
		known := numbersOf(t, answer.body)
		page := v.get(t, "/board/try?"+query).page(t, 200)
		values := page.values()
		if len(values) < 30 {
			t.Errorf("%s: %d figures", query, len(values))
		}
		for _, value := range values {
			if !known[value] {
				t.Errorf("%s: the figure %s is none of the API's", query, value)
			}
		}
		asks := want[struct{ Suggestions []struct{ Ask float64 } }](t, answer, 200).Suggestions
		if shown := len(page.all("table", "versus")[0].all("b", "")); shown != len(asks) {
			t.Errorf("%s: %d asks side by side, want %d", query, shown, len(asks))
		}
	}
	if page := v.get(t, "/board/try").page(t, 200); len(page.all("table", "versus")) != 0 || len(page.all("form", "describe")) != 1 {
		t.Error("an empty page answers, or has no form")
	}
	wrong := v.get(t, "/board/try?category=sideboard&width=wide&if_condition=new").page(t, 422)
	if text := wrong.text(); !strings.Contains(text, "wide") || !strings.Contains(text, "new") || len(wrong.all("p", "wrong")) != 2 {
		t.Errorf("wrong values: %s", text)
	}
	v.get(t, "/board/try?listing=none").page(t, 400)
	v.get(t, "/board/try?listing=01a21555-117e-7915-bdd8-af726f311c4b").page(t, 404)
	v.get(t, "/board/try?colour=navy").page(t, 400)
}

// What to pay is what /v1/purchase-limits answers; a find that is kept is a row,
// ranked with the others, until it is bought or passed over.
func TestFindsEqualTheAPI(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	v := s.signedIn(t, key)
	find := url.Values{"category": {"dresser"}, "width": {"48"}, "material": {"solid_wood"}, "condition": {"good"}, "planned_finish": {"painted"}, "seller_ask": {"45"}, "hours": {"6.5"}}
	page := v.get(t, "/board/kerb?"+find.Encode()).page(t, 200)
	answer := s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key,
		body: `{"subjects":[{"category":"dresser","width":48,"material":"solid_wood","condition":"good","planned_finish":"painted","seller_ask":45,"hours":6.5}]}`})
	known, limit := numbersOf(t, answer.body), page.all("section", "limit")[0]
	for _, value := range limit.values() {
		if !known[value] {
			t.Errorf("the figure %s is none of the API's", value)
		}
	}
	one := want[struct{ Limits []purchaseLimit }](t, answer, 200).Limits[0]
	if n := len(limit.values()); n < 15 || one.WalkAway == nil || len(limit.all("li", "")) < len(one.Inspect) {
		t.Errorf("%d figures of %+v", n, one)
	}
	form := limit.all("form", "keep")[0]
	sent := url.Values{}
	for _, input := range form.all("input", "") {
		sent.Set(attribute(input.Node, "name"), attribute(input.Node, "value"))
	}
	ref := sent.Get("ref")
	if r := v.send(t, "POST", "/board/finds", sent); r.StatusCode != 303 || !strings.HasPrefix(r.Header.Get("Location"), "/board/kerb?kept="+ref) {
		t.Fatalf("keep: %d %s", r.StatusCode, r.body)
	}
	kept := want[items](t, s.do(t, call{method: "GET", path: "/v1/listings?ref=" + ref, key: key}), 200).Items[0]
	if kept["stage"] != "found" || kept["seller_ask"] != 45.0 || kept["planned_finish"] != "painted" || kept["hours"] != nil {
		t.Errorf("kept %v", kept)
	}
	v.send(t, "POST", "/board/finds", sent).page(t, 409)
	bad := maps.Clone(sent)
	bad.Set("ref", "F-other")
	bad.Set("width", "wide")
	if text := v.send(t, "POST", "/board/finds", bad).page(t, 422).text(); !strings.Contains(text, "wide") {
		t.Errorf("a wrong width: %s", text)
	}
	listed := func() string { return v.get(t, "/board/kerb").page(t, 200).all("ol", "finds")[0].text() }
	limits := s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key, body: `{"subjects":[{"ref":"` + ref + `"}]}`})
	if at := want[struct{ Limits []purchaseLimit }](t, limits, 200).Limits[0].WalkAway; at == nil || !strings.Contains(listed(), ref) {
		t.Errorf("walk away at %v; the list: %s", at, listed())
	}
	at := "/board/listings/" + kept["id"].(string)
	v.get(t, at+"/confirm?kind=passed").page(t, 200)
	v.post(t, at+"/events", "kind", "passed", "reason", "too dear").page(t, 422)
	if r := v.post(t, at+"/events", "kind", "passed", "reason", "price", "note", "they would not move"); r.StatusCode != 303 {
		t.Fatalf("pass: %d %s", r.StatusCode, r.body)
	}
	if strings.Contains(listed(), ref) {
		t.Errorf("passed over and still listed: %s", listed())
	}
	// Another member's finds are theirs; a key that only reads keeps none.
	reader := s.signedIn(t, s.keyWith(t, "Maren", service.ScopeRead))
	if n := len(reader.get(t, "/board/kerb?"+find.Encode()).page(t, 200).all("form", "keep")); n != 0 {
		t.Error("a key that only reads is offered to keep a find")
	}
	reader.send(t, "POST", "/board/finds", sent).page(t, 403)
}

// One's own page tells the money tied up as the profit report does; nobody
// else's does.
func TestMoneyTiedUp(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	report := want[struct {
		Total struct {
			Cost, Hours json.Number
			Pieces      json.Number
		} `json:"stock_total"`
	}](t, s.do(t, call{method: "GET", path: "/v1/reports/profit", key: key}), 200).Total
	v := s.signedIn(t, key)
	tied := v.get(t, "/board?member=me").page(t, 200).all("p", "tied")
	if len(tied) != 1 || !slices.Equal(tied[0].values(), []string{report.Cost.String(), report.Pieces.String(), report.Hours.String()}) {
		t.Errorf("tied up %v, want %+v", tied, report)
	}
	feed := "&key=" + s.keyWith(t, "Maren", service.ScopeFeed)
	for _, path := range []string{"/board", "/board?member=Tolliver", "/board?member=me" + feed} {
		if r := v.get(t, path); r.StatusCode != 200 || strings.Contains(r.body, "tied up") {
			t.Errorf("%s tells of money tied up", path)
		}
	}
}
