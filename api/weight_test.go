package api_test

import (
	"fmt"
	"testing"

	"askwright/api/web"
	"askwright/service/servicetest"
)

// What takes long weighs more than 1, unless the client has the answer already.
func TestReadsWeighWhatTheyTake(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.New(t, "Wilda"), web.Limits{})
	s.create(t, "Wilda", sideboard)
	left := func() (left int) {
		r := s.do(t, call{method: "GET", path: "/v1/group", key: s.Keys["Wilda"]})
		if _, err := fmt.Sscanf(r.Header.Get("RateLimit"), `"default";r=%d;`, &left); err != nil {
			t.Fatal(err)
		}
		return left
	}
	for _, weighed := range []struct {
		path   string
		weight int
	}{
		{"/v1/listings?limit=1", 1}, {"/v1/reports/profit.xlsx", 25}, {"/v1/listings.xlsx", 20}, {"/v1/reviews", 3},
		{"/v1/reviews?as_of=2026-03-10", 7}, {"/v1/digest.txt", 25},
	} {
		before := left()
		r := s.do(t, call{method: "GET", path: weighed.path, key: s.Keys["Wilda"]})
		after := left()
		again := s.do(t, call{method: "GET", path: weighed.path, key: s.Keys["Wilda"], header: []string{"If-None-Match", r.Header.Get("ETag")}})
		if got := before - after - 1; r.StatusCode != 200 || got != weighed.weight {
			t.Errorf("%s: %d, weighs %d, want %d", weighed.path, r.StatusCode, got, weighed.weight)
		}
		if got := after - left() - 1; again.StatusCode != 304 || got != 1 {
			t.Errorf("%s again: %d, weighs %d, want 1", weighed.path, again.StatusCode, got)
		}
	}
}
