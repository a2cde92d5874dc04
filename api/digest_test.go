package api_test

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/xml"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"askwright/api/wire"
	"askwright/service"
	"askwright/service/servicetest"
)

type items struct{ Items []row }

// The digest holds the figures of the other answers.
func TestDigestAgreesWithTheOtherAnswers(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	s.Clock.Advance(1)
	ask := func(path string) items {
		return want[items](t, s.do(t, call{method: "GET", path: path, key: key}), 200)
	}
	for _, member := range []string{"", "member=me"} {
		got := want[struct {
			Open                map[string]int
			Stale, Sold, Paused []row
			More                int `json:"more_stale"`
			SoldMore            int `json:"more_sold"`
			Record              []wire.Sentence
		}](t, s.do(t, call{method: "GET", path: "/v1/digest?" + member, key: key}), 200)
		states := map[string]int{}
		var stale []row
		for _, r := range ask("/v1/reviews?" + member).Items {
			states[r["state"].(string)]++
			if r["state"] == "stale" {
				stale = append(stale, r)
			}
		}
		if fmt.Sprint(got.Open) != fmt.Sprint(map[string]int{"stale": states["stale"], "slow": states["slow"], "fresh": states["fresh"], "paused": states["paused"]}) {
			t.Errorf("%s: open %v, want %v", member, got.Open, states)
		}
		if shown := stale[:min(5, len(stale))]; !cmp.Equal(got.Stale, shown) || got.More != len(stale)-len(shown) {
			t.Errorf("%s: the stale differ from the reviews: %s", member, cmp.Diff(got.Stale, shown))
		}
		if member == "" && (len(stale) == 0 || len(got.Sold) == 0 || len(got.Record) == 0) {
			t.Errorf("%d stale, %d sold, %d sentences on the record: too little was compared", len(stale), len(got.Sold), len(got.Record))
		}
		sold := ask("/v1/listings?source=own&outcome=sold&sort=-ended_on&ended_on_from=2026-03-26&" + member).Items
		if len(got.Sold)+got.SoldMore != len(sold) {
			t.Errorf("%s: %d and %d more sold, want %d", member, len(got.Sold), got.SoldMore, len(sold))
		}
		for i, sale := range got.Sold {
			for _, name := range []string{"ref", "id", "member", "ended_on", "sale_price", "ask"} {
				if sale[name] != sold[i][name] {
					t.Errorf("%s: sold %s %v, want %v", member, name, sale[name], sold[i][name])
				}
			}
		}
		for _, p := range got.Paused {
			since, _ := time.Parse(time.DateOnly, p["paused_on"].(string))
			if days := servicetest.Today.Time().AddDate(0, 0, 1).Sub(since).Hours() / 24; p["days"] != days || days < 14 {
				t.Errorf("%v paused since %v: %v days, want %v, of at least 14", p["ref"], p["paused_on"], p["days"], days)
			}
		}
		record := want[struct {
			Kept struct{ Sentences []wire.Sentence }
		}](t, s.do(t, call{method: "GET", path: "/v1/track-record", key: key}), 200)
		if !slices.Equal(got.Record, record.Kept.Sentences) {
			t.Errorf("record %q, want %q", got.Record, record.Kept.Sentences)
		}
	}
}

