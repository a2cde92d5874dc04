package api_test

import (
	"encoding/json"
	"net/url"
	"slices"
	"strings"
	"testing"

	"askwright/api/web"
	"askwright/service/servicetest"
)

func TestListingLife(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	r := s.do(t, call{method: "POST", path: "/v1/listings", key: key, body: sideboard})
	created := want[row](t, r, 201)
	id := created["id"].(string)
	if got := r.Header.Get("Location"); got != "/v1/listings/"+id {
		t.Errorf("Location %q", got)
	}
	if !strings.Contains(r.body, `"ask":480.00`) || created["outcome"] != "open" || created["purchase_cost"] != 120.0 {
		t.Errorf("created %s", r.body)
	}
	path := "/v1/listings/" + id

	again := s.do(t, call{method: "POST", path: "/v1/listings", key: key, body: sideboard})
	if got := want[row](t, again, 200)["revision"]; got != created["revision"] {
		t.Errorf("the same row again went to revision %v", got)
	}
	tag := r.Header.Get("ETag")
	if r := s.do(t, call{method: "GET", path: path, key: key, header: []string{"If-None-Match", tag}}); r.StatusCode != 304 || r.body != "" {
		t.Errorf("If-None-Match: %d %q", r.StatusCode, r.body)
	}
	patched := s.do(t, call{method: "PATCH", path: path, key: key, body: `{"ask":"430","color":null}`, header: []string{"If-Match", tag, "Content-Type", "application/merge-patch+json"}})
	if got := want[row](t, patched, 200); got["ask"] != 430.0 || !strings.Contains(patched.body, `"ask_history":[{"on":"2026-03-01","ask":480.00},{"on":"2026-03-31","ask":430.00}]`) {
		t.Errorf("patched %s", patched.body)
	}
	wantProblem(t, s.do(t, call{method: "PATCH", path: path, key: key, body: `{"ask":410}`, header: []string{"If-Match", tag}}), 412, "changed")
	wantProblem(t, s.do(t, call{method: "PATCH", path: path, key: key, body: `{"ask":410}`, header: []string{"If-Match", `"x"`}}), 412, "changed")

	event := want[struct {
		Listing row
		Events  []struct{ ID, Kind string }
	}](t, s.do(t, call{method: "POST", path: path + "/events", key: key, body: `{"kind":"sold","on":"2026-03-31","sale_price":425}`}), 201)
	if event.Listing["outcome"] != "sold" || event.Listing["sale_price"] != 425.0 || event.Events[0].Kind != "sold" {
		t.Errorf("sold %+v", event)
	}
	wantProblem(t, s.do(t, call{method: "POST", path: path + "/events", key: key, body: `{"kind":"offer","amount":400}`}), 409, "conflict")
	events := want[struct{ Items []row }](t, s.do(t, call{method: "GET", path: path + "/events", key: key}), 200)
	if len(events.Items) < 3 {
		t.Errorf("events %v", events.Items)
	}
	if r := s.do(t, call{method: "DELETE", path: path, key: key}); r.StatusCode != 204 {
		t.Errorf("DELETE: %d %s", r.StatusCode, r.body)
	}
	wantProblem(t, s.do(t, call{method: "GET", path: path, key: key}), 404, "not-found")
}

// Walking all pages in any order gives each row of the demo once.
func TestPagingSeesEachRowOnce(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.Demo(t), web.Limits{RequestsPerMinute: 100_000})
	key := anyKey(s)
	all := strings.Split(strings.TrimSpace(s.do(t, call{method: "GET", path: "/v1/listings.csv?fields=id,ref", key: key}).body), "\r\n")[1:]
	for _, order := range []string{"ref", "-listed_on,ref", "sale_price", "-ask", "category,-ended_on"} {
		seen := map[string]bool{}
		path := "/v1/listings?limit=37&fields=id&sort=" + order
		for path != "" {
			r := s.do(t, call{method: "GET", path: path, key: key})
			got := want[struct {
				Items []struct{ ID string }
				Next  string
			}](t, r, 200)
			for _, item := range got.Items {
				if seen[item.ID] {
					t.Fatalf("sort=%s: %s came twice", order, item.ID)
				}
				seen[item.ID] = true
			}
			path = nextLink(r)
			if (path == "") != (got.Next == "") {
				t.Errorf("sort=%s: Link %q, next %q", order, path, got.Next)
			}
		}
		if len(seen) != len(all) {
			t.Errorf("sort=%s: %d rows, the export has %d", order, len(seen), len(all))
		}
	}
}

