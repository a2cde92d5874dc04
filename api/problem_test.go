package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"

	"askwright/docs"
	"askwright/service"
	"askwright/service/servicetest"
)

// logText is a log that a test reads while requests may still write.
type logText struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logText) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *logText) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

func bareServer(log io.Writer) *Server {
	return New(Options{Logger: slog.New(slog.NewJSONHandler(log, nil)), Registry: prometheus.NewRegistry(), OpenAPI: docs.OpenAPI})
}

// The routes that are registered are those that are described, both ways.
func TestRoutesAreDescribed(t *testing.T) {
	var description struct {
		Paths map[string]map[string]any
	}
	if err := json.Unmarshal(docs.OpenAPI, &description); err != nil {
		t.Fatal(err)
	}
	described := make(map[string]bool)
	for path, methods := range description.Paths {
		for method := range methods {
			described[strings.ToUpper(method)+" "+path] = true
		}
	}
	wildcard := regexp.MustCompile(`[:*]([a-z]+)`)
	s := bareServer(io.Discard)
	for _, r := range s.handler.(*gin.Engine).Routes() {
		if r.Method == http.MethodHead || r.Method == http.MethodOptions {
			continue
		}
		name := r.Method + " " + wildcard.ReplaceAllString(r.Path, "{$1}")
		if !described[name] {
			t.Errorf("%s is not in the description", name)
		}
		delete(described, name)
	}
	for name := range described {
		t.Errorf("%s is described but not there", name)
	}
}

// Each error of the service has its problem, and causes stay hidden.
func TestProblems(t *testing.T) {
	refused := func(kind error) error { return &service.Error{Kind: kind, Detail: "the reason"} }
	for _, test := range []struct {
		err    error
		kind   *ProblemType
		detail string
	}{
		{refused(service.ErrNotFound), notFound, "the reason"},
		{refused(service.ErrConflict), conflict, "the reason"},
		{refused(service.ErrStale), changed, "the reason"},
		{refused(service.ErrUnauthenticated), unauthenticated, "the reason"},
		{refused(service.ErrForbidden), forbidden, "the reason"},
		{fmt.Errorf("save: %w", refused(service.ErrConflict)), conflict, "the reason"},
		{fmt.Errorf("pool: %w: host=10.0.0.1", service.ErrUnavailable), unavailable, ""},
		{fmt.Errorf("query: %w", context.DeadlineExceeded), unavailable, ""},
		{fmt.Errorf("read: %w", &http.MaxBytesError{Limit: 8 << 20}), tooLarge, "the body is larger than 8 MB"},
		{errors.New("relation listing does not exist"), internal, ""},
		{service.Invalid("ask", "is wrong"), invalid, "ask: is wrong"},
		{refuse(tooMany, "wait"), tooMany, "wait"},
		{&service.InvalidError{Fields: []service.FieldError{{Row: 3, Column: "ask", Reason: "is wrong"}, {Row: 4}}}, invalid, "row 3, ask: is wrong (and 1 more)"},
		{service.Invalid("notes", "%s", strings.Repeat("é", 5000)), invalid, "notes: " + strings.Repeat("é", 246) + "…"},
	} {
		got := problemOf(test.err)
		if got.Type != test.kind.uri() || got.Status != test.kind.Status || got.Title != test.kind.Title || got.Detail != test.detail {
			t.Errorf("%v became %+v, want %s with %q", test.err, got, test.kind.Name, test.detail)
		}
	}
}