func TestDigestOfAPauseAndASale(t *testing.T) {
	t.Parallel()
	s := setup(t)
	s.create(t, "Wilda", `{"ref":"P-1","category":"desk","listed_on":"2026-03-01","ask":300,"pauses":"2026-03-10/2026-04-04"}`)
	s.create(t, "Wilda", `{"ref":"P-2","category":"desk","listed_on":"2026-03-01","ask":300,"pauses":"2026-03-20/.."}`)
	s.create(t, "Wilda", `{"ref":"P-3","category":"desk","listed_on":"2026-02-01","ask":300,"pauses":"2026-02-05/2026-03-05"}`)
	s.create(t, "Otto", `{"ref":"S-1","category":"dining_chair","set_size":4,"listed_on":"2026-03-01","ask":320,"pauses":"2026-03-05/2026-03-10","outcome":"sold","ended_on":"2026-03-25","sale_price":305.5}`)
	s.create(t, "Otto", `{"ref":"S-<b>&","category":"desk","listed_on":"2026-03-24","ask":320,"outcome":"sold","ended_on":"2026-03-31","sale_price":300}`)
	s.create(t, "Otto", `{"ref":"S-3","category":"desk","listed_on":"2026-03-01","ask":320,"outcome":"sold","ended_on":"2026-03-24","sale_price":300}`)
	const text = `Test group, 2026-03-31

3 on offer: 0 stale, 1 slow, 0 fresh, 2 paused.

NEEDS A HAND
Nothing: no remedy clearly beats waiting.

SOLD IN THE LAST 7 DAYS
* S-<b>&, desk (Otto), for 300.00 USD on 2026-03-31; asked 320.00, 7 active days.
* S-1, set of 4 dining chairs (Otto), for 305.50 USD on 2026-03-25; asked 320.00, 19 active days.

PAUSED FOR TWO WEEKS OR MORE
* P-1, desk (Wilda), since 2026-03-10, until 2026-04-04: 21 days.

HOW THE ADVICE DID
Too early: nothing priced here has sold.
`
	r := s.do(t, call{method: "GET", path: "/v1/digest.txt", key: s.Keys["Wilda"]})
	if r.body != text || r.Header.Get("Content-Type") != "text/plain; charset=utf-8" {
		t.Errorf("%s: %s", r.Header.Get("Content-Type"), cmp.Diff(r.body, text))
	}
	r = s.do(t, call{method: "GET", path: "/v1/digest", key: s.Keys["Wilda"], header: []string{"Accept", "text/html,application/xhtml+xml;q=0.9,*/*;q=0.8"}})
	if r.Header.Get("Content-Type") != "text/html; charset=utf-8" || !strings.Contains(r.body, "<b>S-&lt;b&gt;&amp;</b>, desk") || strings.Contains(r.body, "S-<b>") {
		t.Errorf("%s: %s", r.Header.Get("Content-Type"), r.body)
	}
	// Content Security Policy Level 3: the hash of what stands between the tags.
	_, style, _ := strings.Cut(r.body, "<style>")
	style, _, _ = strings.Cut(style, "</style>")
	sum := sha256.Sum256([]byte(style))
	if policy := r.Header.Get("Content-Security-Policy"); style == "" || !strings.Contains(policy, "'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'") || !strings.HasPrefix(policy, "default-src 'none'") {
		t.Errorf("the policy %q does not let the page's style in", policy)
	}
	for accept, wanted := range map[string]string{"": "application/json", "*/*": "application/json", "text/*": "text/plain", "text/plain, text/html;q=0.5": "text/plain"} {
		if r := s.do(t, call{method: "GET", path: "/v1/digest", key: s.Keys["Wilda"], header: []string{"Accept", accept}}); !strings.HasPrefix(r.Header.Get("Content-Type"), wanted) {
			t.Errorf("Accept %q: %s, want %s", accept, r.Header.Get("Content-Type"), wanted)
		}
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/digest", key: s.Keys["Wilda"], header: []string{"Accept", "image/png"}}), 406, "not-acceptable")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/digest?since=2026", key: s.Keys["Wilda"]}), 400, "malformed")
}

// atom is a feed as a reader takes it.
type atom struct {
	XMLName xml.Name `xml:"http://www.w3.org/2005/Atom feed"`
	ID      []string `xml:"http://www.w3.org/2005/Atom id"`
	Title   []string `xml:"http://www.w3.org/2005/Atom title"`
	Updated []string `xml:"http://www.w3.org/2005/Atom updated"`
	Links   []link   `xml:"http://www.w3.org/2005/Atom link"`
	Entries []struct {
		ID      []string `xml:"http://www.w3.org/2005/Atom id"`
		Title   []string `xml:"http://www.w3.org/2005/Atom title"`
		Updated []string `xml:"http://www.w3.org/2005/Atom updated"`
		Authors []string `xml:"http://www.w3.org/2005/Atom author>name"`
		Links   []link   `xml:"http://www.w3.org/2005/Atom link"`
		Content []struct {
			Type string `xml:"type,attr"`
			Text string `xml:",chardata"`
			Any  []struct {
				XMLName xml.Name
			} `xml:",any"`
		} `xml:"http://www.w3.org/2005/Atom content"`
	} `xml:"http://www.w3.org/2005/Atom entry"`
}

