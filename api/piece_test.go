package api_test

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service/demo"
	"askwright/service/servicetest"
)

type piece struct {
	ID, Ref, State string
	DaysOwned      int `json:"days_owned"`
	Lineage        []string
	Listings       []row
}

// storyEntry is a thing that happened.
type storyEntry struct {
	On, Kind, Ref, Text string
	Figures             map[string]float64
}

// story is what happened to a piece.
func (s *site) story(t *testing.T, id, key string) []storyEntry {
	t.Helper()
	return want[struct{ Items []storyEntry }](t, s.do(t, call{method: "GET", path: "/v1/pieces/" + id + "/story", key: key}), 200).Items
}

func TestPieceLife(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	r := s.do(t, call{method: "POST", path: "/v1/pieces", key: key, body: `{"ref":"Y-1","category":"desk","stage":"found"}`})
	made := want[piece](t, r, 201)
	if made.State != "found" || len(made.Listings) != 1 {
		t.Errorf("piece %s", r.body)
	}
	path := "/v1/pieces/" + made.ID
	got := s.do(t, call{method: "GET", path: path, key: key})
	tag := got.Header.Get("ETag")
	patched := want[piece](t, s.do(t, call{method: "PATCH", path: path, key: key, body: `{"stage":"on_bench"}`, header: []string{"If-Match", tag}}), 200)
	if patched.State != "on_bench" {
		t.Errorf("patched %+v", patched)
	}
	wantProblem(t, s.do(t, call{method: "PATCH", path: path, key: key, body: `{"stage":"bought"}`, header: []string{"If-Match", tag}}), 412, "changed")
	list := want[struct{ Items []piece }](t, s.do(t, call{method: "GET", path: "/v1/pieces?state=on_bench&member=me", key: key}), 200)
	if len(list.Items) != 1 {
		t.Errorf("pieces %+v", list)
	}
	list = want[struct{ Items []piece }](t, s.do(t, call{method: "GET", path: "/v1/pieces?member=Otto", key: key}), 200)
	if len(list.Items) != 0 {
		t.Errorf("pieces of Otto %+v", list)
	}
}

// A CSV without limit is the whole list, also of more pieces than a page holds.
func TestAllPiecesAsCSV(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	var rows []string
	for i := range 1003 {
		rows = append(rows, fmt.Sprintf(`{"ref":"P-%d","category":"desk","stage":"found"}`, i))
	}
	want[row](t, s.do(t, call{method: "POST", path: landing(""), key: key, body: "[" + strings.Join(rows, ",") + "]"}), 200)
	for query, lines := range map[string]int{"": 1004, "&limit=2": 3, "&member=Otto": 1, "&ref=P-0": 2, "&ref=P-0&member=Otto": 1, "&ref=P": 1} {
		r := s.do(t, call{method: "GET", path: "/v1/pieces.csv?fields=ref,state,lineage" + query, key: key})
		seen := map[string]bool{}
		for _, line := range strings.Split(strings.TrimSpace(r.body), "\r\n") {
			seen[line] = true
		}
		if r.StatusCode != 200 || len(seen) != lines || !seen["ref,state,lineage"] || (lines > 1 && !seen["P-0,found,P-0"]) {
			t.Errorf("%q: %d lines, want %d: %.200s", query, len(seen), lines, r.body)
		}
	}
}

