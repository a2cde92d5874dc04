package api_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"askwright/service/advice"
)

// reviewPage is what the tests read of /v1/reviews.
type reviewPage struct {
	Items []struct {
		Ref, ID, State, Member, Category string
		Ask                              json.Number
		FairValue                        struct{ Likely, Low, High json.Number } `json:"fair_value"`
		ActiveDays                       int                                     `json:"active_days"`
		ExpectedDays                     *int                                    `json:"expected_days"`
		Gain                             json.Number
		Action                           string
		NextAsk                          *json.Number `json:"next_ask"`
		Remedies                         []struct {
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

// Each row of the list says what /v1/reviews says, figure by figure.
func TestBoardEqualsTheAPI(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	v := s.signedIn(t, s.Keys["Maren"])
	reviews := want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/reviews", key: s.Keys["Maren"]}), 200).Items
	page := v.get(t, "/board/listings").page(t, 200)
	rows := page.all("ol", "tape")[0].all("li", "")
	if len(rows) != len(reviews) || len(rows) < 30 {
		t.Fatalf("%d rows, %d reviews", len(rows), len(reviews))
	}
	stale := 0
	for i, r := range reviews {
		wanted := []string{string(r.Ask), fmt.Sprint(r.ActiveDays)}
		text := rows[i].text()
		if r.State == "stale" {
			stale++
			wanted = append(wanted, string(r.Gain))
			if ask := r.Remedies[0].Ask; r.Remedies[0].Action == "reprice" && !strings.Contains(text, "Drop it to $"+strings.TrimSuffix(string(ask), ".00")) {
				t.Errorf("%s: %q, want the ask %s", r.Ref, text, ask)
			}
		} else if r.NextAsk != nil && r.Action == "wait" {
			wanted = append(wanted, string(*r.NextAsk))
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
}

// The list is searched, filtered and sorted; what fits nothing says so.
func TestListingsAreFound(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	v := s.signedIn(t, s.Keys["Maren"])
	reviews := want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/reviews", key: s.Keys["Maren"]}), 200).Items
	refs := func(query string) (refs []string) {
		for _, list := range v.get(t, "/board/listings?"+query).page(t, 200).all("ol", "tape") {
			for _, a := range list.all("a", "") {
				refs = append(refs, a.text())
			}
		}
		return refs
	}
	for query, fits := range map[string]func(int) bool{
		"member=me":      func(i int) bool { return reviews[i].Member == "Maren" },
		"member=Oswin":   func(i int) bool { return reviews[i].Member == "Oswin" },
		"state=slow":     func(i int) bool { return reviews[i].State == "slow" },
		"category=desk":  func(i int) bool { return reviews[i].Category == "desk" },
		"q=oswin+coffee": func(i int) bool { return reviews[i].Member == "Oswin" && reviews[i].Category == "coffee_table" },
	} {
		var wanted []string
		for i, r := range reviews {
			if fits(i) {
				wanted = append(wanted, r.Ref)
			}
		}
		if got := refs(query); !slices.Equal(got, wanted) || len(got) == 0 {
			t.Errorf("%s: %v, want %v", query, got, wanted)
		}
	}
	for place, n := range map[string]int{"porch sale board": 1, "local classifieds": 1} {
		if got := refs("place=" + url.QueryEscape(place)); len(got) < n || len(got) == len(reviews) {
			t.Errorf("posted at %s: %v", place, got)
		}
	}
	asks := v.get(t, "/board/listings?sort=ask").page(t, 200).all("ol", "tape")[0].all("span", "n")
	for i := 1; i < len(asks); i++ {
		if x, y := atof(t, asks[i-1].values()[0]), atof(t, asks[i].values()[0]); x < y {
			t.Errorf("sorted by ask %v comes before %v", x, y)
		}
	}
	if got := v.get(t, "/board/listings?q=spinet").page(t, 200).text(); !strings.Contains(got, "Nothing fits.") {
		t.Errorf("what nobody has: %s", got)
	}
	v.get(t, "/board/listings?state=old").page(t, 400)
	if r := v.get(t, "/board?member=me&all=true"); r.StatusCode != 301 || r.Header.Get("Location") != "/board/listings?all=true&member=me" {
		t.Errorf("the old address: %d to %s", r.StatusCode, r.Header.Get("Location"))
	}
}

func atof(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// The tables below the charts count and tell what the API does.
func TestBoardChartsEqualTheAPI(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	key := s.Keys["Maren"]
	reviews := want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/reviews", key: key}), 200).Items
	speeds := want[speedPage](t, s.do(t, call{method: "GET", path: "/v1/reports/days-to-sell", key: key}), 200).Items
	tables := s.signedIn(t, key).get(t, "/board/charts").page(t, 200).all("table", "")
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

func TestPagesAreSelfContained(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	v := s.signedIn(t, s.Keys["Maren"])
	for _, path := range []string{"/board", "/board/listings", "/board/charts", "/board/pieces", "/board/new-piece", "/board/sign-in", "/board/listings/" + demoListing(t, s), "/board/what-if?category=desk", "/board/finds?category=desk"} {
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
