package api_test

import (
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"testing"

	"askwright/api/web"
	"askwright/service/servicetest"
)

// changePage is what the test reads of a page.
type changePage struct {
	Items []struct {
		ID       string
		ChangeNo int64 `json:"change_no"`
		Deleted  bool
		Ref      string
		Listing  map[string]any
	}
	Next *string
}

// A copy of the rows is kept up by what changed since it was last read.
func TestChangesKeepACopyUp(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	s := newSite(t, f, web.Limits{})
	wilda, orrin := f.Keys["Wilda"], f.Keys["Orrin"]
	importCSV := func(key, rows string) {
		t.Helper()
		r := s.do(t, call{method: "POST", path: landing(""), key: key, body: "ref,category,listed_on,ask,own_price\n" + rows, header: []string{"Content-Type", "text/csv"}})
		if r.StatusCode != http.StatusOK {
			t.Fatalf("%d %s", r.StatusCode, r.body)
		}
	}
	since := int64(0)
	read := func(key string) (refs []string, deleted int) {
		t.Helper()
		cursor := ""
		for {
			path := "/v1/changes?limit=2&since=" + strconv.FormatInt(since, 10) + cursor
			var page changePage
			if r := s.do(t, call{method: "GET", path: path, key: key}); r.StatusCode != http.StatusOK || json.Unmarshal([]byte(r.body), &page) != nil {
				t.Fatalf("%s: %d %s", path, r.StatusCode, r.body)
			}
			last := since
			for _, c := range page.Items {
				if c.ChangeNo < last || c.Deleted != (c.Listing == nil) {
					t.Errorf("out of order, or deleted with a row: %+v", c)
				}
				if last = c.ChangeNo; c.Deleted {
					deleted++
				} else {
					refs = append(refs, c.Ref)
				}
				if _, told := c.Listing["own_price"]; told && key == orrin {
					t.Errorf("Wilda's estimate is shown to Orrin: %v", c.Listing)
				}
			}
			if page.Next == nil {
				since = last
				slices.Sort(refs)
				return refs, deleted
			}
			cursor = "&cursor=" + url.QueryEscape(*page.Next)
		}
	}
	importCSV(wilda, "C-1,desk,2026-03-01,300,280\nC-2,desk,2026-03-01,310,\nC-3,bench,2026-03-02,90,\nC-4,bench,2026-03-03,95,\nC-5,bench,2026-03-03,99,\n")
	if refs, _ := read(orrin); !slices.Equal(refs, []string{"C-1", "C-2", "C-3", "C-4", "C-5"}) {
		t.Errorf("at first %v, want all five", refs)
	}
	if refs, deleted := read(orrin); len(refs)+deleted > 0 {
		t.Errorf("then %v and %d deleted, want nothing", refs, deleted)
	}
	importCSV(wilda, "C-2,desk,2026-03-01,290,\nC-3,bench,2026-03-02,90,\n") // the second as it was
	id := f.Select(t, "select listing_id::text from askwright.listing where ref = 'C-4'")[0]
	if r := s.do(t, call{method: "DELETE", path: "/v1/listings/" + id, key: wilda}); r.StatusCode != http.StatusNoContent {
		t.Fatalf("%d %s", r.StatusCode, r.body)
	}
	if refs, deleted := read(wilda); !slices.Equal(refs, []string{"C-2"}) || deleted != 1 {
		t.Errorf("after a change and a deletion %v and %d deleted, want C-2 and 1", refs, deleted)
	}
	f.AddGroup(t, "Ada")
	since = 0
	if refs, deleted := read(f.Keys["Ada"]); len(refs)+deleted > 0 {
		t.Errorf("another group sees %v and %d deleted", refs, deleted)
	}
	if r := s.do(t, call{method: "GET", path: "/v1/changes?since=-1", key: wilda}); r.StatusCode != http.StatusBadRequest {
		t.Errorf("since=-1: %d %s", r.StatusCode, r.body)
	}
}
