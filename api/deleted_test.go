package api_test

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"
)

// A list of suggestions was 400 and a feed 500 where a row went meanwhile.
func TestRowsDeletedMeanwhileFailNoRead(t *testing.T) {
	t.Parallel()
	s := setup(t)
	var rows []string
	for i := range 40 {
		rows = append(rows, fmt.Sprintf(`{"ref":"B-%d","category":"desk","width":48,"listed_on":"2026-03-01","ask":300}`, i))
	}
	want[row](t, s.do(t, call{method: "POST", path: landing(""), key: s.Keys["Wilda"], body: "[" + strings.Join(rows, ",") + "]"}), 200)
	items := want[struct{ Items []struct{ ID string } }](t, s.do(t, call{method: "GET", path: "/v1/listings", key: s.Keys["Wilda"]}), 200).Items
	done := make(chan struct{})
	var readers sync.WaitGroup
	for _, path := range []string{"/v1/suggestions", "/v1/reviews.atom", "/v1/pieces.csv"} {
		readers.Go(func() {
			for n := 0; ; n++ {
				select {
				case <-done:
					if n == 0 {
						t.Errorf("%s was not read", path)
					}
					return
				default:
				}
				if r := s.do(t, call{method: "GET", path: path, key: s.Keys["Wilda"]}); r.StatusCode != http.StatusOK {
					t.Errorf("%s: %d %s", path, r.StatusCode, r.body)
				}
			}
		})
	}
	for _, item := range items {
		if r := s.do(t, call{method: "DELETE", path: "/v1/listings/" + item.ID, key: s.Keys["Wilda"]}); r.StatusCode != 204 {
			t.Errorf("delete: %d", r.StatusCode)
		}
	}
	close(done)
	readers.Wait()
}
