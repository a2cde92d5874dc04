package api_test

import (
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"askwright/api"
	"askwright/api/web"
	"askwright/docs"
	"askwright/service"
	"askwright/service/members"
	"askwright/service/servicetest"
)

// documented lists the routes of the API description: method and path.
func documented(t *testing.T) [][2]string {
	t.Helper()
	var description struct {
		Paths map[string]map[string]struct {
			Security []map[string][]string
		}
	}
	if err := json.Unmarshal(docs.OpenAPI, &description); err != nil {
		t.Fatal(err)
	}
	var out [][2]string
	for path, methods := range description.Paths {
		for method := range methods {
			out = append(out, [2]string{strings.ToUpper(method), path})
		}
	}
	if len(out) < 30 {
		t.Fatalf("only %d routes in the description", len(out))
	}
	return out
}

var placeholder = regexp.MustCompile(`\{[a-z_]+\}`)

// bodies that are right, so that nothing but the key decides.
var rightBodies = map[string]string{
	"POST /v1/listings":             `{"ref":"N-1","category":"desk","stage":"found"}`,
	"POST /v1/imports":              `[{"ref":"N-1","category":"desk","stage":"found"}]`,
	"POST /v1/pieces":               `{"ref":"N-1","category":"desk","stage":"found"}`,
	"PATCH /v1/listings/{id}":       `{"color":"navy"}`,
	"POST /v1/listings/{id}/events": `{"kind":"ask","ask":400}`,
	"PATCH /v1/pieces/{id}":         `{"color":"navy"}`,
	"POST /v1/pieces/{id}/costs":    `{"kind":"materials_cost","amount":12.5}`,
	"POST /v1/suggestions":          `{"subjects":[{"category":"desk"}]}`,
	"POST /v1/listings/{id}/offers": `{"amount":300}`,
	"POST /v1/purchase-limits":      `{"subjects":[{"category":"desk"}]}`,
	"POST /v1/delivery-quotes":      `{"distance":5}`,
	"PATCH /v1/group":               `{"fee_rate":0.1}`,
	"POST /v1/invitations":          `{"name":"Nobody"}`,
	"POST /v1/keys":                 `{"scope":"read"}`,
	"PATCH /v1/imports/{id}":        `{"take_proposed":true}`,
	"POST /v1/imports/{id}/commits": `{}`,
	"POST /v1/webhooks":             `{"url":"https://hooks.example/otterford"}`,
	"POST /v1/webhook-samples":      `{"event_type":"listing.sold","secret":"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"}`,
}

// noFeeds are lists with what is one's own, or the group's alone.
var noFeeds = []string{
	"/v1/pieces/{id}/costs.csv", "/v1/reports/profit.csv", "/v1/reports/profit-lines.csv", "/v1/reports/stock.csv", "/v1/reports/let-go.csv",
	"/v1/reports/quick-sales.csv", "/v1/listings/{id}/events.csv", "/v1/listings/{id}/offers.csv", "/v1/work-queue.csv", "/v1/members.csv", "/v1/keys.csv",
}

// scopes says what each route needs, apart from the table of routes.
func scopeOf(method, path string) string {
	switch {
	case strings.HasPrefix(path, "/v1/webhook"), strings.HasPrefix(path, "/v1/invitations"):
		return service.ScopeAdmin
	case strings.HasPrefix(path, "/v1/imports"):
		return service.ScopeWrite
	case slices.Contains(noFeeds, path):
		return service.ScopeRead
	case strings.HasSuffix(path, ".csv"), strings.HasSuffix(path, ".atom"), strings.HasSuffix(path, ".ics"), strings.HasSuffix(path, ".svg"), strings.HasSuffix(path, ".png"):
		return service.ScopeFeed
	case method == "GET" || slices.Contains([]string{"/v1/suggestions", "/v1/purchase-limits", "/v1/delivery-quotes", "/v1/refinish-estimates"}, path):
		return service.ScopeRead
	case strings.HasPrefix(path, "/v1/group") || strings.HasPrefix(path, "/v1/members"):
		return service.ScopeAdmin
	}
	return service.ScopeWrite
}

func (s *site) keyWith(t *testing.T, member, scope string) string {
	t.Helper()
	_, secret, err := s.Members.CreateKey(t.Context(), s.Actor(t, member), members.NewKey{Scope: scope})
	if err != nil {
		t.Fatal(err)
	}
	return secret
}

