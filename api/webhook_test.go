package api_test

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"askwright/api"
	"askwright/service/webhook"
)

// told is a message as it arrived.
type told struct {
	id, timestamp, signature string
	body                     string
	Type                     string
	Timestamp                time.Time
	Data                     map[string]any
}

// receiver is an endpoint: a real HTTPS server of this machine.
type receiver struct {
	*httptest.Server
	mu     sync.Mutex
	got    []told
	status int           // of its answers
	header http.Header   // of its answers
	takes  time.Duration // before it answers
	busy   int
	most   int // requests at the same time
}

func newReceiver(t *testing.T) *receiver {
	t.Helper()
	r := &receiver{status: http.StatusNoContent, header: http.Header{}}
	r.Server = httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, request *http.Request) {
		body, err := io.ReadAll(request.Body)
		if err != nil || request.Method != http.MethodPost || request.Header.Get("Content-Type") != "application/json" {
			t.Errorf("%s %q: %v", request.Method, request.Header.Get("Content-Type"), err)
		}
		m := told{
			id: request.Header.Get("webhook-id"), timestamp: request.Header.Get("webhook-timestamp"),
			signature: request.Header.Get("webhook-signature"), body: string(body),
		}
		if err := json.Unmarshal(body, &m); err != nil {
			t.Errorf("%v in %s", err, body)
		}
		r.mu.Lock()
		r.busy++
		r.most = max(r.most, r.busy)
		r.got = append(r.got, m)
		r.mu.Unlock()
		time.Sleep(r.takes)
		r.mu.Lock()
		defer r.mu.Unlock()
		r.busy--
		for name, values := range r.header {
			w.Header()[name] = values
		}
		w.WriteHeader(r.status)
	}))
	t.Cleanup(r.Close)
	return r
}

// take returns what arrived since it was asked last.
func (r *receiver) take() []told {
	r.mu.Lock()
	defer r.mu.Unlock()
	got := r.got
	r.got = nil
	return got
}

// post sends to this receiver what is meant for https://hooks.example, over TLS,
// in the way of the program but for the rule for addresses.
func (r *receiver) post(name string) webhook.Post {
	roots := x509.NewCertPool()
	roots.AddCert(r.Certificate())
	post := api.PostWebhooksTo(netip.Addr.IsLoopback, roots)
	return func(ctx context.Context, url string, headers map[string]string, body []byte) (webhook.PostAnswer, error) {
		path, ok := strings.CutPrefix(url, "https://"+name)
		if !ok {
			panic("a message for " + url)
		}
		return post(ctx, r.URL+path, headers, body)
	}
}

// hooked is a site whose Wilda has an admin key and a receiver, and Otto a write
// key.
func hooked(t *testing.T) (*site, *receiver) {
	t.Helper()
	s, r := setup(t), newReceiver(t)
	s.Post = r.post("hooks.example")
	return s, r
}

type endpoint struct {
	ID, URL, Secret, Note, Label string
	Events                       []string
	DisabledAt                   *time.Time `json:"disabled_at"`
	FailingSince                 *time.Time `json:"failing_since"`
}

func (s *site) hook(t *testing.T, member string) endpoint {
	t.Helper()
	return want[endpoint](t, s.do(t, call{method: "POST", path: "/v1/webhooks", key: s.Keys[member], body: `{"url":"https://hooks.example/otterford","label":"the chat"}`}), 201)
}

func (s *site) hooks(t *testing.T, member string) []endpoint {
	t.Helper()
	return want[struct{ Items []endpoint }](t, s.do(t, call{method: "GET", path: "/v1/webhooks", key: s.Keys[member]}), 200).Items
}

type delivery struct {
	ID, Event, State, Error string
	Attempts, Status        int
	NextAt                  *time.Time `json:"next_at"`
}

func (s *site) deliveries(t *testing.T, member, id, query string) []delivery {
	t.Helper()
	return want[struct{ Items []delivery }](t, s.do(t, call{method: "GET", path: "/v1/webhooks/" + id + "/deliveries" + query, key: s.Keys[member]}), 200).Items
}

// test asks for a message to a webhook of Wilda's.
func (s *site) test(t *testing.T, hook endpoint) {
	t.Helper()
	if r := s.do(t, call{method: "POST", path: "/v1/webhooks/" + hook.ID + "/deliveries", key: s.Keys["Wilda"]}); r.StatusCode != 204 {
		t.Fatalf("test: %d %s", r.StatusCode, r.body)
	}
}