// One file for each type shows the document as it goes out.
func TestProblemDocuments(t *testing.T) {
	for _, kind := range problemTypes {
		t.Run(kind.Name, func(t *testing.T) {
			var log logText
			s := bareServer(&log)
			recorder := httptest.NewRecorder()
			c, _ := gin.CreateTestContext(recorder)
			c.Request = httptest.NewRequest("GET", "/v1/listings", nil)
			noteOf(c).id = "request-1"
			err := refuse(kind, "what happened this time")
			if kind == nothingLanded {
				err.counts = &ImportCounts{Received: 2, Rejected: 2}
				err.errors = []ProblemError{{Row: 1, Ref: "B-17", Column: "ask", Reason: "is missing"}}
			}
			s.fail(c, err)
			got := recorder.Result().Status + "\n" + recorder.Header().Get("Content-Type") + "\n\n" + recorder.Body.String() + "\n"
			path := filepath.Join("testdata", "problems", kind.Name+".txt")
			if *servicetest.Update {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			wanted, readErr := os.ReadFile(path)
			if readErr != nil {
				t.Fatal(readErr)
			}
			if got != string(wanted) {
				t.Errorf("got\n%s\nwant\n%s", got, wanted)
			}
		})
	}
}

func TestPanicsBecomeProblems(t *testing.T) {
	var log logText
	s := bareServer(&log)
	e := gin.New()
	e.Use(identify, s.observe, s.recoverPanics, headers)
	e.GET("/boom", func(*gin.Context) { panic("the secret ask_aAAAABBBBCCCC") })
	recorder := httptest.NewRecorder()
	e.ServeHTTP(recorder, httptest.NewRequest("GET", "/boom", nil))
	if recorder.Code != 500 || recorder.Header().Get("Content-Type") != problemMediaType || strings.Contains(recorder.Body.String(), "secret") {
		t.Errorf("%d %s", recorder.Code, recorder.Body)
	}
	if !strings.Contains(log.String(), "the secret") || strings.Contains(log.String(), "AAAABBBB") || !strings.Contains(log.String(), `"status":500`) {
		t.Errorf("log: %s", log.String())
	}
}

// An answer that fails half way is cut, so that it does not look whole.
func TestBrokenAnswersAreCut(t *testing.T) {
	var log logText
	s := bareServer(&log)
	e := gin.New()
	e.Use(identify, s.observe, s.recoverPanics, headers)
	e.GET("/half", func(c *gin.Context) {
		c.String(http.StatusOK, "ref\r\nB-17\r\n")
		s.fail(c, errors.New("the database went away"))
	})
	server := httptest.NewServer(e)
	response, err := http.Get(server.URL + "/half")
	if err == nil {
		defer response.Body.Close()
		_, err = new(bytes.Buffer).ReadFrom(response.Body)
	}
	if err == nil {
		t.Error("half an answer was read without an error")
	}
	server.Close() // the log line comes after the answer
	if !strings.Contains(log.String(), "the database went away") {
		t.Errorf("log: %s", log.String())
	}
}

func TestScrub(t *testing.T) {
	for in, out := range map[string]string{
		"no secret here":                      "no secret here",
		"GET /v1/x.csv?a=1&key=ask_f123abc&b": "GET /v1/x.csv?a=1&key=…&b",
		"?KEY=whatever":                       "?KEY=…",
		"Bearer ask_a0123456789 failed":       "Bearer ask_… failed",
		"ask_price":                           "ask_…", // rather too much than too little
		"task: ask_":                          "task: ask_",
	} {
		if got := scrub(in); got != out {
			t.Errorf("scrub(%q) = %q, want %q", in, got, out)
		}
	}
}

// The weights are those of RFC 9110 section 12.5.1 and its example.
func TestAcceptWeight(t *testing.T) {
	const example = "text/*;q=0.3, text/plain;q=0.7, text/plain;format=flowed, text/plain;format=fixed;q=0.4, */*;q=0.5"
	for _, test := range []struct {
		accept, kind, subtype string
		want                  float64
	}{
		{example, "text", "html", 0.3}, {example, "image", "jpeg", 0.5}, {example, "text", "plain", 0.7},
		{"", "text", "csv", 1}, {"text/csv", "application", "json", 0}, {"text/csv;q=0", "text", "csv", 0}, {"*/*, text/csv;q=0", "text", "csv", 0},
	} {
		if got := acceptWeight(test.accept, test.kind, test.subtype); got != test.want {
			t.Errorf("%s/%s in %q: %v, want %v", test.kind, test.subtype, test.accept, got, test.want)
		}
	}
}

func TestProblemTypesAreUnique(t *testing.T) {
	names := make([]string, 0, len(problemTypes))
	for _, p := range problemTypes {
		if slices.Contains(names, p.Name) || p.Title == "" || p.About == "" || http.StatusText(p.Status) == "" {
			t.Errorf("%+v", p)
		}
		names = append(names, p.Name)
	}
}

func TestNumbers(t *testing.T) {
	for _, test := range []struct {
		got  number
		want string
	}{
		{rounded(-0.04, 1), "0.0"}, {rounded(1.005, 2), "1.00"}, {percentage(-12.34), "-12.3"}, {chance(0.12345), "0.123"},
		{rounded(1e21, 2), "1000000000000000000000.00"}, {rounded(480, 0), "480"},
	} {
		if body, err := json.Marshal(test.got); err != nil || string(body) != test.want {
			t.Errorf("%s (%v), want %s", body, err, test.want)
		}
	}
	zero := 0.0
	for _, x := range []float64{1 / zero, -1 / zero, zero / zero} {
		if body, err := json.Marshal(rounded(x, 2)); err != nil || string(body) != "null" {
			t.Errorf("%v was written as %s (%v)", x, body, err)
		}
	}
}