// Each route: without a key 401, with too small a scope 403, and for what
// belongs to another group 404, never 403 (OWASP API Security Top 10 2023, API1
// and API5).
func TestEveryRouteGuardsItself(t *testing.T) {
	s := setup(t)
	mine := s.create(t, "Wilda", sideboard)
	piece := want[struct{ Items []struct{ ID string } }](t, s.do(t, call{method: "GET", path: "/v1/pieces", key: s.Keys["Wilda"]}), 200).Items[0].ID
	keys := want[struct {
		Items []struct {
			ID       string
			MemberID string `json:"member_id"`
		}
	}](t, s.do(t, call{method: "GET", path: "/v1/keys", key: s.Keys["Wilda"]}), 200).Items
	below := map[string]string{
		service.ScopeRead: s.keyWith(t, "Wilda", service.ScopeFeed), service.ScopeWrite: s.keyWith(t, "Wilda", service.ScopeRead),
		service.ScopeAdmin: s.keyWith(t, "Wilda", service.ScopeWrite),
	}
	s.AddGroup(t, "Stranger")
	stranger := s.Keys["Stranger"]
	for _, route := range documented(t) {
		method, path := route[0], route[1]
		if !strings.HasPrefix(path, "/v1") || path == "/v1/invitation-redemptions" { // which takes no key
			continue
		}
		t.Run(method+" "+path, func(t *testing.T) {
			id := mine["id"].(string)
			switch {
			case strings.HasPrefix(path, "/v1/pieces"):
				id = piece
			case strings.HasPrefix(path, "/v1/keys"):
				id = keys[0].ID
			case strings.HasPrefix(path, "/v1/members"):
				id = keys[0].MemberID
			}
			c := call{method: method, path: placeholder.ReplaceAllString(path, id), body: rightBodies[method+" "+path]}
			wantProblem(t, s.do(t, c), 401, "unauthenticated")
			c.key = strings.Replace(s.Keys["Wilda"], "ask_a", "ask_r", 1)
			wantProblem(t, s.do(t, c), 401, "unauthenticated")
			if c.key = below[scopeOf(method, path)]; c.key != "" {
				wantProblem(t, s.do(t, c), 403, "forbidden")
			}
			if !strings.Contains(path, "{id}") {
				return
			}
			c.key = stranger
			wantProblem(t, s.do(t, c), 404, "not-found")
			c.path = placeholder.ReplaceAllString(path, "not-an-id")
			wantProblem(t, s.do(t, c), 404, "not-found")
			c.path = placeholder.ReplaceAllString(path, "%7B"+id+"%7D") // a form that a parser of ids may take
			wantProblem(t, s.do(t, c), 404, "not-found")
			c.key, c.path = s.Keys["Wilda"], placeholder.ReplaceAllString(path, noID)
			wantProblem(t, s.do(t, c), 404, "not-found")
		})
	}
	if r := s.do(t, call{method: "GET", path: "/v1/listings/" + mine["id"].(string), key: s.Keys["Wilda"]}); r.StatusCode != 200 {
		t.Errorf("the listing is gone after the walk: %d", r.StatusCode)
	}
}

// noID is what a program sends that never set its variable.
const noID = "00000000-0000-0000-0000-000000000000"

// The id of zeros is none; it stood for every piece, and what was sent to it
// landed on whichever came last.
func TestTheIDOfZerosNamesNothing(t *testing.T) {
	t.Parallel()
	s := setup(t)
	row := s.create(t, "Wilda", sideboard)
	key := s.Keys["Wilda"]
	pieces := want[struct{ Items []struct{ ID string } }](t, s.do(t, call{method: "GET", path: "/v1/pieces", key: key}), 200)
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings?piece=" + noID, key: key}), 400, "malformed")
	for _, refused := range []struct{ path, body string }{
		{"/v1/pieces/" + pieces.Items[0].ID + "/costs", `{"voids":"` + noID + `"}`},
		{"/v1/listings/" + row["id"].(string) + "/events", `{"kind":"void","voids":"` + noID + `"}`},
		{"/v1/suggestions", `{"subjects":[{"id":"` + noID + `"}]}`},
	} {
		wantProblem(t, s.do(t, call{method: "POST", path: refused.path, body: refused.body, key: key}), 422, "invalid")
	}
}

