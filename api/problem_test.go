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

	"askwright/api/renamed"
	"askwright/api/web"
	"askwright/docs"
	"askwright/service"
	"askwright/service/app"
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
	return New(Options{
		App:      &app.App{},
		Logger:   slog.New(slog.NewJSONHandler(log, nil)),
		Registry: prometheus.NewRegistry(),
	})
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
	wildcard := regexp.MustCompile(`[:*]([a-z_]+)`)
	s := bareServer(io.Discard)
	for _, r := range s.engine(nil).Routes() {
		if r.Method == http.MethodHead || r.Method == http.MethodOptions {
			continue
		}
		if slices.ContainsFunc(renamed.Routes, func(old renamed.Route) bool { return old.Method == r.Method && old.Was == r.Path }) || boardMoved[r.Path] != "" {
			continue // it tells where it went
		}
		name := r.Method + " " + wildcard.ReplaceAllString(r.Path, "{$1}")
		if strings.HasPrefix(r.Path, "/board") {
			continue // pages, for people
		}
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
		kind   *web.ProblemType
		detail string
	}{
		{refused(service.ErrNotFound), web.NotFound, "the reason"},
		{refused(service.ErrConflict), web.Conflict, "the reason"},
		{refused(service.ErrStale), web.Changed, "the reason"},
		{refused(service.ErrUnauthenticated), web.Unauthenticated, "the reason"},
		{refused(service.ErrForbidden), web.Forbidden, "the reason"},
		{fmt.Errorf("save: %w", refused(service.ErrConflict)), web.Conflict, "the reason"},
		{fmt.Errorf("pool: %w: host=10.0.0.1", service.ErrUnavailable), web.Unavailable, ""},
		{fmt.Errorf("query: %w", context.DeadlineExceeded), web.Unavailable, ""},
		{fmt.Errorf("read: %w", &http.MaxBytesError{Limit: 8 << 20}), web.TooLarge, "the body is larger than 8 MB"},
		{errors.New("relation listing does not exist"), web.Internal, ""},
		{service.Invalid("ask", "is wrong"), web.Invalid, "ask: is wrong"},
		{web.Refuse(web.TooMany, "wait"), web.TooMany, "wait"},
		{&service.InvalidError{Fields: []service.FieldError{{Row: 3, Column: "ask", Reason: "is wrong"}, {Row: 4}}}, web.Invalid, "row 3, ask: is wrong (and 1 more)"},
		{service.Invalid("notes", "%s", strings.Repeat("é", 5000)), web.Invalid, "notes: " + strings.Repeat("é", 246) + "…"},
	} {
		got := web.ProblemOf(test.err)
		if got.Type != test.kind.URI() || got.Status != test.kind.Status || got.Title != test.kind.Title || got.Detail != test.detail {
			t.Errorf("%v became %+v, want %s with %q", test.err, got, test.kind.Name, test.detail)
		}
	}
}

// One file for each type shows the document as it goes out.
func TestProblemDocuments(t *testing.T) {
	for _, kind := range web.ProblemTypes {
		t.Run(kind.Name, func(t *testing.T) {
			var log logText
			s := bareServer(&log)
			recorder := httptest.NewRecorder()
			c, _ := gin.CreateTestContext(recorder)
			c.Request = httptest.NewRequest("GET", "/v1/listings", nil)
			web.NoteOf(c).ID = "request-1"
			err := web.Refuse(kind, "what happened this time")
			if kind == web.NothingLanded {
				err.Counts = &web.ImportCounts{Received: 2, Rejected: 2}
				err.Errors = []web.ProblemError{{Row: 1, Ref: "B-17", Column: "ask", Code: web.CodeInvalid, Detail: "is missing"}}
			}
			s.Fail(c, err)
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
	e.Use(web.Identify, s.Observe, s.RecoverPanics, web.Headers)
	e.GET("/boom", func(*gin.Context) { panic("the secret ask_aAAAABBBBCCCC") })
	recorder := httptest.NewRecorder()
	e.ServeHTTP(recorder, httptest.NewRequest("GET", "/boom", nil))
	if recorder.Code != 500 || recorder.Header().Get("Content-Type") != web.ProblemMediaType || strings.Contains(recorder.Body.String(), "secret") {
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
	e.Use(web.Identify, s.Observe, s.RecoverPanics, web.Headers)
	e.GET("/half", func(c *gin.Context) {
		c.String(http.StatusOK, "ref\r\nB-17\r\n")
		s.Fail(c, errors.New("the database went away"))
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
