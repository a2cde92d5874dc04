package api_test

import (
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"image/png"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/servicetest"
)

var feeds = []string{
	"/v1/listings.csv", "/v1/reviews.csv", "/v1/suggestions.csv", "/v1/reports/listing-age.csv",
	"/v1/comparables.csv?category=desk",
}

func table(t *testing.T, r reply) [][]string {
	t.Helper()
	if r.StatusCode != 200 {
		t.Fatalf("%s: %d %s", r.Request.URL.Path, r.StatusCode, r.body)
	}
	records, err := csv.NewReader(strings.NewReader(r.body)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return records
}

// A suggestion for each open listing, the same as by itself; nothing is kept
// for a feed, and the owner's estimate does not show through one.
func TestSuggestionsForOpenListings(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.Demo(t), web.Limits{RequestsPerMinute: 100_000})
	names := slices.Sorted(maps.Keys(s.Keys))
	wilda, otto := names[0], names[1]
	feedKey := s.keyWith(t, wilda, service.ScopeFeed)
	kept := func() string {
		if err := s.Shown.Flush(t.Context()); err != nil {
			t.Fatal(err)
		}
		return s.Select(t, "select count(*)::text from askwright.suggestion")[0]
	}
	before := kept()
	feed := s.do(t, call{method: "GET", path: "/v1/suggestions.csv?key=" + feedKey})
	if got := kept(); got != before {
		t.Errorf("a feed kept suggestions: %s, before %s", got, before)
	}
	others := s.do(t, call{method: "GET", path: "/v1/suggestions.csv", key: s.Keys[otto]})
	mine := s.do(t, call{method: "GET", path: "/v1/suggestions.csv", key: s.Keys[wilda]})
	open := table(t, s.do(t, call{method: "GET", path: "/v1/listings.csv?outcome=open&source=own&fields=ref,member,id,ask", key: s.Keys[otto]}))
	rows := map[string][][]string{}
	for name, r := range map[string]reply{"feed": feed, "others": others, "mine": mine} {
		rows[name] = table(t, r)
		if len(rows[name]) != len(open) {
			t.Fatalf("%s: %d lines, want one for each of %d open listings", name, len(rows[name]), len(open))
		}
	}
	differs := 0
	for i, row := range rows["feed"][1:] {
		if row[2] == wilda && !slices.Equal(row, rows["others"][i+1]) {
			t.Errorf("%s: the feed says %q, another member is told %q", row[0], row, rows["others"][i+1])
		}
		if row[2] == wilda && !slices.Equal(row[:17], rows["mine"][i+1][:17]) {
			differs++
		}
	}
	if differs == 0 {
		t.Error("no estimate of theirs makes a difference: the test shows nothing")
	}
	if kept() == before {
		t.Error("nothing was kept of what a member was told")
	}
	one := want[struct{ Ask float64 }](t, s.do(t, call{method: "GET", path: "/v1/listings/" + rows["mine"][1][1] + "/suggestion", key: s.Keys[wilda]}), 200)
	if got := rows["mine"][1][6]; got != fmt.Sprintf("%.2f", one.Ask) {
		t.Errorf("%s: suggested_ask %s, alone %.2f", rows["mine"][1][0], got, one.Ask)
	}
	page := want[struct{ Items []struct{ Member string } }](t, s.do(t, call{method: "GET", path: "/v1/suggestions?member=" + otto, key: s.Keys[wilda]}), 200)
	if len(page.Items) == 0 || page.Items[0].Member != otto {
		t.Errorf("member="+otto+": %d items", len(page.Items))
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/suggestions.csv?within_days=731", key: s.Keys[wilda]}), 400, "malformed")
}

func TestASemicolonInAnAddress(t *testing.T) {
	t.Parallel()
	s := setup(t)
	s.create(t, "Wilda", sideboard)
	r := s.do(t, call{method: "GET", path: "/v1/listings.csv?fields=ref,ask&delimiter=;&decimal=,", key: s.Keys["Otto"]})
	if r.body != "ref;ask\r\nB-17;480,00\r\n" {
		t.Errorf("%d %q", r.StatusCode, r.body)
	}
}

// As CSV there is a line for each subject, in order.
func TestSuggestionsAsCSV(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.Demo(t), web.Limits{RequestsPerMinute: 100_000})
	wilda := slices.Sorted(maps.Keys(s.Keys))[0]
	c := call{method: "POST", path: "/v1/suggestions?fields=ref,suggested_ask,refusal", key: s.Keys[wilda],
		body: `{"subjects":[{"ref":"N-1","category":"sideboard","width":60},{"category":"desk"},{"ref":"N-2","category":"sideboard","width":"60"}]}`}
	got := table(t, s.do(t, call{method: c.method, path: c.path, key: c.key, body: c.body, header: []string{"Accept", "text/csv"}}))
	c.path = "/v1/suggestions"
	answers := want[struct {
		Items []struct {
			Ref string
			Ask float64
		}
	}](t, s.do(t, c), 200).Items
	wanted := [][]string{{"ref", "suggested_ask", "refusal"}}
	for _, a := range answers {
		wanted = append(wanted, []string{a.Ref, fmt.Sprintf("%.2f", a.Ask), ""})
	}
	if !slices.EqualFunc(got, wanted, slices.Equal[[]string]) || len(wanted) != 4 {
		t.Errorf("got %q, want %q", got, wanted)
	}
	c.path = "/v1/suggestions?fields=nothing"
	wantProblem(t, s.do(t, c), 400, "malformed")
}