// What only the owner may see comes to the owner and to nobody else, in any
// form, and not in the log.
func TestOwnerOnlyColumnsStayWithTheOwner(t *testing.T) {
	t.Parallel()
	s := setup(t)
	secrets := []string{"4321.09", "8765.43", "for my eyes", "Thimble Yard"}
	made := s.create(t, "Wilda", `{"ref":"B-17","category":"desk","listed_on":"2026-03-01","ask":480,"own_price":4321.09,"purchase_cost":8765.43,"notes":"for my eyes","bought_from":"Thimble Yard"}`)
	secrets = append(secrets, "thimble_yard")
	id := made["id"].(string)
	s.do(t, call{method: "POST", path: "/v1/listings/" + id + "/events", key: s.Keys["Wilda"], body: `{"kind":"offer","amount":301.77,"note":"from the neighbour"}`})
	s.do(t, call{method: "PATCH", path: "/v1/listings/" + id, key: s.Keys["Wilda"], body: `{"hours":211.37}`})
	secrets = append(secrets, "301.77", "from the neighbour", "211.37")
	owner := s.do(t, call{method: "GET", path: "/v1/listings.csv", key: s.Keys["Wilda"]}).body + s.do(t, call{method: "GET", path: "/v1/listings/" + id + "/events", key: s.Keys["Wilda"]}).body
	for _, secret := range []string{"4321.09", "8765.43", "for my eyes", "301.77"} {
		if !strings.Contains(owner, secret) {
			t.Fatalf("the owner does not see %q: the test shows nothing", secret)
		}
	}
	feed := s.keyWith(t, "Wilda", service.ScopeFeed)
	look := func(what, key string, c call) {
		t.Helper()
		c.key = key
		r := s.do(t, c)
		if r.StatusCode != 200 {
			t.Errorf("%s: %s %s: %d %s", what, c.method, c.path, r.StatusCode, r.body)
		}
		for _, secret := range secrets {
			if strings.Contains(r.body, secret) {
				t.Errorf("%s sees %q at %s: %s", what, secret, c.path, r.body)
			}
		}
		for _, name := range []string{`"purchase_cost"`, `"own_price":`, `"notes":`} {
			if strings.Contains(r.body, name) {
				t.Errorf("%s sees the name %s at %s", what, name, c.path)
			}
		}
	}
	piece := want[struct{ Items []struct{ ID string } }](t, s.do(t, call{method: "GET", path: "/v1/pieces", key: s.Keys["Otto"]}), 200).Items[0].ID
	for _, path := range []string{
		"/v1/listings", "/v1/listings.csv", "/v1/listings/" + id, "/v1/listings/" + id + "/events", "/v1/listings/" + id + "/suggestion",
		"/v1/pieces", "/v1/pieces/" + piece, "/v1/comparables?category=desk", "/v1/comparables.csv?category=desk", "/v1/reviews", "/v1/reviews.csv",
		"/v1/suggestions", "/v1/suggestions.csv", "/v1/reports/listing-age", "/v1/reports/listing-age.csv",
		"/v1/reviews.atom?state=fresh,slow,stale", "/v1/digest", "/v1/digest.txt", "/v1/digest.html", "/v1/model", "/v1/track-record", "/v1/listings?fields=ref,own_price,purchase_cost",
	} {
		look("another member", s.Keys["Otto"], call{method: "GET", path: path})
	}
	for _, path := range []string{"/v1/reports/profit", "/v1/reports/profit-lines", "/v1/reports/stock.csv"} { // Otto's own, which is empty
		r := s.do(t, call{method: "GET", path: path, key: s.Keys["Otto"]})
		for _, secret := range secrets {
			if r.StatusCode != 200 || strings.Contains(r.body, secret) {
				t.Errorf("another member at %s: %d %s", path, r.StatusCode, r.body)
			}
		}
	}
	look("another member", s.Keys["Otto"], call{method: "POST", path: "/v1/suggestions", body: `{"subjects":[{"id":"` + id + `"},{"category":"desk"}]}`})
	for _, path := range []string{
		"/v1/listings.csv", "/v1/reviews.csv", "/v1/reviews.atom?state=fresh,slow,stale", "/v1/comparables.csv?category=desk", "/v1/suggestions.csv", "/v1/reports/listing-age.csv",
		"/v1/listings/" + id + "/curve.svg", "/v1/reports/listing-age.svg",
	} {
		look("a feed", feed, call{method: "GET", path: path})
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings.csv?fields=ref,own_price", key: feed}), 400, "malformed")
	for _, secret := range secrets {
		if strings.Contains(s.log.String(), secret) {
			t.Errorf("the log holds %q", secret)
		}
	}
}

func TestKeysInAddresses(t *testing.T) {
	t.Parallel()
	s := setup(t)
	s.create(t, "Wilda", sideboard)
	feed := s.keyWith(t, "Wilda", service.ScopeFeed)
	r := s.do(t, call{method: "GET", path: "/v1/listings.csv?fields=ref&key=" + feed})
	if r.StatusCode != 200 || r.body != "ref\r\nB-17\r\n" {
		t.Errorf("a feed: %d %q", r.StatusCode, r.body)
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings?key=" + feed}), 400, "key-in-address")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings", key: feed}), 403, "forbidden")
	p := wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings.csv?key=" + s.Keys["Wilda"]}), 400, "key-in-address")
	if !strings.Contains(p.Detail, "revoke") {
		t.Errorf("no advice to revoke: %q", p.Detail)
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings.csv?key=" + s.Keys["Otto"], key: s.Keys["Wilda"]}), 400, "key-in-address")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings.csv?key=" + feed, key: feed}), 400, "malformed")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings.csv?key=nonsense"}), 401, "unauthenticated")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings", header: []string{"Authorization", "Basic " + s.Keys["Wilda"]}}), 401, "unauthenticated")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings", header: []string{"Cookie", "key=" + s.Keys["Wilda"]}}), 401, "unauthenticated")
	s.do(t, call{method: "GET", path: "/" + s.Keys["Wilda"], header: []string{"X-Request-Id", s.Keys["Otto"]}})
	s.do(t, call{method: "GET", path: "/v1/listings/" + s.Keys["Wilda"], key: s.Keys["Otto"]})
	s.do(t, call{method: "POST", path: "/v1/listings", key: s.Keys["Otto"], body: `{"` + s.Keys["Wilda"] + `":1}`})
	for _, key := range []string{feed, s.Keys["Wilda"], s.Keys["Otto"]} {
		if strings.Contains(s.log.String(), key[:20]) {
			t.Errorf("a key stands in the log: %s", s.log)
		}
	}
	metrics := httptest.NewRecorder()
	s.ops.ServeHTTP(metrics, httptest.NewRequest("GET", "http://localhost/metrics", nil))
	if strings.Contains(metrics.Body.String(), "ask_") || !strings.Contains(metrics.Body.String(), `route="/v1/listings/:id"`) {
		t.Errorf("metrics: %s", metrics.Body)
	}
}