// nextLink reads the header Link (RFC 8288).
func nextLink(r reply) string {
	target, _, ok := strings.Cut(strings.TrimPrefix(r.Header.Get("Link"), "<"), `>; rel="next"`)
	if !ok {
		return ""
	}
	return target
}

func anyKey(s *site) string {
	names := make([]string, 0, len(s.Keys))
	for name := range s.Keys {
		names = append(names, name)
	}
	slices.Sort(names)
	return s.Keys[names[0]]
}

func TestCursorsAreBoundToTheirList(t *testing.T) {
	s := setup(t)
	key := s.Keys["Wilda"]
	for _, ref := range []string{"A-1", "A-2", "A-3"} {
		s.create(t, "Wilda", `{"ref":"`+ref+`","category":"desk","stage":"found"}`)
	}
	r := s.do(t, call{method: "GET", path: "/v1/listings?limit=1&category=desk", key: key})
	next := want[struct{ Next string }](t, r, 200).Next
	for name, query := range map[string]string{
		"other filter": "category=stool&cursor=" + next,
		"other order":  "category=desk&sort=-ref&cursor=" + next,
		"cut off":      "category=desk&cursor=" + next[:len(next)-3],
		"altered":      "category=desk&cursor=" + strings.Replace(next, next[4:6], "zz", 1),
		"not base64":   "category=desk&cursor=***",
		"other JSON":   "category=desk&cursor=e30",
	} {
		t.Run(name, func(t *testing.T) {
			wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings?limit=1&" + query, key: key}), 400, "malformed")
		})
	}
	got := want[struct{ Items []row }](t, s.do(t, call{method: "GET", path: "/v1/listings?limit=1&category=desk&cursor=" + next, key: key}), 200)
	if got.Items[0]["ref"] != "A-2" {
		t.Errorf("second page %v", got.Items)
	}
}

func TestFilters(t *testing.T) {
	t.Parallel()
	s := setup(t)
	s.create(t, "Wilda", sideboard)
	s.create(t, "Wilda", `{"ref":"D-1","category":"desk","condition":4,"listed_on":"2026-02-01","ask":90,"outcome":"sold","ended_on":"2026-02-20","sale_price":80}`)
	s.create(t, "Otto", `{"ref":"Y-1","category":"buffet","stage":"found"}`)
	for query, wanted := range map[string]string{
		"":                             "B-17 D-1 Y-1",
		"category=Desk":                "D-1",
		"category=buffet":              "B-17 Y-1",
		"category=sideboard,desk":      "B-17 D-1 Y-1",
		"condition=4":                  "D-1",
		"condition=very%20good":        "D-1",
		"outcome=open":                 "B-17",
		"ask_min=90&ask_max=479.99":    "D-1",
		"sale_price_max=80":            "D-1",
		"listed_on_from=2026-02-02":    "B-17",
		"listed_on_to=2026-02-28":      "D-1",
		"unlisted=true":                "Y-1",
		"unlisted=false":               "B-17 D-1",
		"member=me":                    "B-17 D-1",
		"member=otto":                  "Y-1",
		"ref=D-1,Y-1":                  "D-1 Y-1",
		"width_min=60":                 "B-17",
		"sort=-ref&category=buffet":    "Y-1 B-17",
		"limit=100000":                 "B-17 D-1 Y-1",
		"limit=2":                      "B-17 D-1",
		"outcome=sold&sort=ref":        "D-1",
		"piece=" + zeroID + "&limit=5": "",
	} {
		r := s.do(t, call{method: "GET", path: "/v1/listings?" + query, key: s.Keys["Wilda"]})
		var refs []string
		for _, item := range want[struct{ Items []row }](t, r, 200).Items {
			refs = append(refs, item["ref"].(string))
		}
		if got := strings.Join(refs, " "); got != wanted {
			t.Errorf("%s: %q, want %q", query, got, wanted)
		}
	}
}