// What was looked at and not bought is there for the group, with the reason.
func TestPassedFinds(t *testing.T) {
	t.Parallel()
	s := setup(t)
	find := s.create(t, "Wilda", `{"ref":"F-1","category":"wardrobe","stage":"found"}`)
	const body = `{"kind":"passed","on":"2026-03-20","reason":"condition","seller_ask":"120.00","note":"smoke"}`
	path := "/v1/listings/" + find["id"].(string) + "/events"
	passed := want[struct{ Listing row }](t, s.do(t, call{method: "POST", path: path, key: s.Keys["Wilda"], body: body}), 201)
	if l := passed.Listing; l["closed_as"] != "condition" || l["closed_on"] != "2026-03-20" || l["closed_note"] != "smoke" || l["seller_ask"] != 120.0 {
		t.Errorf("passed %v", l)
	}
	wantProblem(t, s.do(t, call{method: "POST", path: path, key: s.Keys["Wilda"], body: body}), 409, "conflict")
	r := s.do(t, call{method: "GET", path: "/v1/pieces.csv?state=passed&fields=ref,category,state,closed_as,seller_ask,days_owned", key: s.Keys["Otto"]})
	if wanted := "ref,category,state,closed_as,seller_ask,days_owned\r\nF-1,wardrobe,passed,condition,120.00,\r\n"; r.body != wanted {
		t.Errorf("CSV %q, want %q", r.body, wanted)
	}
	left := want[struct{ Items []piece }](t, s.do(t, call{method: "GET", path: "/v1/pieces?state=passed", key: s.Keys["Otto"]}), 200).Items
	story := s.story(t, left[0].ID, s.Keys["Otto"])
	if len(story) != 2 || story[1].Text != "Passed over for its condition: smoke" || story[0].Figures["seller_ask"] != 120 {
		t.Errorf("story %+v", story)
	}
	p := wantProblem(t, s.do(t, call{method: "POST", path: path, key: s.Keys["Wilda"], body: `{"kind":"retired","reason":"stolen"}`}), 409, "conflict")
	if !strings.Contains(p.Detail, "F-1 was passed over on 2026-03-20 (condition)") {
		t.Errorf("detail %q", p.Detail)
	}
	// The export is taken again as it is.
	export := s.do(t, call{method: "GET", path: "/v1/listings.csv?closed_as=condition", key: s.Keys["Wilda"]})
	again := want[row](t, s.do(t, call{method: "POST", path: landing(""), key: s.Keys["Wilda"], body: export.body, header: []string{"Content-Type", "text/csv"}}), 200)
	if again["unchanged"] != 1.0 {
		t.Errorf("importing the export %q: %v", export.body, again)
	}
}

func TestRefinishAPiece(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	cabinet := s.create(t, "Wilda", `{"ref":"B-17","category":"cabinet","finish":"painted","color":"grey","listed_on":"2026-03-01","ask":230,"bought_on":"2026-02-19","purchase_cost":45,"flaws":"=cut(1)"}`)
	id := want[struct{ Items []piece }](t, s.do(t, call{method: "GET", path: "/v1/pieces", key: key}), 200).Items[0].ID
	path := "/v1/pieces/" + id
	events := func(of string) string { return "/v1/listings/" + of + "/events" }
	const body = `{"kind":"refinish","on":"2026-03-20","finish":"clear","color":"mid_wood","hardware":"replaced","condition":4,"listed_on":"2026-03-28","ask":310,"own_price":"300"}`
	refinish := call{method: "POST", path: events(cabinet["id"].(string)), key: key, body: body}
	first := s.do(t, refinish)
	want[any](t, first, 201)
	made := want[piece](t, s.do(t, call{method: "GET", path: path, key: key}), 200)
	if made.State != "open" || strings.Join(made.Lineage, " ") != "B-17 B-17-2" || made.DaysOwned != 40 {
		t.Errorf("refinished %+v", made)
	}
	again := s.do(t, refinish)
	want[any](t, again, 200)
	if again.Header.Get("ETag") != first.Header.Get("ETag") {
		t.Errorf("the same again has the tag %s, want %s", again.Header.Get("ETag"), first.Header.Get("ETag"))
	}
	var kinds []string
	story := s.story(t, id, key)
	for _, e := range story {
		kinds = append(kinds, e.Kind)
	}
	if got := strings.Join(kinds, " "); got != "bought finished listed pulled refinish relisted" || story[5].Figures["ask"] != 310 {
		t.Errorf("story %s: %+v", got, story)
	}
	second := made.Listings[1]["id"].(string)
	want[row](t, s.do(t, call{method: "POST", path: "/v1/listings/" + second + "/events", key: key, body: `{"kind":"sold","sale_price":300}`}), 201)
	p := wantProblem(t, s.do(t, call{method: "POST", path: events(second), key: key, body: `{"kind":"refinish","finish":"painted"}`}), 409, "conflict")
	if !strings.Contains(p.Detail, "B-17-2 was sold on 2026-03-31 for 300.00") {
		t.Errorf("detail %q", p.Detail)
	}
	p = wantProblem(t, s.do(t, call{method: "POST", path: events(second), key: key, body: `{"kind":"refinish","colour":"navy"}`}), 422, "invalid")
	if len(p.Errors) != 1 || p.Errors[0].Pointer != "#/colour" {
		t.Errorf("problem %+v", p)
	}
}