func TestRateLimits(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.New(t, "Wilda", "Otto"), web.Limits{RequestsPerMinute: 10, FailuresPerMinute: 3})
	key := s.Keys["Wilda"]
	for i := range 10 {
		r := s.do(t, call{method: "GET", path: "/v1/group", key: key})
		if got, wanted := r.Header.Get("RateLimit"), fmt.Sprintf(`"default";r=%d;t=%d`, 9-i, (i+1)*6); r.StatusCode != 200 || got != wanted {
			t.Errorf("request %d: %d, RateLimit %s, want %s", i+1, r.StatusCode, got, wanted)
		}
	}
	r := s.do(t, call{method: "GET", path: "/v1/group", key: key})
	wantProblem(t, r, 429, "too-many-requests")
	if got := r.Header.Get("Retry-After"); got != "6" {
		t.Errorf("Retry-After %q, want 6: ten a minute", got)
	}
	if r := s.do(t, call{method: "HEAD", path: "/v1/group", key: key}); r.StatusCode != 200 {
		t.Errorf("HEAD is limited: %d", r.StatusCode)
	}
	if r := s.do(t, call{method: "OPTIONS", path: "/v1/group"}); r.StatusCode != 204 {
		t.Errorf("OPTIONS is limited: %d", r.StatusCode)
	}
	if r := s.do(t, call{method: "GET", path: "/v1/group", key: s.Keys["Otto"]}); r.StatusCode != 200 {
		t.Errorf("another key is limited: %d", r.StatusCode)
	}
	for range 3 {
		wantProblem(t, s.do(t, call{method: "GET", path: "/v1/group", key: "ask_wrong"}), 401, "unauthenticated")
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/group", key: "ask_wrong"}), 429, "too-many-requests")
	if r := s.do(t, call{method: "GET", path: "/v1/group", key: s.Keys["Otto"]}); r.StatusCode != 200 {
		t.Errorf("a valid key from the same address: %d", r.StatusCode)
	}
	s.Clock.Advance(1)
	if r := s.do(t, call{method: "GET", path: "/v1/group", key: key}); r.StatusCode != 200 {
		t.Errorf("after a day: %d", r.StatusCode)
	}
	subjects := strings.TrimSuffix(strings.Repeat(`{"category":"desk"},`, 90), ",")
	r = s.do(t, call{method: "POST", path: "/v1/suggestions", key: key, body: `{"subjects":[` + subjects + `]}`})
	wantProblem(t, r, 429, "too-many-requests")
}

