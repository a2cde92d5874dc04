package api_test

import (
	"context"
	"log/slog"
	"maps"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"askwright/api"
	"askwright/api/web"
	"askwright/db"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/app"
	"askwright/service/members"
	"askwright/service/servicetest"
	"askwright/service/webhook"
)

// replica is another process on the same database.
func (s *site) replica(t *testing.T, post webhook.Post) (*app.App, *db.Store) {
	t.Helper()
	store, err := db.Open(t.Context(), s.DB.DSN, db.Options{MaxConns: 4})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	return app.New(app.Options{Store: store, Now: s.Clock.Now, Logger: slog.New(slog.DiscardHandler), Post: post}), store
}

// A process dies after a message arrived and before it could note that: another
// one sends it again, with the same id, and not before the first had its time.
func TestADeathBetweenSendingAndNoting(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	hook := s.hook(t, "Wilda")
	s.tell(t, "Wilda", s.create(t, "Wilda", sideboard), `{"kind":"sold","sale_price":440}`)
	var store *db.Store
	var dying *app.App
	dying, store = s.replica(t, func(ctx context.Context, url string, headers map[string]string, body []byte) (webhook.PostAnswer, error) {
		answer, err := s.Post(ctx, url, headers, body)
		store.Close()
		return answer, err
	})
	if err := dying.Sender.RunOnce(t.Context()); err == nil {
		t.Fatal("it lives on")
	}
	first := r.take()
	s.send(t)
	if early := r.take(); len(first) != 1 || len(early) > 0 {
		t.Fatalf("%d sent, and at once again %d", len(first), len(early))
	}
	s.Clock.AdvanceBy(time.Minute)
	s.send(t)
	if again := r.take(); len(again) != 1 || again[0].id != first[0].id || again[0].body != first[0].body {
		t.Errorf("sent again %+v, at first %+v", again, first)
	}
	s.send(t)
	if d := s.deliveries(t, "Wilda", hook.ID, ""); len(r.take()) > 0 || len(d) != 1 || d[0].State != "delivered" || d[0].Attempts != 2 {
		t.Errorf("in the end %+v", d)
	}
}

