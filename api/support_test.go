package api_test

import (
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync"
	"testing"

	"github.com/prometheus/client_golang/prometheus"

	"askwright/api"
	"askwright/api/web"
	"askwright/api/wire"
	"askwright/db/dbtest"
	"askwright/service/servicetest"
)

func TestMain(m *testing.M) {
	code := m.Run()
	dbtest.Stop()
	os.Exit(code)
}

// site is the API over HTTP, on a database of its own.
type site struct {
	*servicetest.Fixture
	server *httptest.Server
	ops    http.Handler
	log    *logBuffer
}

// logBuffer keeps what was logged.
type logBuffer struct {
	mu   sync.Mutex
	text strings.Builder
}

func (b *logBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *logBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.String()
}

func newSite(t testing.TB, f *servicetest.Fixture, limits web.Limits) *site {
	t.Helper()
	log := &logBuffer{}
	logger := slog.New(slog.NewJSONHandler(log, nil))
	s := api.New(api.Options{
		App: f.App, Logger: logger, Registry: prometheus.NewRegistry(), Build: "test",
		Limits: limits, Now: f.Clock.Now, Security: "mailto:security@otterford.example",
	})
	server := httptest.NewUnstartedServer(nil)
	server.Config = api.NewHTTPServer(s.Handler(), logger)
	server.Start()
	t.Cleanup(server.Close)
	return &site{Fixture: f, server: server, ops: s.OpsHandler(), log: log}
}

// setup is a site with an empty group of two members: Wilda with an admin key,
// Otto with a write key.
func setup(t *testing.T) *site {
	t.Helper()
	return newSite(t, servicetest.New(t, "Wilda", "Otto"), web.Limits{RequestsPerMinute: 100_000, FailuresPerMinute: 100_000})
}

// reply is an answer, read to its end.
type reply struct {
	*http.Response
	body string
}

// call is a request; header holds names and values in turn.
type call struct {
	method, path string
	key          string
	body         string
	header       []string
}

// do sends a request. Each answer of 400 or more must be a proper problem.
func (s *site) do(t testing.TB, c call) reply {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), c.method, s.server.URL+c.path, strings.NewReader(c.body))
	if err != nil {
		t.Fatal(err)
	}
	if c.key != "" {
		r.Header.Set("Authorization", "Bearer "+c.key)
	}
	if c.body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(c.header); i += 2 {
		r.Header.Set(c.header[i], c.header[i+1])
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	response, err := client.Do(r)
	if err != nil {
		t.Fatalf("%s %s: %v", c.method, c.path, err)
	}
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatalf("%s %s: %v", c.method, c.path, err)
	}
	out := reply{response, string(body)}
	out.checkDescribed(t)
	if response.StatusCode >= 400 && c.method != http.MethodHead {
		out.checkProblem(t)
	}
	return out
}

// problem is the document as a client sees it.
type problem struct {
	Type, Title, Detail, Instance string
	Status                        int
	Errors                        []struct {
		Pointer, Parameter, Ref, Column, Code, Detail, Nearest string
		Row                                                    int
	}
	Received, Rejected int
}

// checkProblem holds an answer to RFC 9457 and to our own rules.
func (r reply) checkProblem(t testing.TB) problem {
	t.Helper()
	at := fmt.Sprintf("%s %s", r.Request.Method, r.Request.URL.Path)
	if got := r.Header.Get("Content-Type"); got != "application/problem+json" {
		t.Errorf("%s: Content-Type %q", at, got)
	}
	var p problem
	if err := json.Unmarshal([]byte(r.body), &p); err != nil {
		t.Fatalf("%s: %v in %q", at, err, r.body)
	}
	name, ok := strings.CutPrefix(p.Type, "/problems/")
	if !ok || name == "" || p.Title == "" {
		t.Errorf("%s: type %q, title %q", at, p.Type, p.Title)
	}
	if p.Status != r.StatusCode {
		t.Errorf("%s: status %d in the document, %d in the answer", at, p.Status, r.StatusCode)
	}
	if p.Instance == "" || p.Instance != r.Header.Get("X-Request-Id") {
		t.Errorf("%s: instance %q, request id %q", at, p.Instance, r.Header.Get("X-Request-Id"))
	}
	if r.StatusCode == 401 && !strings.HasPrefix(r.Header.Get("WWW-Authenticate"), "Bearer") {
		t.Errorf("%s: 401 without WWW-Authenticate (RFC 9110 section 15.5.2)", at)
	}
	if (r.StatusCode == 429 || r.StatusCode == 503) && r.Header.Get("Retry-After") == "" {
		t.Errorf("%s: %d without Retry-After", at, r.StatusCode)
	}
	if r.StatusCode == 405 && r.Header.Get("Allow") == "" {
		t.Errorf("%s: 405 without Allow (RFC 9110 section 15.5.6)", at)
	}
	if r.StatusCode >= 500 {
		t.Errorf("%s: status %d: %s", at, r.StatusCode, r.body)
	}
	if strings.Contains(r.body, "ask_a") || strings.Contains(r.body, "ask_w") {
		t.Errorf("%s: a key stands in the answer: %s", at, r.body)
	}
	return p
}

// wantProblem checks that an answer is a problem of a kind.
func wantProblem(t *testing.T, r reply, status int, name string) problem {
	t.Helper()
	if r.StatusCode != status {
		t.Fatalf("%s %s: status %d, want %d: %s", r.Request.Method, r.Request.URL.Path, r.StatusCode, status, r.body)
	}
	p := r.checkProblem(t)
	if p.Type != "/problems/"+name {
		t.Errorf("%s %s: type %q, want %q: %s", r.Request.Method, r.Request.URL.Path, p.Type, name, p.Detail)
	}
	return p
}

// want checks the status of an answer and decodes it.
func want[T any](t testing.TB, r reply, status int) T {
	t.Helper()
	var v T
	if r.StatusCode != status {
		t.Fatalf("%s %s: status %d, want %d: %s", r.Request.Method, r.Request.URL.Path, r.StatusCode, status, r.body)
	}
	if err := json.Unmarshal([]byte(r.body), &v); err != nil {
		t.Fatalf("%s %s: %v in %q", r.Request.Method, r.Request.URL.Path, err, r.body)
	}
	return v
}

type row = map[string]any

const sideboard = `{"ref":"B-17","category":"sideboard","width":60,"listed_on":"2026-03-01","ask":480,"own_price":500,"purchase_cost":"120.00","notes":"for me"}`

// create records a row as a member and returns it.
func (s *site) create(t *testing.T, member, body string) row {
	t.Helper()
	return want[row](t, s.do(t, call{method: "POST", path: "/v1/listings", key: s.Keys[member], body: body}), 201)
}

// textOf is the sentences of an answer as one text.
func textOf(all []wire.Sentence) string {
	texts := make([]string, len(all))
	for i, s := range all {
		texts[i] = s.Text
	}
	return strings.Join(texts, " ")
}

// landing is the address at which the rows of a file land at once.
func landing(query string) string {
	return "/v1/imports?commit=true" + strings.Replace(query, "?", "&", 1)
}