const zeroID = "00000000-0000-7000-8000-000000000000"

func TestBadParameters(t *testing.T) {
	t.Parallel()
	s := setup(t)
	for query, inDetail := range map[string]string{
		"categry=desk":              "category",
		"limit=0":                   "limit",
		"limit=-1":                  "limit",
		"limit=ten":                 "limit",
		"outcome=gone":              "open, sold, pulled",
		"listed_on_from=2026-02-30": "2026-02-30",
		"listed_on_from=01/02/2026": "2026-03-05",
		"ask_min=1e3":               "ask_min",
		"ask_min=NaN":               "ask_min",
		"ask_min=1,000":             "ask_min",
		"sort=colour":               "sort",
		"sort=ref,-ref":             "sort",
		"fields=ref,asking":         "asking",
		"category=desk&category=a":  "twice",
		"member=Nobody":             "Nobody",
		"piece=12":                  "piece",
		"category=%zz":              "hexadecimal",
		"category=%00":              "category",
		"category=%ff":              "category",
		"delimiter=|":               "delimiter",
		"bom=maybe":                 "bom",
		"member=%27%3B--":           "member",
	} {
		r := s.do(t, call{method: "GET", path: "/v1/listings?" + query, key: s.Keys["Wilda"]})
		if p := wantProblem(t, r, 400, "malformed"); !strings.Contains(p.Detail, inDetail) {
			t.Errorf("%s: %q does not mention %q", query, p.Detail, inDetail)
		}
	}
}

func TestListTagsFollowChanges(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	get := func(path, tag string) reply {
		return s.do(t, call{method: "GET", path: path, key: key, header: []string{"If-None-Match", tag}})
	}
	for _, path := range []string{"/v1/listings", "/v1/listings.csv", "/v1/reviews", "/v1/pieces", "/v1/group"} {
		first := get(path, "")
		tag := first.Header.Get("ETag")
		if r := get(path, tag); r.StatusCode != 304 {
			t.Errorf("%s: %d for the tag %s", path, r.StatusCode, tag)
		}
		if r := get(path, `W/"x", `+tag); r.StatusCode != 304 {
			t.Errorf("%s: %d for a list of tags", path, r.StatusCode)
		}
		if other := s.do(t, call{method: "GET", path: path, key: s.Keys["Otto"]}); path != "/v1/group" && other.Header.Get("ETag") == tag {
			t.Errorf("%s: two members share the tag %s", path, tag)
		}
	}
	before := get("/v1/listings", "").Header.Get("ETag")
	s.create(t, "Otto", `{"ref":"O-1","category":"desk","stage":"found"}`)
	if r := get("/v1/listings", before); r.StatusCode != 200 {
		t.Errorf("after a change: %d", r.StatusCode)
	}
	before = get("/v1/listings", "").Header.Get("ETag")
	s.Clock.Advance(1)
	if r := get("/v1/listings", before); r.StatusCode != 200 {
		t.Errorf("a day later: %d", r.StatusCode)
	}
}