func TestListingAge(t *testing.T) {
	t.Parallel()
	s := setup(t)
	for _, row := range []string{
		`"ref":"A","category":"desk","listed_on":"2026-03-17","ask":100.50`,                               // 14 days
		`"ref":"B","category":"desk","listed_on":"2026-03-16","ask":200`,                                  // 15
		`"ref":"C","category":"desk","listed_on":"2025-12-01","ask":300,"pauses":"2025-12-02/2026-03-01"`, // 120 less 89
		`"ref":"D","category":"desk","listed_on":"2025-12-01","ask":400,"pauses":"2026-03-01/.."`,         // 90, paused
		`"ref":"E","category":"bookcase","listed_on":"2025-12-30","ask":50`,                               // 91
		`"ref":"F","category":"bookcase","listed_on":"2026-03-01","ask":50,"outcome":"pulled","ended_on":"2026-03-20"`,
		`"ref":"G","category":"bookcase","listed_on":"2026-03-01","ask":50,"source":"observed"`,
		`"ref":"H","category":"bookcase","stage":"found"`,
	} {
		s.create(t, "Wilda", "{"+row+"}")
	}
	got := s.do(t, call{method: "GET", path: "/v1/reports/listing-age.csv", key: s.Keys["Otto"]}).body
	wanted := "category,listings,paused,median_days,oldest_days,oldest_ref,oldest_member,asked,days_0_14,days_15_30,days_31_60,days_61_90,days_91_up\r\n" +
		"desk,4,1,23.0,90,D,Wilda,1000.50,1,1,1,1,0\r\n" +
		"bookcase,1,0,91.0,91,E,Wilda,50.00,0,0,0,0,1\r\n"
	if got != wanted {
		t.Errorf("got\n%s\nwant\n%s", got, wanted)
	}
	if r := s.do(t, call{method: "GET", path: "/v1/reports/listing-age.csv", key: s.Keys["Otto"]}); r.body != wanted {
		t.Errorf("by its short name:\n%s", r.body)
	}
	page := want[struct {
		Items []struct {
			Category string
			Listings int
		}
	}](t, s.do(t, call{method: "GET", path: "/v1/reports/listing-age?as_of=2026-03-10", key: s.Keys["Otto"]}), 200)
	if len(page.Items) != 2 || page.Items[0].Category != "bookcase" || page.Items[0].Listings != 2 || page.Items[1].Listings != 2 {
		t.Errorf("as of 10 March: %+v", page)
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/reports/listing-age?as_of=2026-04-10", key: s.Keys["Otto"]}), 400, "malformed")
}

// A feed key opens each feed in an address, ends at once when revoked, counts
// against its member's limit and stands in no log.
func TestFeedKeys(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.New(t, "Wilda"), web.Limits{RequestsPerMinute: 40})
	s.create(t, "Wilda", sideboard)
	made := want[row](t, s.do(t, call{method: "POST", path: "/v1/keys", key: s.Keys["Wilda"], body: `{"scope":"feed"}`}), 201)
	key := made["key"].(string)
	with := func(path string) string {
		if strings.Contains(path, "?") {
			return path + "&key=" + key
		}
		return path + "?key=" + key
	}
	for _, path := range feeds {
		r := s.do(t, call{method: "GET", path: with(path)})
		if r.StatusCode != 200 || r.Header.Get("RateLimit") == "" {
			t.Errorf("%s: %d, RateLimit %s", path, r.StatusCode, r.Header.Get("RateLimit"))
		}
		wantProblem(t, s.do(t, call{method: "GET", path: strings.Replace(with(path), ".csv", "", 1)}), 400, "key-in-address")
	}
	r := s.do(t, call{method: "GET", path: with(feeds[0])})
	for range 40 {
		r = s.do(t, call{method: "GET", path: with(feeds[0])})
	}
	wantProblem(t, r, 429, "too-many-requests")
	if n, err := strconv.Atoi(r.Header.Get("Retry-After")); err != nil || n < 1 {
		t.Errorf("Retry-After %q", r.Header.Get("Retry-After"))
	}
	s.Clock.AdvanceBy(time.Minute)
	s.do(t, call{method: "DELETE", path: "/v1/keys/" + made["id"].(string), key: s.Keys["Wilda"]})
	for _, path := range feeds {
		wantProblem(t, s.do(t, call{method: "GET", path: with(path)}), 401, "unauthenticated")
	}
	if strings.Contains(s.log.String(), key[5:30]) {
		t.Errorf("the key stands in the log: %s", s.log)
	}
}