// Costs, estimates and what was left over are the owner's alone, also in a
// story and in a feed of it.
func TestStoryKeepsTheLedgerPrivate(t *testing.T) {
	t.Parallel()
	s := setup(t)
	s.create(t, "Wilda", `{"ref":"B-1","category":"desk","listed_on":"2026-03-01","ask":300,"outcome":"sold","ended_on":"2026-03-09","sale_price":290,"bought_on":"2026-02-20","purchase_cost":71.17,"hours":3,"fees":13.13,"notes":"=secret","own_price":333.33}`)
	id := want[struct{ Items []piece }](t, s.do(t, call{method: "GET", path: "/v1/pieces", key: s.Keys["Otto"]}), 200).Items[0].ID
	own := s.do(t, call{method: "GET", path: "/v1/pieces/" + id, key: s.Keys["Wilda"]}).body +
		s.do(t, call{method: "GET", path: "/v1/pieces/" + id + "/story", key: s.Keys["Wilda"]}).body
	feed := s.keyWith(t, "Wilda", "feed")
	csv := s.do(t, call{method: "GET", path: "/v1/pieces/" + id + "/story.csv?fields=kind,text,figures", key: s.Keys["Wilda"]})
	const wanted = "kind,text,figures\r\nbought,\"Bought: desk, for 71.17\",purchase_cost:71.17\r\ncost,Work: 3 hours at the bench,hours:3\r\n" +
		"listed,Listed as B-1 for 300; own price 333.33,ask:300.00;own_price:333.33\r\n" +
		"sold,Sold for 290 of 300 asked after 8 days,sale_price:290.00;days_on_market:8;active_days:8\r\ncost,Sale: 13.13 for fees,fees:13.13\r\nnote,'=secret,\r\n" +
		"result,\"In all 290 came in and 84.30 went out: 205.70 left for 3 hours of work, 68.57 an hour; owned 17 days\",profit:205.70;hours:3;profit_per_hour:68.57;days_owned:17\r\n"
	if csv.body != wanted {
		t.Errorf("CSV\n%q\nwant\n%q", csv.body, wanted)
	}
	for name, r := range map[string]reply{
		"another member": s.do(t, call{method: "GET", path: "/v1/pieces/" + id, key: s.Keys["Otto"]}),
		"their story":    s.do(t, call{method: "GET", path: "/v1/pieces/" + id + "/story", key: s.Keys["Otto"]}),
		"a feed":         s.do(t, call{method: "GET", path: "/v1/pieces/" + id + "/story.csv?key=" + feed}),
		"a feed of all":  s.do(t, call{method: "GET", path: "/v1/pieces.csv?key=" + feed}),
	} {
		for _, private := range []string{"71.17", "13.13", "secret", "333.33", "205.70", "2026-02-20", "days_owned"} {
			if r.StatusCode != 200 || strings.Contains(r.body, private) && !strings.Contains(r.body, private+",lineage") {
				t.Errorf("%s reads %q: %s", name, private, r.body)
			}
			if !strings.Contains(own, private) {
				t.Errorf("the owner does not read %q: %s", private, own)
			}
		}
	}
}