func TestForms(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	s.create(t, "Wilda", `{"ref":"B-17","category":"desk","width":35.5,"listed_on":"2026-03-01","ask":480.5,"ask_history":"2026-03-01:500;2026-03-20:480.50","flaws":"=1+1; \"deep\"\nscratch"}`)
	for _, test := range []struct{ path, accept, mediaType string }{
		{"/v1/listings", "", "application/json; charset=utf-8"},
		{"/v1/listings", "text/csv", "text/csv; charset=utf-8; header=present"},
		{"/v1/listings", "text/csv;q=0.5, application/json", "application/json; charset=utf-8"},
		{"/v1/listings", "application/json;q=0.1, text/*", "text/csv; charset=utf-8; header=present"},
		{"/v1/listings", "*/*", "application/json; charset=utf-8"},
		{"/v1/listings.csv", "application/json", "text/csv; charset=utf-8; header=present"},
	} {
		r := s.do(t, call{method: "GET", path: test.path, key: key, header: []string{"Accept", test.accept}})
		if got := r.Header.Get("Content-Type"); r.StatusCode != 200 || got != test.mediaType {
			t.Errorf("%s with Accept %q: %d %q, want %q", test.path, test.accept, r.StatusCode, got, test.mediaType)
		}
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings", key: key, header: []string{"Accept", "text/html"}}), 406, "not-acceptable")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/group", key: key, header: []string{"Accept", "text/csv"}}), 406, "not-acceptable")

	query := url.Values{"fields": {"ref,width,ask,ask_history,flaws"}, "delimiter": {";"}, "decimal": {","}, "bom": {"true"}}
	r := s.do(t, call{method: "GET", path: "/v1/listings.csv?" + query.Encode(), key: key})
	wanted := "\uFEFFref;width;ask;ask_history;flaws\r\nB-17;35,5;480,50;\"2026-03-01:500,00;2026-03-20:480,50\";\"'=1+1; \"\"deep\"\"\nscratch\"\r\n"
	if r.body != wanted {
		t.Errorf("CSV %q\nwant %q", r.body, wanted)
	}
	if got := r.Header.Get("Content-Disposition"); got != `attachment; filename="listings.csv"` {
		t.Errorf("Content-Disposition %q", got)
	}
	again := s.do(t, call{method: "POST", path: landing("?decimal=,"), key: key, body: r.body, header: []string{"Content-Type", "text/csv"}})
	if got := want[row](t, again, 200); got["unchanged"] != 1.0 {
		t.Errorf("importing the export: %s", again.body)
	}
}

// What the brief fixes about a suggestion, as a client of the demo sees it.
func TestAdvice(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.Demo(t), web.Limits{RequestsPerMinute: 100_000})
	key := anyKey(s)
	r := s.do(t, call{method: "POST", path: "/v1/suggestions", key: key, body: `{"subjects":[{"ref":"X-1","category":"sideboard","width":60,"depth":18,"height":34,"condition":"good"},{"category":"desk"}],"within_days":45}`})
	got := want[struct{ Items []map[string]json.RawMessage }](t, r, 200)
	if len(got.Items) != 2 {
		t.Fatalf("%d suggestions", len(got.Items))
	}
	for _, name := range []string{"ref", "sale_price", "ask", "chance_sold", "days", "choices", "curve", "drivers", "comparables", "basis", "cautions", "sentences"} {
		if len(got.Items[0][name]) == 0 {
			t.Errorf("a suggestion without %s: %s", name, r.body)
		}
	}
	var choices []struct {
		Name string
		Ask  float64
	}
	if err := json.Unmarshal(got.Items[0]["choices"], &choices); err != nil || len(choices) != 3 || choices[1].Name != "balanced" {
		t.Errorf("choices %s: %v", got.Items[0]["choices"], err)
	}
	var ask float64
	if err := json.Unmarshal(got.Items[0]["ask"], &ask); err != nil || ask != choices[1].Ask {
		t.Errorf("ask %v, balanced %v (%v)", ask, choices[1].Ask, err)
	}
	open := want[struct{ Items []row }](t, s.do(t, call{method: "GET", path: "/v1/listings?outcome=open&limit=1", key: key}), 200).Items[0]
	r = s.do(t, call{method: "GET", path: "/v1/listings/" + open["id"].(string) + "/suggestion", key: key})
	if want[row](t, r, 200)["ref"] != open["ref"] {
		t.Errorf("suggestion for %v: %s", open["ref"], r.body)
	}
	comparables := want[struct{ Items []row }](t, s.do(t, call{method: "GET", path: "/v1/comparables?category=sideboard&width=60&limit=7", key: key}), 200)
	if len(comparables.Items) != 7 || comparables.Items[0]["member"] == "" || comparables.Items[0]["adjustments"] == nil {
		t.Errorf("comparables %v", comparables.Items)
	}
	stale := s.do(t, call{method: "GET", path: "/v1/reviews?state=stale,slow", key: key})
	items := want[struct{ Items []row }](t, stale, 200).Items
	if len(items) == 0 {
		t.Fatal("no stale or slow listing in the demo")
	}
	for _, item := range items {
		if item["state"] != "stale" && item["state"] != "slow" {
			t.Errorf("state %v", item["state"])
		}
	}
	for _, path := range []string{"/v1/reviews.csv", "/v1/comparables.csv?category=desk", "/v1/reviews?as_of=2026-01-15"} {
		if r := s.do(t, call{method: "GET", path: path, key: key}); r.StatusCode != 200 {
			t.Errorf("%s: %d %s", path, r.StatusCode, r.body)
		}
	}
	if strings.Contains(stale.body, "NaN") || strings.Contains(r.body, "Inf") {
		t.Errorf("a figure is no number: %s", stale.body)
	}
}

