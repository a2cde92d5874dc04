package api_test

import (
	"fmt"
	"net/url"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"askwright/api/web"
	"askwright/service/servicetest"
)

// reviewIDs reads reviews page by page.
func reviewIDs(t *testing.T, s *site, key, query string, limit int) (ids []string) {
	t.Helper()
	type page struct {
		Items []struct{ ID, Ref, State string }
		Next  *string
	}
	cursor := ""
	for {
		path := fmt.Sprintf("/v1/reviews?limit=%d%s%s", limit, query, cursor)
		got := want[page](t, s.do(t, call{method: "GET", path: path, key: key}), 200)
		if len(got.Items) > limit || (got.Next != nil && len(got.Items) < limit) {
			t.Fatalf("%s: %d items, next %v", path, len(got.Items), got.Next)
		}
		for _, item := range got.Items {
			ids = append(ids, item.ID)
		}
		if got.Next == nil {
			return ids
		}
		cursor = "&cursor=" + url.QueryEscape(*got.Next)
	}
}

// Pages of reviews make up the whole list, in its order.
func TestReviewsComeInPages(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.Demo(t), web.Limits{RequestsPerMinute: 1e9})
	key := s.Keys["Maren"]
	for _, query := range []string{"", "&state=stale,slow", "&member=me"} {
		whole := reviewIDs(t, s, key, query, 1000)
		if len(whole) < 3 {
			t.Fatalf("%s: %d reviews, want more to make pages of", query, len(whole))
		}
		if diff := cmp.Diff(whole, reviewIDs(t, s, key, query, 2)); diff != "" {
			t.Errorf("%s (-whole +pages):\n%s", query, diff)
		}
	}
	r := s.do(t, call{method: "GET", path: "/v1/reviews?cursor=bm8", key: key})
	wantProblem(t, r, 400, "malformed")
}

// Reviews are worked out once for all who ask until something changes, and for each
// member by themselves.
func TestReviewsAreWorkedOutAgainAfterAChange(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	s := newSite(t, f, web.Limits{RequestsPerMinute: 1e9})
	key := s.Keys["Maren"]
	before := reviewIDs(t, s, key, "", 1000)
	// Behind the service's back: nothing tells that something has changed.
	id := f.Select(t, `update askwright.listing set outcome = 'withdrawn', ended_on = listed_on, ask_on = ask_on[1:1], ask_amount = ask_amount[1:1], pauses = '{}'
		where listing_id = '`+before[0]+`' returning listing_id::text`)[0]
	if diff := cmp.Diff(before, reviewIDs(t, s, key, "", 1000)); diff != "" {
		t.Errorf("without a change (-before +after):\n%s", diff)
	}
	own := reviewIDs(t, s, key, "&member=me", 1000)
	if r := s.do(t, call{method: "PATCH", path: "/v1/listings/" + own[len(own)-1], key: key, body: `{"saves":999}`}); r.StatusCode != 200 {
		t.Fatalf("%d %s", r.StatusCode, r.body)
	}
	after := reviewIDs(t, s, key, "", 1000)
	if slices.Contains(after, id) || len(after) != len(before)-1 {
		t.Errorf("after a change %d reviews, want %d without %s", len(after), len(before)-1, id)
	}
	f.Clock.Advance(1)
	if n := len(reviewIDs(t, s, key, "", 1000)); n != len(after) {
		t.Errorf("on the next day %d reviews, want %d", n, len(after))
	}
}
