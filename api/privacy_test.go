package api_test

import (
	"archive/zip"
	"io"
	"strings"
	"testing"

	"askwright/service"
)

// ownerOnly are values that only the owner may see, each unlike any other
// number or word: what was paid, earned, worked, thought and offered.
var ownerOnly = []string{
	"8765.43", "71.19", "63.17", "52.13", "47.29", // costs
	"4321.09", "301.77", "275.31", // estimate and offers
	"137.85", "3.15", // hours
	"for my eyes", "Thimble Yard", "thimble_yard", "2025-11-23", "varnish from the cellar", "from the neighbour", "asks again on Sunday",
}

// plantSecrets gives Wilda an open listing with all that is hers alone, on file
// and in events, and returns its id and that of its piece.
func plantSecrets(t *testing.T, s *site) (listing, piece string) {
	t.Helper()
	key := s.Keys["Wilda"]
	listing = s.create(t, "Wilda", `{"ref":"B-17","category":"desk","listed_on":"2026-03-01","ask":480,"own_price":4321.09,
		"purchase_cost":8765.43,"pickup_cost":71.19,"materials_cost":63.17,"fees":47.29,"hours_other":3.15,
		"notes":"for my eyes","bought_from":"Thimble Yard","bought_on":"2025-11-23"}`)["id"].(string)
	piece = want[struct{ Items []struct{ ID string } }](t, s.do(t, call{method: "GET", path: "/v1/pieces", key: key}), 200).Items[0].ID
	for _, c := range []call{
		{method: "POST", path: "/v1/listings/" + listing + "/events", body: `{"kind":"offer","amount":301.77,"note":"from the neighbour"}`},
		{method: "POST", path: "/v1/listings/" + listing + "/offers", body: `{"amount":275.31,"note":"asks again on Sunday"}`},
		{method: "PATCH", path: "/v1/listings/" + listing, body: `{"hours":137.85}`},
		{method: "POST", path: "/v1/pieces/" + piece + "/costs", body: `{"kind":"other_cost","amount":52.13,"note":"varnish from the cellar"}`},
	} {
		c.key = key
		if r := s.do(t, c); r.StatusCode >= 300 {
			t.Fatalf("%s %s: %d %s", c.method, c.path, r.StatusCode, r.body)
		}
	}
	return listing, piece
}

// readable is an answer as text, the parts of a workbook unpacked.
func readable(t *testing.T, r reply) string {
	t.Helper()
	if !strings.HasPrefix(r.body, "PK\x03\x04") {
		return r.body
	}
	book, err := zip.NewReader(strings.NewReader(r.body), int64(len(r.body)))
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for _, part := range book.File {
		f, err := part.Open()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(&text, f); err != nil {
			t.Fatal(err)
		}
		f.Close()
	}
	return text.String()
}

// hides fails where an answer holds something that is the owner's alone.
func hides(t *testing.T, who string, c call, text string) {
	t.Helper()
	for _, secret := range ownerOnly {
		if strings.Contains(text, secret) {
			t.Errorf("%s sees %q at %s %v", who, secret, c.path, c.header)
		}
	}
}

// Every GET of the description is asked, in every form that it may come in, by
// another member of the group, and with a feed key of the owner's.
func TestNoAnswerHoldsWhatIsTheOwnersAlone(t *testing.T) {
	t.Parallel()
	s := setup(t)
	listing, piece := plantSecrets(t, s)
	seen := ""
	otto := map[string]string{service.ScopeFeed: s.Keys["Otto"], service.ScopeRead: s.Keys["Otto"], service.ScopeAdmin: s.keyWith(t, "Otto", service.ScopeWrite)}
	feed := s.keyWith(t, "Wilda", service.ScopeFeed)
	asked, answered := 0, 0
	for _, route := range documented(t) {
		method, path := route[0], route[1]
		if method != "GET" || !strings.HasPrefix(path, "/v1") {
			continue
		}
		scope := scopeOf(method, path)
		id := listing
		if strings.HasPrefix(path, "/v1/pieces") {
			id = piece
		}
		path = placeholder.ReplaceAllString(path, id)
		path += map[bool]string{true: "?category=desk"}[strings.HasPrefix(path, "/v1/comparables")]
		for _, accept := range []string{"application/json", "text/csv", "*/*"} {
			c := call{method: method, path: path, header: []string{"Accept", accept}}
			c.key = s.Keys["Wilda"]
			seen += readable(t, s.do(t, c))
			c.key = otto[scope]
			r := s.do(t, c)
			hides(t, "another member", c, readable(t, r))
			asked++
			if r.StatusCode == 200 {
				answered++
			}
			if scope == service.ScopeFeed {
				c.key = feed
				hides(t, "a feed", c, readable(t, s.do(t, c)))
			}
		}
	}
	for _, secret := range ownerOnly {
		if secret != "Thimble Yard" && !strings.Contains(seen, secret) {
			t.Errorf("the owner does not see %q anywhere: the walk shows nothing of it", secret)
		}
	}
	if answered < asked/2 {
		t.Errorf("only %d of %d requests were answered", answered, asked)
	}
}

// The pages of the board show another member's listing without them, too.
func TestNoPageOfTheBoardHoldsWhatIsTheOwnersAlone(t *testing.T) {
	t.Parallel()
	s := setup(t)
	listing, _ := plantSecrets(t, s)
	otto := s.signedIn(t, s.Keys["Otto"])
	for _, path := range []string{"/board", "/board?all=true", "/board/listings/" + listing, "/board/what-if?id=" + listing, "/board/finds"} {
		hides(t, "another member", call{path: path}, otto.get(t, path).body)
	}
}