func (s *site) send(t *testing.T) {
	t.Helper()
	if err := s.Sender.RunOnce(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func (s *site) tell(t *testing.T, member string, listing row, body string) {
	t.Helper()
	s.Clock.AdvanceBy(time.Second)
	want[row](t, s.do(t, call{method: "POST", path: "/v1/listings/" + listing["id"].(string) + "/events", key: s.Keys[member], body: body}), 201)
}

func types(messages []told) string {
	var out []string
	for _, m := range messages {
		out = append(out, m.Type)
	}
	return strings.Join(out, " ")
}

// An offer and a sale are told once each, in order, signed, and with nothing
// that is the owner's alone but the offer itself, which is for the owner.
func TestAWebhookIsToldOffersAndSales(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	s.send(t) // by now the group is known to have none
	made := s.hook(t, "Wilda")
	listing := s.create(t, "Wilda", `{"ref":"B-17","category":"sideboard","listed_on":"2026-03-01","ask":480,"own_price":4321.09,"purchase_cost":8765.43,"notes":"for my eyes"}`)
	s.tell(t, "Wilda", listing, `{"kind":"offer","amount":301.50,"note":"from the neighbour"}`)
	s.tell(t, "Wilda", listing, `{"kind":"ask","ask":450}`)
	s.tell(t, "Wilda", listing, `{"kind":"sold","sale_price":"440"}`)
	s.Clock.AdvanceBy(time.Second)
	s.send(t)
	got := r.take()
	if types(got) != "offer.recorded listing.sold" {
		t.Fatalf("told %v", got)
	}
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(made.Secret, "whsec_"))
	if err != nil || len(key) < 24 || !strings.HasPrefix(made.Secret, "whsec_") {
		t.Fatalf("the secret %q: %v", made.Secret, err)
	}
	for _, m := range got {
		mac := hmac.New(sha256.New, key)
		mac.Write([]byte(m.id + "." + m.timestamp + "." + m.body))
		if want := "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil)); m.signature != want || strings.Contains(m.id, ".") {
			t.Errorf("%s: signature %s, want %s", m.id, m.signature, want)
		}
		if m.timestamp != strconv.FormatInt(s.Clock.Now().Unix(), 10) || m.Timestamp.Equal(s.Clock.Now()) {
			t.Errorf("sent at %s of %s", m.timestamp, m.Timestamp)
		}
		for _, secret := range []string{"4321", "8765", "for my eyes", "neighbour"} {
			if strings.Contains(m.body, secret) {
				t.Errorf("%s holds %s", m.body, secret)
			}
		}
	}
	wanted := `{"type":"listing.sold","timestamp":"2026-03-31T18:00:03Z","data":{"listing_id":"` + listing["id"].(string) +
		`","ref":"B-17","member":"Wilda","category":"sideboard","ask":450.00,"currency":"USD","sale_price":440.00,"ended_on":"2026-03-31"}}`
	if got[1].body != wanted || got[0].Data["amount"] != 301.5 || got[0].Data["ask"] != 480.0 || got[0].id == got[1].id {
		t.Errorf("got %s\nand %s, want\n%s", got[0].body, got[1].body, wanted)
	}
	s.send(t)
	if again := r.take(); len(again) > 0 {
		t.Errorf("told again: %v", again)
	}
	if list := s.deliveries(t, "Wilda", made.ID, ""); len(list) != 2 || list[0].Event != "listing.sold" || list[0].State != "delivered" || list[0].Status != 204 || list[0].Attempts != 1 {
		t.Errorf("deliveries %+v", list)
	}
	for _, secret := range []string{made.Secret[10:], "hooks.example"} {
		if strings.Contains(s.log.String(), secret) {
			t.Errorf("the log holds %s", secret)
		}
	}
	if r := s.do(t, call{method: "GET", path: "/v1/webhooks", key: s.Keys["Wilda"]}); strings.Contains(r.body, "whsec_") {
		t.Errorf("the secret is shown again: %s", r.body)
	}
}

