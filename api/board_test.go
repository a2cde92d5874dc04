package api_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"askwright/service/advice"
)

// reviewPage is what the tests read of /v1/reviews.
type reviewPage struct {
	Items []struct {
		Ref, ID, State string
		Ask            json.Number
		FairValue      struct{ Likely, Low, High json.Number } `json:"fair_value"`
		ActiveDays     int                                     `json:"active_days"`
		ExpectedDays   *int                                    `json:"expected_days"`
		Gain           json.Number
		Remedies       []struct {
			Action string
			Ask    json.Number
		}
	}
}

type speedPage struct {
	Items []struct {
		Category       string
		Listings, Sold int
		Median         *int `json:"median_days"`
	}
}

// Each row of the board says what /v1/reviews says, figure by figure.
func TestBoardEqualsTheAPI(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	v := s.signedIn(t, s.Keys["Maren"])
	reviews := want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/reviews", key: s.Keys["Maren"]}), 200).Items
	page := v.get(t, "/board").page(t, 200)
	rows := page.all("ol", "tape")[0].all("li", "")
	if len(rows) != len(reviews) || len(rows) < 30 {
		t.Fatalf("%d rows, %d reviews", len(rows), len(reviews))
	}
	stale := 0
	for i, r := range reviews {
		wanted := []string{fmt.Sprint(r.ActiveDays)}
		if r.ExpectedDays != nil {
			wanted = append(wanted, fmt.Sprint(*r.ExpectedDays))
		}
		text := rows[i].text()
		if r.State == "stale" {
			stale++
			wanted = append(wanted, string(r.Gain))
			if ask := r.Remedies[0].Ask; r.Remedies[0].Action == "reprice" && !strings.Contains(text, "Drop it to $"+strings.TrimSuffix(string(ask), ".00")) {
				t.Errorf("%s: %q, want the ask %s", r.Ref, text, ask)
			}
		}
		if got := rows[i].values(); !slices.Equal(got, wanted) {
			t.Errorf("%s: figures %v, want %v", r.Ref, got, wanted)
		}
		if !strings.HasPrefix(text, r.Ref+" ") || !strings.Contains(text, r.State) {
			t.Errorf("row %d: %q, want %s, %s", i+1, text, r.Ref, r.State)
		}
	}
	if got := page.all("h1", "")[0].values(); !slices.Equal(got, []string{fmt.Sprint(stale), fmt.Sprint(len(reviews))}) {
		t.Errorf("headline %v, want %d of %d", got, stale, len(reviews))
	}
	first := page.all("ol", "first")[0].all("li", "")
	for i, li := range first {
		got, r := li.values(), reviews[i]
		wanted := []string{string(r.Gain), fmt.Sprint(r.ActiveDays), fmt.Sprint(*r.ExpectedDays), string(r.FairValue.Likely), string(r.Ask)}
		if !slices.Equal(got, wanted) {
			t.Errorf("the first %d: %v, want %v", i+1, got, wanted)
		}
	}
	if len(first) != 3 {
		t.Errorf("%d stand in front, want 3", len(first))
	}
}

// The tables below the charts count and tell what the API does.
func TestBoardChartsEqualTheAPI(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	key := s.Keys["Maren"]
	reviews := want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/reviews", key: key}), 200).Items
	speeds := want[speedPage](t, s.do(t, call{method: "GET", path: "/v1/reports/days-to-sell", key: key}), 200).Items
	tables := s.signedIn(t, key).get(t, "/board").page(t, 200).all("table", "")
	count := map[string]int{}
	starts := regexp.MustCompile(`^\d+`)
	for _, row := range tables[0].all("tr", "")[1:] {
		cells := strings.Fields(strings.Replace(row.text(), " and up", "", 1))
		for i, state := range advice.ListingStates {
			count[starts.FindString(cells[0])+state] = int(cells[i+1][0] - '0')
		}
	}
	wanted := map[string]int{}
	for _, from := range []string{"0", "15", "31", "61", "91"} {
		for _, state := range advice.ListingStates {
			wanted[from+state] = 0
		}
	}
	for _, r := range reviews {
		from := "0"
		for _, band := range []int{15, 31, 61, 91} {
			if r.ActiveDays >= band {
				from = fmt.Sprint(band)
			}
		}
		wanted[from+r.State]++
	}
	if !maps.Equal(count, wanted) {
		t.Errorf("ages %v, want %v", count, wanted)
	}
	for i, row := range tables[1].all("tr", "")[1:] {
		r := reviews[i]
		if got := row.values()[:4]; !slices.Equal(got, []string{string(r.Ask), string(r.FairValue.Likely), string(r.FairValue.Low), string(r.FairValue.High)}) {
			t.Errorf("fair value of %s: %v, want %v of %v", r.Ref, got, r.FairValue, r.Ask)
		}
	}
	rows := tables[2].all("tr", "")[1:]
	if len(rows) != len(speeds) || len(rows) < 5 {
		t.Fatalf("%d kinds, want %d", len(rows), len(speeds))
	}
	for i, speed := range speeds {
		if got, wanted := rows[i].text(), fmt.Sprintf(" %d %d %d ", speed.Listings, speed.Sold, *speed.Median); !strings.Contains(got, wanted) {
			t.Errorf("days to sell %s: %q, want %q", speed.Category, got, wanted)
		}
	}
}