type link struct {
	Rel  string `xml:"rel,attr"`
	Type string `xml:"type,attr"`
	Href string `xml:"href,attr"`
}

// readAtom reads a feed and holds it against RFC 4287.
func readAtom(t *testing.T, r reply) atom {
	t.Helper()
	if r.StatusCode != 200 || r.Header.Get("Content-Type") != "application/atom+xml; charset=utf-8" {
		t.Fatalf("%d %s: %s", r.StatusCode, r.Header.Get("Content-Type"), r.body)
	}
	var f atom
	if err := xml.Unmarshal([]byte(r.body), &f); err != nil {
		t.Fatalf("%v: %s", err, r.body)
	}
	instant := func(what string, all []string) time.Time { // section 3.3
		if len(all) != 1 {
			t.Fatalf("%s has %d of updated, want one", what, len(all))
		}
		at, err := time.Parse(time.RFC3339, all[0])
		if err != nil || strings.ToUpper(all[0]) != all[0] {
			t.Errorf("%s was updated at %q", what, all[0])
		}
		return at
	}
	id := func(what string, all []string) { // sections 4.1.1, 4.1.2 and 4.2.6: one, an absolute IRI
		if len(all) != 1 {
			t.Fatalf("%s has %d ids, want one", what, len(all))
		}
		if u, err := url.Parse(all[0]); err != nil || !u.IsAbs() || u.Scheme != "urn" {
			t.Errorf("%s has the id %q", what, all[0])
		}
	}
	id("the feed", f.ID)
	last := instant("the feed", f.Updated)
	if len(f.Title) != 1 || f.Title[0] == "" {
		t.Errorf("titles %q (section 4.1.1: one)", f.Title)
	}
	if self := slices.IndexFunc(f.Links, func(l link) bool { return l.Rel == "self" }); self < 0 || strings.Contains(f.Links[self].Href, "key") {
		t.Errorf("links %v (section 4.1.1: one with rel self), without a key", f.Links)
	}
	ids, before := map[string]bool{}, last
	for _, e := range f.Entries {
		id("an entry", e.ID)
		if ids[e.ID[0]] {
			t.Errorf("two entries with the id %s (section 4.1.1)", e.ID[0])
		}
		ids[e.ID[0]] = true
		at := instant(e.ID[0], e.Updated)
		if at.After(last) || at.After(before) {
			t.Errorf("an entry of %v after one of %v in a feed of %v", at, before, last)
		}
		before = at
		if len(e.Title) != 1 || e.Title[0] == "" || len(e.Authors) != 1 || e.Authors[0] == "" { // 4.1.2: an author here or in the feed
			t.Errorf("%s: titles %q, authors %q", e.ID[0], e.Title, e.Authors)
		}
		if len(e.Content) != 1 || e.Content[0].Type != "text" || len(e.Content[0].Any) > 0 || e.Content[0].Text == "" { // 4.1.3.3: text holds no elements
			t.Errorf("%s: content %+v", e.ID[0], e.Content)
		}
		if len(e.Links) != 1 || e.Links[0].Rel != "alternate" || !strings.HasPrefix(e.Links[0].Href, "/v1/listings/") {
			t.Errorf("%s: links %v", e.ID[0], e.Links)
		}
	}
	return f
}