// A sale of long ago that is recorded now is no news, nor is a stranger's.
func TestOldSalesAreNotTold(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	s.hook(t, "Wilda")
	s.create(t, "Wilda", `{"ref":"A","category":"desk","listed_on":"2026-03-01","ask":100,"outcome":"sold","ended_on":"2026-03-24","sale_price":90}`)
	s.create(t, "Wilda", `{"ref":"B","category":"desk","listed_on":"2026-03-01","ask":100,"outcome":"sold","ended_on":"2026-03-30","source":"observed"}`)
	s.create(t, "Otto", `{"ref":"C","category":"desk","listed_on":"2026-03-01","ask":100,"outcome":"sold","ended_on":"2026-03-25","sale_price":90}`)
	s.do(t, call{method: "POST", path: "/v1/listings", key: s.Keys["Otto"], body: `{"ref":"C","category":"desk","sale_price":95}`}) // a correction
	s.send(t)
	if got := r.take(); types(got) != "listing.sold" || got[0].Data["ref"] != "C" {
		t.Errorf("told %v", got)
	}
}

// A message that does not arrive is tried nine times in 27 hours and then given
// up; sent again, it is the same message.
func TestADeadLetterAndItsResending(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	hook := s.hook(t, "Wilda")
	r.status = http.StatusServiceUnavailable
	listing := s.create(t, "Wilda", sideboard)
	s.tell(t, "Wilda", listing, `{"kind":"sold","sale_price":440}`)
	began := s.Clock.Now()
	wait := 30 * time.Second
	for attempt := 1; attempt <= 9; attempt++ {
		s.send(t)
		s.Clock.AdvanceBy(wait - time.Second) // of another attempt it is not yet time
		s.send(t)
		d := s.deliveries(t, "Wilda", hook.ID, "")[0]
		if d.Attempts != attempt || d.Status != 503 || d.Error != "it answered 503" {
			t.Fatalf("attempt %d: %+v", attempt, d)
		}
		if attempt < 9 && (d.State != "pending" || !d.NextAt.Equal(s.Clock.Now().Add(time.Second))) {
			t.Errorf("attempt %d: %s, next at %s, want a second after %s", attempt, d.State, d.NextAt, s.Clock.Now())
		}
		s.Clock.AdvanceBy(time.Second)
		wait *= 3
	}
	got, list := r.take(), s.deliveries(t, "Wilda", hook.ID, "?state=failed")
	if len(got) != 9 || len(list) != 1 || list[0].NextAt != nil || len(s.deliveries(t, "Wilda", hook.ID, "?state=pending")) > 0 {
		t.Fatalf("%d attempts, %+v", len(got), list)
	}
	if took := s.Clock.Now().Sub(began) - wait/3; took.Round(time.Hour) != 27*time.Hour {
		t.Errorf("given up after %s", took)
	}
	csv := s.do(t, call{method: "GET", path: "/v1/webhooks/" + hook.ID + "/deliveries.csv?state=failed&fields=event,state,attempts,status,error", key: s.Keys["Wilda"]}).body
	if want := "event,state,attempts,status,error\r\nlisting.sold,failed,9,503,it answered 503\r\n"; csv != want {
		t.Errorf("as CSV %q, want %q", csv, want)
	}
	again := call{method: "POST", path: "/v1/webhooks/" + hook.ID + "/deliveries/" + list[0].ID + "/attempts", key: s.Keys["Wilda"]}
	if answer := s.do(t, again); answer.StatusCode != 204 {
		t.Fatalf("sent again: %d %s", answer.StatusCode, answer.body)
	}
	wantProblem(t, s.do(t, again), 409, "conflict")
	s.send(t) // in vain: it has all its attempts anew
	r.take()
	r.status = http.StatusOK
	s.Clock.AdvanceBy(30 * time.Second)
	s.send(t)
	wantProblem(t, s.do(t, again), 409, "conflict")
	if last := r.take(); len(last) != 1 || last[0].id != got[0].id || last[0].body != got[0].body || last[0].timestamp == got[0].timestamp {
		t.Errorf("sent again: %+v, at first %+v", last, got[0])
	}
	if hooks := s.hooks(t, "Wilda"); hooks[0].FailingSince != nil {
		t.Errorf("after a success: %+v", hooks[0])
	}
	again.path = "/v1/webhooks/" + hook.ID + "/deliveries/" + hook.ID + "/attempts"
	wantProblem(t, s.do(t, again), 404, "not-found")
}