// Several processes at once send each message once, one after another.
func TestReplicasNeverSendTheSame(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	s.hook(t, "Wilda")
	listing := s.create(t, "Wilda", sideboard)
	for range 15 {
		s.tell(t, "Wilda", listing, `{"kind":"offer","amount":300}`)
	}
	r.takes = 10 * time.Millisecond
	var all sync.WaitGroup
	for range 4 {
		replica, _ := s.replica(t, s.Post)
		all.Go(func() {
			for range 3 {
				if err := replica.Sender.RunOnce(t.Context()); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	ids := map[string]int{}
	for _, m := range r.take() {
		ids[m.id]++
	}
	if len(ids) != 15 || slices.Max(slices.Collect(maps.Values(ids))) != 1 || r.most != 1 {
		t.Errorf("%d messages, %v times, %d at the same time", len(ids), ids, r.most)
	}
}

// Neither another group nor another member of the group is told what is not
// theirs, by message or by list.
func TestWebhooksKeepGroupsAndOffersApart(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	wildas := s.hook(t, "Wilda")
	_, invitation, err := s.Members.Invite(t.Context(), s.Actor(t, "Wilda"), "Brisa", service.ScopeAdmin)
	var brisa members.Key
	if err == nil {
		brisa, s.Keys["Brisa"], err = s.Members.Redeem(t.Context(), invitation)
	}
	if err != nil {
		t.Fatal(err)
	}
	brisas := want[endpoint](t, s.do(t, call{method: "POST", path: "/v1/webhooks", key: s.Keys["Brisa"], body: `{"url":"https://hooks.example/brisa"}`}), 201)
	wilda := s.Keys["Wilda"]
	s.AddGroup(t, "Stranger")
	s.hook(t, "Stranger")
	theirs := s.create(t, "Stranger", `{"ref":"S-1","category":"desk","listed_on":"2026-03-01","ask":100}`)
	listing := s.create(t, "Wilda", sideboard)
	s.tell(t, "Wilda", listing, `{"kind":"offer","amount":300}`)
	s.tell(t, "Wilda", listing, `{"kind":"sold","sale_price":440}`)
	s.tell(t, "Stranger", theirs, `{"kind":"offer","amount":90}`)
	s.send(t)
	keys := map[string]string{}
	for _, m := range r.take() {
		keys[m.id] = m.Type + " " + m.Data["ref"].(string)
	}
	for id, told := range map[string]string{wildas.ID: "listing.sold B-17,offer.recorded B-17", brisas.ID: "listing.sold B-17"} {
		key := map[string]string{wildas.ID: wilda, brisas.ID: s.Keys["Brisa"]}[id]
		var got []string
		for _, line := range table(t, s.do(t, call{method: "GET", path: "/v1/webhooks/" + id + "/deliveries.csv?fields=id", key: key}))[1:] {
			got = append(got, keys[line[0]])
		}
		if strings.Join(got, ",") != told {
			t.Errorf("told %q, want %q", got, told)
		}
	}
	if rows := s.Select(t, "select event from askwright.webhook_delivery"); len(keys) != 4 || len(rows) != 4 {
		t.Errorf("messages %v, on file %v", keys, rows)
	}
	if seen := s.deliveries(t, "Brisa", wildas.ID, ""); len(seen) != 1 || seen[0].Event != "listing.sold" {
		t.Errorf("another admin sees %+v", seen)
	}
	if hooks := s.hooks(t, "Stranger"); len(hooks) != 1 {
		t.Errorf("a stranger sees %+v", hooks)
	}
	// Whoever leaves is told no more.
	if r := s.do(t, call{method: "DELETE", path: "/v1/members/" + brisa.MemberID.String(), key: wilda}); r.StatusCode != 204 {
		t.Fatalf("Brisa stays: %d", r.StatusCode)
	}
	if hooks := want[struct{ Items []endpoint }](t, s.do(t, call{method: "GET", path: "/v1/webhooks", key: wilda}), 200).Items; len(hooks) != 1 || hooks[0].ID != wildas.ID {
		t.Errorf("after Brisa left: %+v", hooks)
	}
}

// Listings that become slow or stale overnight are told although nobody reads
// anything, and once.
func TestStatesAreToldOvernight(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.Demo(t), web.Limits{RequestsPerMinute: 100_000})
	r := newReceiver(t)
	s.Post = r.post("hooks.example")
	admin := slices.Sorted(maps.Keys(s.Keys))[0]
	for name, key := range s.Keys {
		if strings.HasPrefix(key, "ask_a") {
			admin = name
		}
	}
	review := func() map[string]string {
		t.Helper()
		if err := s.Reviewer.RunOnce(t.Context()); err != nil {
			t.Fatal(err)
		}
		reviews, err := s.Advice.Reviews(t.Context(), s.Actor(t, admin), advice.ReviewQuery{})
		if err != nil {
			t.Fatal(err)
		}
		states := map[string]string{}
		for _, r := range reviews {
			states[r.Row.ID.String()] = r.State
		}
		return states
	}
	before := review()
	s.hook(t, admin)
	wanted := map[string]string{}
	for night := 0; night < 10 && len(wanted) == 0; night++ {
		s.Clock.Advance(1)
		after := review()
		for id, state := range after {
			if state != before[id] && (state == "slow" || state == "stale") {
				wanted[id] = "listing." + state
			}
		}
		before = after
	}
	s.Clock.AdvanceBy(time.Hour)
	review()
	s.send(t)
	s.send(t)
	got := map[string]string{}
	messages := r.take()
	for _, m := range messages {
		got[m.Data["listing_id"].(string)] = m.Type
		if m.Data["state"] != strings.TrimPrefix(m.Type, "listing.") || m.Data["action"] == "" || m.Data["active_days"].(float64) < 1 || m.Data["ask"].(float64) <= 0 {
			t.Errorf("told %s", m.body)
		}
	}
	if len(wanted) == 0 || !maps.Equal(got, wanted) {
		t.Fatalf("told %v, want %v", got, wanted)
	}
	// Another remedy in the same state is no news.
	s.Select(t, "delete from askwright.webhook_delivery returning event")
	s.Select(t, "update askwright.listing_state set action = 'none', since = since - interval '30 days' returning state")
	s.do(t, call{method: "GET", path: "/v1/reviews.atom", key: s.Keys[admin]})
	s.send(t)
	if changed := s.Select(t, "select state from askwright.listing_state where updated_at > since and action <> 'none'"); len(changed) == 0 || len(r.take()) > 0 {
		t.Errorf("of %d other remedies something is told", len(changed))
	}
	// A state that a listing was told in and left is no news for a week.
	shown := map[bool]int{}
	for _, test := range []struct {
		days int
		told bool
	}{{0, true}, {0, false}, {6, false}, {9, true}} {
		s.Select(t, "update askwright.listing_state set state = 'fresh' where state in ('slow', 'stale') returning state")
		s.Clock.Advance(test.days)
		s.do(t, call{method: "GET", path: "/v1/reviews.atom", key: s.Keys[admin]}) // reading notes states, too
		now := review()
		s.send(t)
		s.send(t)
		again := map[string]string{}
		for _, m := range r.take() {
			again[m.Data["listing_id"].(string)] = m.Type
		}
		for id, event := range wanted {
			if now[id] != "slow" && now[id] != "stale" {
				continue // it left the state for good
			}
			shown[test.told]++
			if is := "listing." + now[id]; is == event && (again[id] == event) != test.told {
				t.Errorf("after %d days: told %q of a listing that is %s again, want %t", test.days, again[id], event, test.told)
			}
		}
	}
	if shown[true] == 0 || shown[false] == 0 {
		t.Errorf("listings that came back: %v; the test shows nothing", shown)
	}
}

func TestWebhooksAreOffUnlessTurnedOn(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	hook := s.hook(t, "Wilda")
	off := &servicetest.Fixture{DB: s.DB, Clock: s.Clock, Registry: s.Registry, Keys: s.Keys}
	off.App, _ = s.replica(t, nil)
	o := newSite(t, off, web.Limits{})
	for path, body := range map[string]string{
		"/v1/webhooks": `{"url":"https://hooks.example/"}`, "/v1/webhooks/" + hook.ID + "/deliveries": "",
		"/v1/webhooks/" + hook.ID + "/deliveries/" + hook.ID + "/attempts": "",
	} {
		if p := wantProblem(t, o.do(t, call{method: "POST", path: path, key: s.Keys["Wilda"], body: body}), 409, "conflict"); !strings.Contains(p.Detail, "ASKWRIGHT_WEBHOOKS=on") {
			t.Errorf("%s: %q", path, p.Detail)
		}
	}
	if err := off.Sender.Run(t.Context()); err != nil {
		t.Error(err)
	}
	if got := r.take(); len(got) > 0 || len(o.hooks(t, "Wilda")) != 1 {
		t.Errorf("sent %v", got)
	}
}

// What the program itself sends with: nothing goes to this machine, by address
// or by name.
func TestPrivateAddressesAreRefusedWhenDialled(t *testing.T) {
	t.Parallel()
	r := newReceiver(t)
	_, port, err := net.SplitHostPort(r.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	for _, host := range []string{"127.0.0.1", "localhost", "[::1]", "[::ffff:127.0.0.1]", "0.0.0.0", "169.254.169.254", "10.0.0.1", "100.64.0.1"} {
		_, err := api.PostWebhooks()(t.Context(), "https://"+host+":"+port+"/token", nil, []byte("{}"))
		if err == nil || err.Error() != "the address is not public" {
			t.Errorf("%s: %v, want that the address is not public", host, err)
		}
	}
	if _, err := r.post("hooks.example")(t.Context(), "https://hooks.example/", nil, []byte("{}")); err != nil || len(r.take()) != 1 {
		t.Errorf("where it is allowed: %v; the test shows nothing", err)
	}
}

// A redirect is a failure like any other answer: nothing is sent on.
func TestRedirectsAreNotFollowed(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	elsewhere := newReceiver(t)
	r.header.Set("Location", elsewhere.URL)
	for _, status := range []int{http.StatusFound, http.StatusTemporaryRedirect, http.StatusPermanentRedirect} {
		r.status = status
		hook := s.hook(t, "Wilda")
		s.test(t, hook)
		s.send(t)
		if got := s.deliveries(t, "Wilda", hook.ID, "")[0]; got.State != "pending" || got.Status != status || len(elsewhere.take()) > 0 {
			t.Errorf("%d: %+v", status, got)
		}
	}
}

// Retry-After in seconds (RFC 9110 section 10.2.3) is heeded where it is later
// than the next attempt would be; the endpoint's other messages wait as long,
// but not longer than a quarter of an hour.
func TestAnEndpointMayAskForTime(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	r.status = http.StatusTooManyRequests
	for after, wanted := range map[string]time.Duration{"600": 10 * time.Minute, "1": 30 * time.Second, "soon": 30 * time.Second, "99999999999": 24 * time.Hour} {
		r.header.Set("Retry-After", after)
		hook := s.hook(t, "Wilda")
		s.test(t, hook)
		s.send(t)
		if got := s.deliveries(t, "Wilda", hook.ID, "")[0]; got.NextAt == nil || got.NextAt.Sub(s.Clock.Now()) != wanted {
			t.Errorf("Retry-After %s: %+v", after, got)
		}
		s.test(t, hook)
		pause := min(wanted, 15*time.Minute)
		s.Clock.AdvanceBy(pause - time.Second)
		s.send(t)
		early := len(r.take())
		s.Clock.AdvanceBy(time.Second)
		s.send(t)
		if got := len(r.take()); early != 1 || got != 1 {
			t.Errorf("Retry-After %s: %d requests within %s and %d after it, want one and one", after, early, pause, got)
		}
		s.do(t, call{method: "DELETE", path: "/v1/webhooks/" + hook.ID, key: s.Keys["Wilda"]})
	}
}

// What a request may take is limited, and the reason tells no address.
func TestEndpointsThatDoNotAnswer(t *testing.T) {
	t.Parallel()
	silent, over := httptest.NewUnstartedServer(nil), make(chan struct{})
	silent.Config.Handler = http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-over })
	silent.StartTLS()
	t.Cleanup(silent.Close)
	t.Cleanup(func() { close(over) })
	plain := httptest.NewServer(http.NotFoundHandler())
	t.Cleanup(plain.Close)
	r := newReceiver(t)
	r.header.Set("X-Long", strings.Repeat("x", 100_000))
	untrusting := api.PostWebhooksTo(netip.Addr.IsLoopback, nil)
	trusting := silent.Client().Transport.(*http.Transport).TLSClientConfig.RootCAs
	for name, test := range map[string]struct {
		post webhook.Post
		url  string
		want string
	}{
		"silent":         {api.PostWebhooksTo(netip.Addr.IsLoopback, trusting), silent.URL, "no answer within 5s"},
		"not trusted":    {untrusting, r.URL, "certificate"},
		"without TLS":    {untrusting, strings.Replace(plain.URL, "http:", "https:", 1), "HTTPS client"},
		"long headers":   {r.post("hooks.example"), "https://hooks.example/", "headers exceeded"},
		"no such name":   {untrusting, "https://hooks.invalid/", "the name hooks.invalid was not found"}, // RFC 6761 section 6.4
		"not in service": {untrusting, "https://127.0.0.1:1/", "refused"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := test.post(t.Context(), test.url+"?token=secret", nil, []byte(`{"type":"x"}`))
			if err == nil || !strings.Contains(err.Error(), test.want) || strings.Contains(err.Error(), "secret") {
				t.Errorf("%v, want %q", err, test.want)
			}
		})
	}
}