func TestGroupMembersKeys(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	r := s.do(t, call{method: "PATCH", path: "/v1/group", key: key, body: `{"hour_value":18.50,"fee_rate":0.05,"refinish_options":[{"finish":"painted","color":"navy","materials":"42","hours":5,"days_out":3}]}`})
	if got := want[row](t, r, 200); got["hour_value"] != 18.5 || !strings.Contains(r.body, `"materials":42.00`) {
		t.Errorf("group %s", r.body)
	}
	wantProblem(t, s.do(t, call{method: "PATCH", path: "/v1/group", key: key, body: `{"currency":"XXX"}`}), 422, "invalid")
	wantProblem(t, s.do(t, call{method: "PATCH", path: "/v1/group", key: key, body: `{"timezone":"Nowhere/At_all"}`}), 422, "invalid")
	wantProblem(t, s.do(t, call{method: "PATCH", path: "/v1/group", key: key, body: `{"hour_value":1.234}`}), 422, "invalid")
	wantProblem(t, s.do(t, call{method: "PATCH", path: "/v1/group", key: key, body: `{"fee_rate":1e999}`}), 422, "invalid")

	k := want[row](t, s.do(t, call{method: "POST", path: "/v1/keys", key: key, body: `{"scope":"write","label":"sheet"}`}), 201)
	secret := k["key"].(string)
	if r := s.do(t, call{method: "GET", path: "/v1/listings", key: secret}); r.StatusCode != 200 {
		t.Errorf("the new key: %d", r.StatusCode)
	}
	list := s.do(t, call{method: "GET", path: "/v1/keys", key: key})
	if strings.Contains(list.body, secret) || strings.Contains(list.body, "ask_") {
		t.Errorf("a secret is listed: %s", list.body)
	}
	if r := s.do(t, call{method: "DELETE", path: "/v1/keys/" + k["id"].(string), key: key}); r.StatusCode != 204 {
		t.Errorf("revoke: %d %s", r.StatusCode, r.body)
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings", key: secret}), 401, "unauthenticated")
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/keys", key: s.Keys["Otto"], body: `{"scope":"admin"}`}), 403, "forbidden")
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/keys", key: key, body: `{"scope":"root"}`}), 422, "invalid")
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/keys", key: key, body: `{"scope":"read","expires_at":"2020-01-01T00:00:00Z"}`}), 422, "invalid")
	otto := s.Actor(t, "Otto").MemberID.String()
	if r := s.do(t, call{method: "DELETE", path: "/v1/members/" + otto, key: key}); r.StatusCode != 204 {
		t.Errorf("leave: %d %s", r.StatusCode, r.body)
	}
}