// While one message fails the others stay in order and are not lost.
func TestMessagesGoInOrder(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	s.hook(t, "Wilda")
	listing := s.create(t, "Wilda", sideboard)
	var wanted []string
	for i := range 30 {
		s.tell(t, "Wilda", listing, `{"kind":"offer","amount":`+strconv.Itoa(100+i)+`}`)
		wanted = append(wanted, strconv.Itoa(100+i))
	}
	r.status = http.StatusInternalServerError
	s.send(t)
	if got := r.take(); len(got) != 1 {
		t.Errorf("an endpoint that fails got %d requests at once", len(got))
	}
	r.status = http.StatusOK
	s.Clock.AdvanceBy(time.Minute)
	s.send(t)
	if got := r.take(); len(got) != 20 {
		t.Errorf("%d messages in one round, want 20", len(got))
	} else {
		s.send(t)
		var amounts []string
		for _, m := range append(got, r.take()...) {
			amounts = append(amounts, strconv.Itoa(int(m.Data["amount"].(float64))))
		}
		if strings.Join(amounts, " ") != strings.Join(wanted, " ") {
			t.Errorf("in the order %v", amounts)
		}
	}
}

// RFC 9110 section 15.5.11, and the Standard Webhooks specification, "Delivery
// success and failure": nothing more is sent after 410.
func TestGoneDisablesAWebhook(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	hook := s.hook(t, "Wilda")
	listing := s.create(t, "Wilda", sideboard)
	s.tell(t, "Wilda", listing, `{"kind":"offer","amount":300}`)
	s.tell(t, "Wilda", listing, `{"kind":"offer","amount":310}`)
	r.status = http.StatusGone
	s.send(t)
	s.tell(t, "Wilda", listing, `{"kind":"offer","amount":320}`)
	s.Clock.AdvanceBy(time.Hour)
	s.send(t)
	if got := r.take(); len(got) != 1 {
		t.Errorf("%d requests, want one", len(got))
	}
	list := s.deliveries(t, "Wilda", hook.ID, "")
	if hooks := s.hooks(t, "Wilda"); hooks[0].DisabledAt == nil || !strings.Contains(hooks[0].Note, "410") || len(list) != 2 || list[0].State != "failed" || list[1].State != "failed" {
		t.Errorf("%+v, %+v", hooks, list)
	}
	again := call{method: "POST", path: "/v1/webhooks/" + hook.ID + "/deliveries/" + list[0].ID + "/attempts", key: s.Keys["Wilda"]}
	if p := wantProblem(t, s.do(t, again), 409, "conflict"); !strings.Contains(p.Detail, "410") {
		t.Errorf("detail %q", p.Detail)
	}
	r.status = http.StatusOK
	s.test(t, hook)
	s.Clock.AdvanceBy(time.Minute)
	s.send(t)
	if got := r.take(); types(got) != "webhook.test" || s.hooks(t, "Wilda")[0].DisabledAt != nil {
		t.Errorf("after the test: %v", got)
	}
	if answer := s.do(t, again); answer.StatusCode != 204 {
		t.Errorf("sent again: %d %s", answer.StatusCode, answer.body)
	}
}

func TestAWebhookThatFailsForAWeekIsDisabled(t *testing.T) {
	t.Parallel()
	s, r := hooked(t)
	s.hook(t, "Wilda")
	listing := s.create(t, "Wilda", sideboard)
	r.status = http.StatusNotFound
	disabledAfter := 0
	for day := range 12 {
		s.tell(t, "Wilda", listing, `{"kind":"offer","amount":300}`)
		for range 24 {
			s.send(t)
			s.Clock.AdvanceBy(time.Hour)
		}
		if s.hooks(t, "Wilda")[0].DisabledAt != nil {
			disabledAfter = day + 1
			break
		}
	}
	if hook := s.hooks(t, "Wilda")[0]; disabledAfter < 7 || disabledAfter > 9 || !strings.Contains(hook.Note, "nothing was delivered since 2026-03-31") {
		t.Errorf("disabled after %d days: %+v", disabledAfter, hook)
	}
}

