package api_test

import (
	"encoding/json"
	"fmt"
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
	id := want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/reviews", key: key}), 200).Items[0].ID
	for query, asked := range map[string]struct{ subject, andIf string }{
		"category=sideboard&width=60&finish=painted&color=green":                                                           {`{"category":"sideboard","width":60,"finish":"painted","color":"green"}`, ""},
		"category=sideboard&width=152.4&unit=cm&finish=painted&color=green&if_color=navy&if_condition=good&within_days=45": {`{"category":"sideboard","width":60,"finish":"painted","color":"green"}`, `{"color":"navy","condition":"good"}`},
		"listing=" + id: {`{"id":"` + id + `"}`, ""},
		"category=sideboard&width=60&finish=painted&color=green&if_finish=clear": {`{"category":"sideboard","width":60,"finish":"painted","color":"green"}`, `{"finish":"clear","color":""}`},
		"listing=" + id + "&if_finish=waxed&if_color=natural":                    {`{"id":"` + id + `"}`, `{"finish":"waxed","color":"natural","second_finish":"","second_color":"","topcoat":""}`},
	} {
		days := "30"
		if strings.Contains(query, "within_days=45") {
			days = "45"
		}
		ask := func(andIf string) reply {
			return s.do(t, call{method: "POST", path: "/v1/suggestions", key: key, body: `{"within_days":` + days + andIf + `,"subjects":[` + asked.subject + `]}`})
		}
		answers := []reply{ask("")}
		if asked.andIf != "" {
			answers = append(answers, ask(`,"and_if":`+asked.andIf))
		}
		known := map[string]bool{}
		var asks, lines []string
		for _, answer := range answers {
			maps.Copy(known, numbersOf(t, answer.body))
			one := want[advised](t, answer, 200).Items[0]
			asks = append(asks, string(one.Ask))
			for _, d := range one.Differences {
				lines = append(lines, string(d.Percent), string(d.Money), string(d.AskChange))
			}
		}
		page := v.get(t, "/board/what-if?"+query).page(t, 200)
		values := page.values()
		if len(values) < 30 {
			t.Errorf("%s: %d figures", query, len(values))
		}
		for _, value := range values {
			if !known[value] {
				t.Errorf("%s: the figure %s is none of the API's", query, value)
			}
		}
		if got := page.all("table", "versus")[0].all("tr", "")[1].values(); !slices.Equal(got, asks) {
			t.Errorf("%s: asks %v side by side, want %v", query, got, asks)
		}
		if asked.andIf == "" {
			continue
		}
		if got := page.all("table", "steps")[0].values(); len(lines) == 0 || !slices.Equal(got, lines) {
			t.Errorf("%s: step by step %v, want %v", query, got, lines)
		}
	}
	if page := v.get(t, "/board/what-if").page(t, 200); len(page.all("table", "versus")) != 0 || len(page.all("form", "describe")) != 1 {
		t.Error("an empty page answers, or has no form")
	}
	wrong := v.get(t, "/board/what-if?category=sideboard&width=wide&if_condition=new").page(t, 422)
	if text := wrong.text(); !strings.Contains(text, "wide") || !strings.Contains(text, "new") || len(wrong.all("p", "wrong")) != 2 {
		t.Errorf("wrong values: %s", text)
	}
	v.get(t, "/board/what-if?listing=none").page(t, 400)
	v.get(t, "/board/what-if?listing=01a21555-117e-7915-bdd8-af726f311c4b").page(t, 404)
	v.get(t, "/board/what-if?colour=navy").page(t, 400)
}

// advised is what the tests read of /v1/suggestions.
type advised struct {
	Items []struct {
		Ask         json.Number
		Differences []struct {
			Percent, Money json.Number
			AskChange      json.Number `json:"ask_change"`
		}
	}
}

// The form of a listing holds its values; sent back unchanged it is answered as
// the listing is. Another member's estimate does not stand in it.
func TestWhatIfOfAListing(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	id := want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/reviews?member=me", key: key}), 200).Items[0].ID
	v := s.signedIn(t, key)
	if got := v.get(t, "/board/listings/"+id).body; !strings.Contains(got, `href="/board/what-if?listing=`+id+`"`) {
		t.Error("the listing's page does not lead there")
	}
	asked := func(query string) (document, []string) {
		page := v.get(t, "/board/what-if?"+query).page(t, 200)
		return page, page.all("table", "versus")[0].all("tr", "")[1].values()
	}
	page, first := asked("listing=" + id)
	form := page.all("form", "describe")[0].sent()
	onFile := want[row](t, s.do(t, call{method: "GET", path: "/v1/listings/" + id, key: key}), 200)
	for _, name := range []string{"category", "width", "condition", "finish", "color", "own_price"} {
		if got, wanted := form.Get(name), fmt.Sprint(onFile[name]); onFile[name] == nil || got != wanted {
			t.Errorf("%s is %q in the form, %v on file", name, got, onFile[name])
		}
	}
	if _, again := asked(form.Encode()); !slices.Equal(again, first) {
		t.Errorf("sent back unchanged it asks %v, not %v", again, first)
	}
	form.Set("width", "")
	form.Set("category", "desk")
	if _, other := asked(form.Encode()); slices.Equal(other, first) {
		t.Errorf("a desk of unknown size asks the same %v", other)
	}
	others := s.signedIn(t, s.Keys["Junia"]).get(t, "/board/what-if?listing="+id).page(t, 200).all("form", "describe")[0].sent()
	if others.Get("category") == "" || others.Get("own_price") != "" {
		t.Errorf("another member reads %v", others)
	}
}