// Each figure of a listing's page is one that the API answers for it.
func TestListingPageEqualsTheAPI(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	key := s.Keys["Maren"]
	v := s.signedIn(t, key)
	reviews := s.do(t, call{method: "GET", path: "/v1/reviews?member=me", key: key})
	for i, r := range want[reviewPage](t, reviews, 200).Items {
		at := "/v1/listings/" + r.ID
		known := numbersOf(t, string(want[struct{ Items []json.RawMessage }](t, reviews, 200).Items[i]))
		for _, path := range []string{at, at + "/suggestion"} {
			maps.Copy(known, numbersOf(t, s.do(t, call{method: "GET", path: path, key: key}).body))
		}
		values := v.get(t, "/board/listings/"+r.ID).page(t, 200).values()
		if len(values) < 40 {
			t.Errorf("%s: only %d figures", r.Ref, len(values))
		}
		for _, value := range values {
			if !known[value] {
				t.Errorf("%s: the figure %s is none of the API's", r.Ref, value)
			}
		}
	}
}

// An ask, a pause and its end, a sale and a withdrawal: each asks first, is an
// event, and can be undone.
func TestDeeds(t *testing.T) {
	t.Parallel()
	s := setup(t)
	id := s.create(t, "Wilda", sideboard)["id"].(string)
	at := "/board/listings/" + id
	v := s.signedIn(t, s.Keys["Wilda"])
	state := func() row {
		return want[row](t, s.do(t, call{method: "GET", path: "/v1/listings/" + id, key: s.Keys["Wilda"]}), 200)
	}
	for _, deed := range []struct {
		kind, field, value, column string
		want                       any
		undo                       bool
	}{
		{"ask", "ask", "$430", "ask", 430.0, true},
		{"pause", "until", "", "pauses", "2026-03-31/..", false},
		{"resume", "", "", "pauses", nil, false},
		{"sold", "sale_price", "415", "outcome", "sold", true},
		{"withdrawn", "", "", "outcome", "withdrawn", true},
	} {
		before := state()
		asked := v.get(t, at+"/confirm?kind="+deed.kind+"&"+deed.field+"="+url.QueryEscape(deed.value)).page(t, 200)
		form := asked.all("form", "ask")[0]
		sent := url.Values{}
		for _, input := range form.all("input", "") {
			sent.Set(attribute(input.Node, "name"), attribute(input.Node, "value"))
		}
		if sent.Get(deed.field) != deed.value {
			t.Errorf("%s: the form holds %v", deed.kind, sent)
		}
		if got := state(); fmt.Sprint(got) != fmt.Sprint(before) {
			t.Errorf("%s: asking changed the listing: %v", deed.kind, got)
		}
		r := v.send(t, "POST", attribute(form.Node, "action"), sent)
		if r.StatusCode != 303 || !strings.HasPrefix(r.Header.Get("Location"), at+"?done=") {
			t.Fatalf("%s: %d to %s: %s", deed.kind, r.StatusCode, r.Header.Get("Location"), r.body)
		}
		if got := state()[deed.column]; got != deed.want {
			t.Errorf("%s: %s is %v, want %v", deed.kind, deed.column, got, deed.want)
		}
		done := v.get(t, r.Header.Get("Location")).page(t, 200).all("div", "done")
		if len(done) != 1 || !deed.undo {
			continue
		}
		undo := url.Values{}
		for _, input := range done[0].all("input", "") {
			undo.Set(attribute(input.Node, "name"), attribute(input.Node, "value"))
		}
		if r := v.send(t, "POST", at+"/events", undo); r.StatusCode != 303 {
			t.Fatalf("undo %s: %d %s", deed.kind, r.StatusCode, r.body)
		}
		if got := state()[deed.column]; got != before[deed.column] {
			t.Errorf("%s undone: %s is %v, want %v", deed.kind, deed.column, got, before[deed.column])
		}
	}
	wrong := v.post(t, at+"/events", "kind", "ask", "ask", "dear").page(t, 422)
	if got := wrong.text(); !strings.Contains(got, "dear") || len(wrong.all("input", "")) != 3 {
		t.Errorf("a wrong ask: %s", got)
	}
	v.post(t, at+"/events", "kind", "ask", "ask", "400", "revision", "1").page(t, 412)
	v.post(t, at+"/events", "kind", "offer", "amount", "400").page(t, 400)
	v.post(t, at+"/events", "kind", "void", "voids", "nothing").page(t, 400)
}

func TestPagesAreSelfContained(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	v := s.signedIn(t, s.Keys["Maren"])
	for _, path := range []string{"/board", "/board/sign-in", "/board/listings/" + demoListing(t, s), "/board/what-if?category=desk", "/board/finds?category=desk"} {
		r := v.get(t, path)
		page := r.page(t, 200)
		if got := r.Header.Get("Content-Security-Policy"); !strings.HasPrefix(got, "default-src 'none'; style-src 'self';") || strings.Contains(got, "unsafe") {
			t.Errorf("%s: Content-Security-Policy %q", path, got)
		}
		if n := len(page.all("script", "")) + len(page.all("style", "")); n != 0 || strings.Contains(r.body, " style=") || strings.Contains(r.body, " onclick") {
			t.Errorf("%s: scripts or styles stand in the page", path)
		}
		for n := range page.Descendants() {
			for _, a := range n.Attr {
				if (a.Key == "href" || a.Key == "src" || a.Key == "action") && !strings.HasPrefix(a.Val, "/board") && !strings.HasPrefix(a.Val, "#") {
					t.Errorf("%s: %s leads to %s", path, n.Data, a.Val)
				}
			}
		}
		if len(page.all("h1", "")) != 1 || len(page.all("main", "")) != 1 || attribute(page.all("html", "")[0].Node, "lang") != "en" {
			t.Errorf("%s: not one heading, one main part and a language", path)
		}
	}
	style := v.get(t, "/board/style.css")
	if style.StatusCode != 200 || style.Header.Get("Content-Type") != "text/css; charset=utf-8" || bytes.Contains([]byte(style.body), []byte("http")) || strings.Contains(style.body, "@import") {
		t.Errorf("the stylesheet: %d %v", style.StatusCode, style.Header)
	}
}