func TestMethodsAndHeaders(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	r := s.do(t, call{method: "OPTIONS", path: "/v1/listings", header: []string{"Origin", "https://example.org", "Access-Control-Request-Method", "POST"}})
	if r.StatusCode != 204 || r.Header.Get("Allow") != "GET, HEAD, OPTIONS, POST" || r.Header.Get("Access-Control-Allow-Origin") != "*" ||
		!strings.Contains(r.Header.Get("Access-Control-Allow-Headers"), "Authorization") || r.Header.Get("Access-Control-Allow-Credentials") != "" {
		t.Errorf("OPTIONS: %d %v", r.StatusCode, r.Header)
	}
	r = s.do(t, call{method: "PUT", path: "/v1/listings", key: key, body: "{}"})
	wantProblem(t, r, 405, "method-not-allowed")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings/", key: key}), 404, "not-found")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v2", key: key}), 404, "not-found")
	for _, route := range documented(t) {
		if route[0] != "GET" || strings.Contains(route[1], "{") || strings.HasPrefix(route[1], "/board") {
			continue // the board has headers and keys of its own
		}
		path := route[1]
		switch {
		case strings.Contains(path, "comparables"):
			path += "?category=desk"
		case strings.Contains(path, "work-queue"):
			path += "?hours=12&money=60"
		}
		get, head := s.do(t, call{method: "GET", path: path, key: key}), s.do(t, call{method: "HEAD", path: path, key: key})
		if get.StatusCode != 200 || head.StatusCode != 200 || head.body != "" || head.Header.Get("Content-Type") != get.Header.Get("Content-Type") {
			t.Errorf("%s: GET %d, HEAD %d %q", path, get.StatusCode, head.StatusCode, head.body)
		}
		for name, wanted := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer"} {
			if got := get.Header.Get(name); got != wanted {
				t.Errorf("%s: %s %q", path, name, got)
			}
		}
		caching := "private, no-cache"
		if strings.HasSuffix(path, ".png") || strings.HasSuffix(path, ".svg") || strings.HasSuffix(path, ".atom") || strings.HasSuffix(path, ".ics") {
			caching = "private, max-age=60"
		}
		if strings.HasPrefix(path, "/v1") && (get.Header.Get("Cache-Control") != caching || get.Header.Get("Vary") != "Authorization, Accept, Accept-Encoding") {
			t.Errorf("%s: Cache-Control %q, Vary %q", path, get.Header.Get("Cache-Control"), get.Header.Get("Vary"))
		}
	}
	r = s.do(t, call{method: "GET", path: "/healthz", header: []string{"X-Request-Id", "mine-1", "traceparent", "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"}})
	if r.Header.Get("X-Request-Id") != "mine-1" || !strings.Contains(s.log.String(), `"trace_id":"0af7651916cd43dd8448eb211c80319c"`) {
		t.Errorf("X-Request-Id %q, log %s", r.Header.Get("X-Request-Id"), s.log)
	}
}