func TestWebhookRequests(t *testing.T) {
	t.Parallel()
	s, _ := hooked(t)
	for body, pointer := range map[string]string{
		`{}`:                                   "/url",
		`{"url":"http://hooks.example/"}`:      "/url",
		`{"url":"hooks.example"}`:              "/url",
		`{"url":"https://"}`:                   "/url",
		`{"url":"https://u:p@hooks.example/"}`: "/url",
		`{"url":"https://hooks.example/#a"}`:   "/url",
		`{"url":"https://127.0.0.1/"}`:         "/url",
		`{"url":"https://[::1]:8443/"}`:        "/url",
		`{"url":"https://[::ffff:10.0.0.1]/"}`: "/url",
		`{"url":"https://169.254.169.254/"}`:   "/url",
		`{"url":"https://hooks.example/` + strings.Repeat("x", 2000) + `"}`:           "/url",
		`{"url":"https://hooks.example/","events":["listing.eaten"]}`:                 "/events",
		`{"url":"https://hooks.example/","label":"` + strings.Repeat("x", 101) + `"}`: "/label",
	} {
		p := wantProblem(t, s.do(t, call{method: "POST", path: "/v1/webhooks", key: s.Keys["Wilda"], body: body}), 422, "invalid")
		if len(p.Errors) != 1 || p.Errors[0].Pointer != "#"+pointer {
			t.Errorf("%s: %+v", body, p.Errors)
		}
	}
	made := want[endpoint](t, s.do(t, call{method: "POST", path: "/v1/webhooks", key: s.Keys["Wilda"], header: []string{"Idempotency-Key", "k1"},
		body: `{"url":" HTTPS://hooks.example/a?t=1 ","events":["listing.sold","listing.sold"]}`}), 201)
	if made.URL != "https://hooks.example/a?t=1" || strings.Join(made.Events, " ") != "listing.sold" || made.Secret == "" {
		t.Errorf("made %+v", made)
	}
	repeated := s.do(t, call{method: "POST", path: "/v1/webhooks", key: s.Keys["Wilda"], header: []string{"Idempotency-Key", "k1"},
		body: `{"url":" HTTPS://hooks.example/a?t=1 ","events":["listing.sold","listing.sold"]}`})
	if again := want[endpoint](t, repeated, 201); again.ID != made.ID || again.Secret != "" {
		t.Errorf("repeated: %s", repeated.body)
	}
	for range 19 {
		s.hook(t, "Wilda")
	}
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/webhooks", key: s.Keys["Wilda"], body: `{"url":"https://hooks.example/"}`}), 409, "conflict")
	csv := table(t, s.do(t, call{method: "GET", path: "/v1/webhooks.csv", key: s.Keys["Wilda"]}))
	if len(csv) != 21 || csv[1][2] != made.URL || csv[2][4] != "listing.slow;listing.sold;listing.stale;offer.recorded" {
		t.Errorf("%d lines as CSV, %q", len(csv), csv[:3])
	}
	if r := s.do(t, call{method: "DELETE", path: "/v1/webhooks/" + made.ID, key: s.Keys["Wilda"]}); r.StatusCode != 204 || len(s.hooks(t, "Wilda")) != 19 {
		t.Errorf("deleted: %d", r.StatusCode)
	}
	wantProblem(t, s.do(t, call{method: "DELETE", path: "/v1/webhooks/" + made.ID, key: s.Keys["Wilda"]}), 404, "not-found")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/webhooks/" + s.hooks(t, "Wilda")[0].ID + "/deliveries?state=lost", key: s.Keys["Wilda"]}), 400, "malformed")
}

// Pages of deliveries, the latest first, hold each of them once.
func TestPagesOfDeliveries(t *testing.T) {
	t.Parallel()
	s, _ := hooked(t)
	hook := s.hook(t, "Wilda")
	for range 5 { // all at one time
		s.test(t, hook)
	}
	seen := map[string]bool{}
	path, pages := "/v1/webhooks/"+hook.ID+"/deliveries?limit=2", 0
	for cursor := ""; pages == 0 || cursor != ""; pages++ {
		p := want[struct {
			Items []delivery
			Next  string
		}](t, s.do(t, call{method: "GET", path: path + "&cursor=" + cursor, key: s.Keys["Wilda"]}), 200)
		for _, d := range p.Items {
			seen[d.ID] = true
		}
		cursor = p.Next
	}
	if len(seen) != 5 || pages != 3 {
		t.Errorf("%d deliveries on %d pages", len(seen), pages)
	}
}