// Pictures come through a feed key in the address, in the size asked for, with
// a tag; to a feed the owner's curve is what everybody sees.
func TestPictures(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.Demo(t), web.Limits{RequestsPerMinute: 100_000})
	names := slices.Sorted(maps.Keys(s.Keys))
	key := s.keyWith(t, names[0], service.ScopeFeed)
	open := table(t, s.do(t, call{method: "GET", path: "/v1/listings.csv?outcome=open&source=own&fields=id&member=" + names[0], key: s.Keys[names[0]]}))
	curve := "/v1/listings/" + open[1][0] + "/curve"
	for _, path := range []string{curve, "/v1/reports/listing-age"} {
		r := s.do(t, call{method: "GET", path: path + ".png?width=120&height=40&key=" + key})
		img, err := png.Decode(strings.NewReader(r.body))
		if err != nil || img.Bounds().Dx() != 120 || img.Bounds().Dy() != 40 || r.Header.Get("Content-Type") != "image/png" {
			t.Errorf("%s.png: %v, %s", path, err, r.Header.Get("Content-Type"))
		}
		if r := s.do(t, call{method: "GET", path: path + ".png?width=120&height=40&key=" + key, header: []string{"If-None-Match", r.Header.Get("ETag")}}); r.StatusCode != 304 {
			t.Errorf("%s.png again: %d, want 304", path, r.StatusCode)
		}
		svg := s.do(t, call{method: "GET", path: path + ".svg?key=" + key})
		var root struct {
			XMLName xml.Name
			Width   int `xml:"width,attr"`
		}
		if err := xml.Unmarshal([]byte(svg.body), &root); err != nil || root.XMLName.Local != "svg" || root.Width != 480 || svg.Header.Get("Content-Type") != "image/svg+xml" {
			t.Errorf("%s.svg: %v, %+v", path, err, root)
		}
		for _, wrong := range []string{"?width=39", "?height=2000", "?width=x", "?size=3"} {
			wantProblem(t, s.do(t, call{method: "GET", path: path + ".svg" + wrong, key: key}), 400, "malformed")
		}
	}
	feed := s.do(t, call{method: "GET", path: curve + ".svg", key: key}).body
	if others := s.do(t, call{method: "GET", path: curve + ".svg", key: s.Keys[names[1]]}).body; others != feed {
		t.Error("the feed's curve is not what another member sees")
	}
}

func TestACurveThatIsRefusedSaysWhy(t *testing.T) {
	t.Parallel()
	s := setup(t)
	id := s.create(t, "Wilda", `{"ref":"B-17","category":"desk","stage":"found"}`)["id"].(string)
	r := s.do(t, call{method: "GET", path: "/v1/listings/" + id + "/curve.svg", key: s.Keys["Otto"]})
	refusal := want[struct{ Refusal struct{ Detail string } }](t, s.do(t, call{method: "GET", path: "/v1/listings/" + id + "/suggestion", key: s.Keys["Otto"]}), 200).Refusal.Detail
	if first, _, _ := strings.Cut(refusal, " "); first == "" || !strings.Contains(r.body, first) || !strings.Contains(r.body, "B-17") {
		t.Errorf("want %q in %s", refusal, r.body)
	}
}