// The text comes as JSON, or as plain text to paste; for another member, too.
func TestListingText(t *testing.T) {
	t.Parallel()
	s := setup(t)
	id := s.create(t, "Wilda", `{"ref":"B-17","category":"dresser","wood":"oak","width":60,"finish":"painted","color":"navy","flaws":"one drawer sticks","listed_on":"2026-03-01","ask":480,"notes":"for me"}`)["id"].(string)
	path := "/v1/listings/" + id + "/text"
	got := want[wire.ListingText](t, s.do(t, call{method: "GET", path: path, key: s.Keys["Otto"]}), 200)
	if got.Title != "Oak dresser, painted navy, 60 in wide" || got.Description != "Oak dresser.\nSize: 60 in wide (152 cm).\nFinish: painted navy.\nFlaws: one drawer sticks.\nPrice: $480." {
		t.Errorf("text %+v", got)
	}
	codes := map[string]bool{}
	for _, caution := range got.Cautions {
		codes[caution.Code] = true
	}
	if !codes["tip_over"] || !codes["recall"] {
		t.Errorf("cautions %+v", got.Cautions)
	}
	plain := s.do(t, call{method: "GET", path: path, key: s.Keys["Wilda"], header: []string{"Accept", "text/plain"}})
	if want := got.Title + "\n\n" + got.Description + "\n"; plain.body != want || plain.Header.Get("Content-Type") != "text/plain; charset=utf-8" {
		t.Errorf("%q as %s, want %q", plain.body, plain.Header.Get("Content-Type"), want)
	}
	if r := s.do(t, call{method: "GET", path: path, key: s.Keys["Wilda"], header: []string{"Accept", "text/plain", "If-None-Match", plain.Header.Get("ETag")}}); r.StatusCode != 304 {
		t.Errorf("If-None-Match: %d", r.StatusCode)
	}
	wantProblem(t, s.do(t, call{method: "GET", path: path, key: s.Keys["Wilda"], header: []string{"Accept", "text/csv"}}), 406, "not-acceptable")
}

// The three stories in the README are those that the demo tells, day for day
// after the purchase and word for word, but for what is left out there.
func TestReadmeTellsTheStories(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	s := newSite(t, servicetest.Demo(t), web.Limits{RequestsPerMinute: 100_000})
	entry := regexp.MustCompile(`^    (\d{4}-\d\d-\d\d),(.*)$`)
	for owner, ref := range map[string]string{"Maren": demo.QuickSale, "Brisa": demo.Rescue, "Tolliver": demo.Regret} {
		_, told, _ := strings.Cut(string(text), "(`story "+owner+" "+ref+"`):\n\n")
		id := want[struct{ Items []piece }](t, s.do(t, call{method: "GET", path: "/v1/pieces?ref=" + ref + "&member=me", key: s.Keys[owner]}), 200).Items[0].ID
		story := cells(t, s.do(t, call{method: "GET", path: "/v1/pieces/" + id + "/story.csv", key: s.Keys[owner]}).body)
		shift := day(t, story[0]["on"])
		var first time.Time
		checked := 0
		for line := range strings.Lines(told) {
			m := entry.FindStringSubmatch(strings.TrimSuffix(line, "\n"))
			if m == nil {
				break
			}
			if checked++; checked == 1 {
				first = day(t, m[1])
			}
			on := shift.Add(day(t, m[1]).Sub(first)).Format(time.DateOnly)
			parts := strings.Split(strings.Trim(strings.TrimSuffix(m[2], " ..."), `"`), " ... ")
			if !slices.ContainsFunc(story, func(e map[string]string) bool {
				return e["on"] == on && strings.HasPrefix(e["text"], strings.TrimSuffix(parts[0], ", ...")) && strings.HasSuffix(e["text"], parts[len(parts)-1])
			}) {
				t.Errorf("%s: the README tells of %s, %q, its story does not:\n%v", ref, on, parts, story)
			}
		}
		if checked < 5 {
			t.Errorf("%s: %d lines in the README", ref, checked)
		}
	}
}

func day(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}