func TestStaleFeed(t *testing.T) {
	t.Parallel()
	s, _ := demoSite(t)
	const reader = "Wren" // has no record of work, as the feed is without anybody's
	s.AddMember(t, "Maren", reader)
	feedKey, key := s.keyWith(t, reader, service.ScopeFeed), s.keyWith(t, reader, service.ScopeRead)
	path := "/v1/reviews.atom?key=" + feedKey
	reply := s.do(t, call{method: "GET", path: path})
	first := readAtom(t, reply)
	stale := want[items](t, s.do(t, call{method: "GET", path: "/v1/reviews?state=stale", key: key}), 200).Items
	if len(first.Entries) != len(stale) || len(stale) < 2 {
		t.Fatalf("%d entries, want the %d stale", len(first.Entries), len(stale))
	}
	byID := map[string]row{}
	for _, r := range stale {
		byID["urn:uuid:"+r["id"].(string)] = r
	}
	for _, e := range first.Entries {
		r := byID[e.ID[0]]
		sentences := r["sentences"].([]any)
		if !strings.HasPrefix(e.Title[0], r["ref"].(string)+", ") || !strings.HasSuffix(e.Content[0].Text, sentences[len(sentences)-1].(row)["text"].(string)) || e.Authors[0] != r["member"] {
			t.Errorf("%+v, want it as in %v", e, r)
		}
	}
	if again := s.do(t, call{method: "GET", path: path, header: []string{"If-None-Match", reply.Header.Get("ETag")}}); again.StatusCode != 304 {
		t.Errorf("asked again: %d, want 304", again.StatusCode)
	}
	if strings.Contains(reply.body, feedKey) {
		t.Error("the key stands in the feed")
	}

	// What stays as it is keeps its time; what changes, goes or comes gets one.
	was := updates(first)
	gone := first.Entries[0].ID[0]
	s.Clock.Advance(1)
	s.do(t, call{method: "POST", path: "/v1/listings/" + strings.TrimPrefix(gone, "urn:uuid:") + "/events", key: s.Keys[byID[gone]["member"].(string)], body: `{"kind":"pulled"}`})
	second := readAtom(t, s.do(t, call{method: "GET", path: path}))
	now := s.Clock.Now().UTC().Format(time.RFC3339)
	same := 0
	for id, at := range updates(second) {
		switch before, there := was[id]; {
		case there && byID[id]["remedies"].([]any)[0].(row)["action"] == s.actionOf(t, key, id):
			same++
			if at != before {
				t.Errorf("%s did not change and was updated at %s, before at %s", id, at, before)
			}
		case at != now:
			t.Errorf("%s is new or changed and was updated at %s, want %s", id, at, now)
		}
	}
	if _, there := updates(second)[gone]; there || second.Updated[0] != now || same == 0 {
		t.Errorf("ended listing there: %t; the feed was updated at %s, want %s; %d entries as before", there, second.Updated[0], now, same)
	}
	if first.ID[0] != second.ID[0] || first.Updated[0] == second.Updated[0] {
		t.Errorf("the feed %s of %s became %s of %s", first.ID[0], first.Updated[0], second.ID[0], second.Updated[0])
	}
	all := readAtom(t, s.do(t, call{method: "GET", path: path + "&state=stale,slow,fresh,paused"}))
	if len(all.Entries) <= len(second.Entries) || all.ID[0] == second.ID[0] {
		t.Errorf("%d entries in all, in the feed %s", len(all.Entries), all.ID[0])
	}
	wantProblem(t, s.do(t, call{method: "GET", path: path + "&state=old"}), 400, "malformed")
}

// updates gives the entries' times by id.
func updates(f atom) map[string]string {
	out := map[string]string{}
	for _, e := range f.Entries {
		out[e.ID[0]] = e.Updated[0]
	}
	return out
}

// actionOf is the best remedy of a listing as it is now.
func (s *site) actionOf(t *testing.T, key, urn string) any {
	t.Helper()
	for _, r := range want[items](t, s.do(t, call{method: "GET", path: "/v1/reviews", key: key}), 200).Items {
		if "urn:uuid:"+r["id"].(string) == urn {
			return r["remedies"].([]any)[0].(row)["action"]
		}
	}
	return nil
}