// What to pay is what /v1/purchase-limits answers; a find that is kept is a row,
// ranked with the others, until it is bought or passed over.
func TestFindsEqualTheAPI(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	v := s.signedIn(t, key)
	find := url.Values{"category": {"dresser"}, "width": {"48"}, "material": {"solid_wood"}, "condition": {"good"}, "planned_finish": {"painted"}, "seller_ask": {"45"}, "hours": {"6.5"}}
	page := v.get(t, "/board/finds?"+find.Encode()).page(t, 200)
	answer := s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key,
		body: `{"subjects":[{"category":"dresser","width":48,"material":"solid_wood","condition":"good","planned_finish":"painted","seller_ask":45,"hours":6.5}]}`})
	known, limit := numbersOf(t, answer.body), page.all("section", "limit")[0]
	for _, value := range limit.values() {
		if !known[value] {
			t.Errorf("the figure %s is none of the API's", value)
		}
	}
	one := want[struct{ Items []purchaseLimit }](t, answer, 200).Items[0]
	if n := len(limit.values()); n < 15 || one.WalkAway == nil || len(one.Inspect) < 4 {
		t.Errorf("%d figures of %+v", n, one)
	}
	for i, point := range limit.all("ul", "inspect")[0].all("li", "") {
		if got := point.text(); got != one.Inspect[i].Text {
			t.Errorf("look at %q, want %q", got, one.Inspect[i].Text)
		}
	}
	form := limit.all("form", "keep")[0]
	sent := url.Values{}
	for _, input := range form.all("input", "") {
		sent.Set(attribute(input.Node, "name"), attribute(input.Node, "value"))
	}
	ref := sent.Get("ref")
	if r := v.send(t, "POST", "/board/finds", sent); r.StatusCode != 303 || !strings.HasPrefix(r.Header.Get("Location"), "/board/finds?kept="+ref) {
		t.Fatalf("keep: %d %s", r.StatusCode, r.body)
	}
	kept := want[items](t, s.do(t, call{method: "GET", path: "/v1/listings?ref=" + ref, key: key}), 200).Items[0]
	if kept["stage"] != "found" || kept["seller_ask"] != 45.0 || kept["planned_finish"] != "painted" || kept["hours"] != nil {
		t.Errorf("kept %v", kept)
	}
	if r := v.send(t, "POST", "/board/finds", sent); r.StatusCode != 303 { // the same form on a slow line
		t.Errorf("the form again: %d", r.StatusCode)
	}
	sent.Del("token")
	v.send(t, "POST", "/board/finds", sent).page(t, 409)
	if got := v.get(t, "/board/finds?kept="+ref).page(t, 200).all("p", "done"); len(got) != 1 || got[0].text() != "Saved as "+ref+"." {
		t.Errorf("after keeping it: %v", got)
	}
	if got := v.get(t, "/board/finds?kept=anything").page(t, 200).all("p", "done"); len(got) != 0 {
		t.Errorf("the page says whatever its address does: %s", got[0].text())
	}
	bad := maps.Clone(sent)
	bad.Set("ref", "F-other")
	bad.Set("width", "wide")
	if text := v.send(t, "POST", "/board/finds", bad).page(t, 422).text(); !strings.Contains(text, "wide") {
		t.Errorf("a wrong width: %s", text)
	}
	listed := func() string { return v.get(t, "/board/finds").page(t, 200).all("ol", "finds")[0].text() }
	limits := s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key, body: `{"subjects":[{"ref":"` + ref + `"}]}`})
	figures := numbersOf(t, limits.body)
	for _, li := range v.get(t, "/board/finds").page(t, 200).all("ol", "finds")[0].all("li", "") {
		values := li.values()
		if !strings.Contains(li.text(), ref) {
			continue
		}
		for _, value := range values {
			if len(values) != 5 || !figures[value] {
				t.Errorf("%s stands in the list with %v, one of which is none of %s", ref, values, limits.body)
			}
		}
	}
	if !strings.Contains(listed(), ref) {
		t.Errorf("the list: %s", listed())
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
	if n := len(reader.get(t, "/board/finds?"+find.Encode()).page(t, 200).all("form", "keep")); n != 0 {
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
	tied := v.get(t, "/board").page(t, 200).all("p", "tied")
	if len(tied) != 1 || !slices.Equal(tied[0].values(), []string{report.Cost.String(), report.Pieces.String(), report.Hours.String()}) {
		t.Errorf("tied up %v, want %+v", tied, report)
	}
	feed := "?key=" + s.keyWith(t, "Maren", service.ScopeFeed)
	for _, path := range []string{"/board" + feed, "/board/wall" + feed, "/board/listings?member=Tolliver"} {
		if r := v.get(t, path); r.StatusCode != 200 || strings.Contains(r.body, "tied up") {
			t.Errorf("%s tells of money tied up", path)
		}
	}
}
