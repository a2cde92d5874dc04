package api_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/pricing"
	"askwright/service/servicetest"
)

const (
	manyOpen  = 500
	mostBytes = 150_000 // of the board with so many
)

// bigBoard is the demo with so many open listings, and the cookie of a session.
func bigBoard(tb testing.TB) (s *site, cookie string) {
	tb.Helper()
	s = newSite(tb, servicetest.Demo(tb), web.Limits{RequestsPerMinute: 1e9, FailuresPerMinute: 1e9})
	key := s.Keys["Maren"]
	open := len(want[reviewPage](tb, s.do(tb, call{method: "GET", path: "/v1/reviews?limit=1000", key: key}), 200).Items)
	kinds := []string{"dresser", "sideboard", "desk", "bookcase", "nightstand", "dining_table", "cabinet", "coffee_table"}
	colors := []string{"navy", "white", "green"}
	rows := strings.Builder{}
	rows.WriteString("ref,category,width,material,condition,finish,color,listed_on,ask,messages\n")
	for i := range manyOpen - open {
		listed := servicetest.Today - pricing.Date(1+i%110)
		fmt.Fprintf(&rows, "X-%d,%s,%d,solid_wood,good,painted,%s,%s,%d,%d\n", i, kinds[i%len(kinds)], 24+i%40, colors[i%len(colors)], listed, 150+5*(i%60), i%4)
	}
	want[row](tb, s.do(tb, call{method: "POST", path: landing(""), key: key, body: rows.String(), header: []string{"Content-Type", "text/csv"}}), 200)
	holder, err := s.Members.Authenticate(tb.Context(), key)
	if err != nil {
		tb.Fatal(err)
	}
	text, err := s.Members.OpenSession(tb.Context(), holder)
	if err != nil {
		tb.Fatal(err)
	}
	return s, "askwright_session=" + text
}

// The board of a large group stays light on a phone: nothing is compressed.
func TestBoardOfManyIsLight(t *testing.T) {
	t.Parallel()
	s, cookie := bigBoard(t)
	r := s.do(t, call{method: "GET", path: "/board/listings", header: []string{"Cookie", cookie}})
	page := r.page(t, http.StatusOK)
	if got := page.all("h1", "")[0].values(); len(got) != 2 || got[1] != fmt.Sprint(manyOpen) {
		t.Fatalf("the headline counts %v, want %d open", got, manyOpen)
	}
	if n := len(r.body); n > mostBytes || r.Header.Get("Content-Encoding") != "" {
		t.Errorf("%d bytes with %d open listings, want at most %d", n, manyOpen, mostBytes)
	}
}

// BenchmarkBoardAgainstBare holds the board with 500 open listings against gin
// alone writing a page of as many bytes. "ms" is the board's time.
//
//	go test ./api -run xxx -bench BoardAgainstBare -benchtime 20x
func BenchmarkBoardAgainstBare(b *testing.B) {
	s, cookie := bigBoard(b)
	ours := call{method: "GET", path: "/board/listings", header: []string{"Cookie", cookie}}
	page := s.do(b, ours).body // fits the model, too
	gin.SetMode(gin.ReleaseMode)
	g := gin.New()
	g.GET("/board/listings", func(c *gin.Context) { c.Data(http.StatusOK, "text/html; charset=utf-8", []byte(page)) })
	bare := &site{server: httptest.NewServer(g)}
	var spent [2]time.Duration
	for b.Loop() {
		for i, from := range []*site{s, bare} {
			start := time.Now()
			if r := from.do(b, ours); r.StatusCode != http.StatusOK || len(r.body) < len(page)/2 {
				b.Fatalf("%d, %d bytes", r.StatusCode, len(r.body))
			}
			spent[i] += time.Since(start)
		}
	}
	b.ReportMetric(float64(spent[0].Milliseconds())/float64(b.N), "ms")
	b.ReportMetric(float64(spent[0])/float64(spent[1]), "ratio")
	b.ReportMetric(float64(len(page)), "bytes")
}
