package api_test

import (
	"io"
	"log/slog"
	"net/http/httptest"
	"testing"

	"github.com/prometheus/client_golang/prometheus"

	"askwright/api"
	"askwright/service/servicetest"
)

// A page whose name was made to resolve to this address (DNS rebinding) reads
// neither what takes no key nor metrics and profiles.
func TestTheServerAnswersToItsOwnNamesOnly(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	for _, test := range []struct {
		hosts           []string
		host            string
		main, ops, live int
	}{
		{nil, "localhost:8080", 200, 200, 200},
		{nil, "askwright:8081", 200, 200, 200}, // a container's name
		{nil, "127.0.0.1", 200, 200, 200},
		{nil, "[::1]:8080", 200, 200, 200},
		{nil, "attacker.example", 200, 421, 200},
		{[]string{"flip.otterford.example"}, "flip.otterford.example", 200, 200, 200},
		{[]string{"flip.otterford.example"}, "Flip.Otterford.Example.:443", 200, 200, 200},
		{[]string{"flip.otterford.example"}, "attacker.example", 421, 421, 200},
		{[]string{"flip.otterford.example"}, "10.0.0.7:8080", 421, 200, 200}, // a balancer that asks whether it lives
	} {
		s := api.New(api.Options{
			App: f.App, Logger: slog.New(slog.NewTextHandler(io.Discard, nil)), Registry: prometheus.NewRegistry(), Build: "test", Hosts: test.hosts,
		})
		status := func(path string, ops bool) int {
			r, w := httptest.NewRequest("GET", path, nil), httptest.NewRecorder()
			r.Host = test.host
			if ops {
				s.OpsHandler().ServeHTTP(w, r)
			} else {
				s.Handler().ServeHTTP(w, r)
			}
			return w.Code
		}
		if got := status("/openapi.json", false); got != test.main {
			t.Errorf("%v, asked for %s: %d, want %d", test.hosts, test.host, got, test.main)
		}
		if got := status("/metrics", true); got != test.ops {
			t.Errorf("%v, operations asked for %s: %d, want %d", test.hosts, test.host, got, test.ops)
		}
		if got := status("/readyz", false); got != test.live {
			t.Errorf("%v, health asked for %s: %d, want %d", test.hosts, test.host, got, test.live)
		}
	}
	s := api.New(api.Options{App: f.App, Logger: slog.New(slog.DiscardHandler), Registry: prometheus.NewRegistry()})
	r, w := httptest.NewRequest("GET", "http://localhost/debug/pprof/heap", nil), httptest.NewRecorder()
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	if s.OpsHandler().ServeHTTP(w, r); w.Code != 403 {
		t.Errorf("a profile for a page of another site: %d", w.Code)
	}
}