func TestDocumentation(t *testing.T) {
	t.Parallel()
	s := setup(t)
	types := want[struct {
		Items []struct{ Name, Title, About string }
	}](t, s.do(t, call{method: "GET", path: "/problems"}), 200)
	for _, p := range types.Items {
		if r := s.do(t, call{method: "GET", path: "/problems/" + p.Name}); r.StatusCode != 200 || p.Title == "" || p.About == "" {
			t.Errorf("%s: %d", p.Name, r.StatusCode)
		}
	}
	if r := s.do(t, call{method: "GET", path: "/docs/"}); r.StatusCode != 302 || r.Header.Get("Location") != "/docs/index.html" {
		t.Errorf("/docs/: %d", r.StatusCode)
	}
	for _, file := range []string{"x/index.html", "doc.json", "../v1/listings", ""} {
		if r := s.do(t, call{method: "GET", path: "/docs/" + file}); r.StatusCode == 200 {
			t.Errorf("/docs/%s: %d", file, r.StatusCode)
		}
	}
	for _, file := range []string{"index.html", "swagger-ui.css", "swagger-ui-bundle.js", "swagger-initializer.js"} {
		r := s.do(t, call{method: "GET", path: "/docs/" + file})
		if r.StatusCode != 200 || len(r.body) < 100 {
			t.Errorf("/docs/%s: %d, %d bytes", file, r.StatusCode, len(r.body))
		}
	}
	if page := s.do(t, call{method: "GET", path: "/docs/swagger-initializer.js"}); !strings.Contains(page.body, "openapi.json") {
		t.Errorf("the page does not load the description: %s", page.body)
	}
	ops := httptest.NewRecorder()
	s.ops.ServeHTTP(ops, httptest.NewRequest("GET", "http://localhost/readyz", nil))
	if ops.Code != 200 {
		t.Errorf("/readyz on the operations address: %d", ops.Code)
	}
}

// A client that sends its body a byte at a time holds no transaction: others
// can write meanwhile.
func TestSlowImportHoldsNobodyUp(t *testing.T) {
	t.Parallel()
	s := setup(t)
	slow, feed := make(chan struct{}), make(chan []byte)
	done := make(chan int)
	go func() {
		r, err := http.NewRequest("POST", s.server.URL+landing(""), channelReader(feed))
		if err == nil {
			r.Header.Set("Authorization", "Bearer "+s.Keys["Wilda"])
			r.Header.Set("Content-Type", "text/csv")
			var response *http.Response
			if response, err = http.DefaultClient.Do(r); err == nil {
				response.Body.Close()
				done <- response.StatusCode
				return
			}
		}
		t.Error(err)
		done <- 0
	}()
	go func() {
		feed <- []byte("ref,category,stage\nS-1,de")
		close(slow)
	}()
	<-slow
	start := time.Now()
	s.create(t, "Wilda", sideboard)
	if took := time.Since(start); took > 5*time.Second {
		t.Errorf("a write waited %s for a slow import", took)
	}
	feed <- []byte("sk,found\n")
	close(feed)
	if status := <-done; status != 200 {
		t.Errorf("the slow import: %d", status)
	}
}

type channelReader chan []byte

func (r channelReader) Read(p []byte) (int, error) {
	b, ok := <-r
	if !ok {
		return 0, io.EOF
	}
	return copy(p, b), nil
}

// Fields, line ends and what is needed of them after RFC 9116, sections 2.2,
// 2.5.3 and 2.5.5.
func TestSecurityContact(t *testing.T) {
	t.Parallel()
	s := setup(t)
	r := s.do(t, call{method: "GET", path: "/.well-known/security.txt"})
	const wanted = "Contact: mailto:security@otterford.example\r\nExpires: 2026-10-01T00:00:00Z\r\nPreferred-Languages: en\r\n"
	if r.StatusCode != 200 || r.body != wanted || r.Header.Get("Content-Type") != "text/plain; charset=utf-8" {
		t.Errorf("%d %v %q, want %q", r.StatusCode, r.Header, r.body, wanted)
	}
	nobody := api.New(api.Options{App: s.App, Logger: slog.New(slog.DiscardHandler), Registry: prometheus.NewRegistry(), Now: s.Clock.Now})
	answer := httptest.NewRecorder()
	nobody.Handler().ServeHTTP(answer, httptest.NewRequestWithContext(t.Context(), "GET", "/.well-known/security.txt", nil))
	if answer.Code != 404 {
		t.Errorf("without a contact: %d", answer.Code)
	}
}
