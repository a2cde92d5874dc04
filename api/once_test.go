package api_test

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"askwright/service"
)

// again sends a request with an Idempotency-Key.
func (s *site) again(t *testing.T, key string, c call) reply {
	t.Helper()
	c.header = append(c.header, "Idempotency-Key", key)
	return s.do(t, c)
}

// The behaviour is that of draft-ietf-httpapi-idempotency-key-header-07,
// section 2: a repetition gets the first answer, another body under the same
// key 422, a repetition while the first is under way 409.
func TestARepeatedRequestIsDoneOnce(t *testing.T) {
	t.Parallel()
	s := setup(t)
	id := s.create(t, "Wilda", sideboard)["id"].(string)
	offer := call{method: "POST", path: "/v1/listings/" + id + "/events", key: s.Keys["Wilda"], body: `{"kind":"offer","amount":300}`}
	events := func() int {
		page := want[struct{ Items []struct{ Kind string } }](t, s.do(t, call{method: "GET", path: offer.path, key: offer.key}), 200)
		return len(page.Items)
	}
	before := events()
	first := s.again(t, `"offer-1"`, offer)
	second := s.again(t, "offer-1", offer) // quotes or none: the same key
	if first.StatusCode != 201 || second.StatusCode != 201 || first.body != second.body || first.Header.Get("ETag") != second.Header.Get("ETag") ||
		first.Header.Get("Content-Type") != second.Header.Get("Content-Type") {
		t.Errorf("the repetition: %d %s %v\nthe first: %d %s %v", second.StatusCode, second.body, second.Header, first.StatusCode, first.body, first.Header)
	}
	if got := events(); got != before+1 {
		t.Errorf("%d new events after a repetition, want 1", got-before)
	}
	if s.again(t, "offer-2", offer); events() != before+2 {
		t.Errorf("%d new events after another key, want 2", events()-before)
	}
	other := offer
	other.body = `{"kind":"offer","amount":310}`
	if p := wantProblem(t, s.again(t, "offer-1", other), 422, "invalid"); !strings.Contains(p.Detail, "Idempotency-Key") {
		t.Errorf("another body: %q", p.Detail)
	}
	wantProblem(t, s.again(t, "offer-1", call{method: "POST", path: "/v1/imports?dry_run=true", key: offer.key, body: "[]x"}), 400, "malformed") // keys are of one path
	s.Clock.Advance(3)                                                                                                                           // longer than answers are kept
	if s.again(t, "offer-1", offer); events() != before+3 {
		t.Errorf("%d new events after three days, want 3", events()-before)
	}
	if n := s.Select(t, "select count(*)::text from askwright.idempotency"); n[0] != "1" {
		t.Errorf("%s answers on file, want the fresh one", n)
	}
}

func TestWhatIsRefusedCanBeSentAgain(t *testing.T) {
	t.Parallel()
	s := setup(t)
	c := call{method: "POST", path: "/v1/listings", key: s.Keys["Wilda"], body: `{"ref":"B-1","category":"desk","listed_on":"2026-03-01","ask":400,"piece_ref":"B-17"}`}
	s.create(t, "Wilda", sideboard)
	wantProblem(t, s.again(t, "k", c), 422, "invalid") // the piece is still offered
	s.do(t, call{method: "POST", path: "/v1/listings", key: s.Keys["Wilda"], body: `{"ref":"B-17","outcome":"pulled","ended_on":"2026-03-20","category":"sideboard"}`})
	if r := s.again(t, "k", c); r.StatusCode != 201 {
		t.Errorf("after the obstacle is gone: %d %s", r.StatusCode, r.body)
	}
	for _, key := range []string{"", `"open`, "two words", strings.Repeat("x", 256), "é"} {
		wantProblem(t, s.again(t, key, c), 400, "malformed")
	}
	// Another member's keys are their own.
	c.key = s.Keys["Otto"]
	if r := s.again(t, "k", c); r.StatusCode != 201 {
		t.Errorf("another member with the same key: %d %s", r.StatusCode, r.body)
	}
}

func TestAKeyIsMadeOnceAndShownOnce(t *testing.T) {
	t.Parallel()
	s := setup(t)
	c := call{method: "POST", path: "/v1/keys", key: s.Keys["Wilda"], body: `{"scope":"read","label":"once"}`}
	first, second := want[row](t, s.again(t, "k", c), 201), want[row](t, s.again(t, "k", c), 201)
	if first["id"] != second["id"] || first["key"] == nil || second["key"] != nil {
		t.Errorf("first %v, second %v", first, second)
	}
	if text := strings.Join(s.Select(t, "select convert_from(body, 'UTF8') from askwright.idempotency"), ""); strings.Contains(text, "ask_") || !strings.Contains(text, "once") {
		t.Errorf("on file: %s", text)
	}
}

// A piece is read back in the transaction that keeps it.
func TestEveryWriteCanBeRepeated(t *testing.T) {
	t.Parallel()
	s := setup(t)
	for path, body := range map[string]string{
		"/v1/pieces":  `{"ref":"P-1","category":"desk","stage":"found"}`,
		"/v1/imports": `[{"ref":"P-2","category":"desk","stage":"found"},{"ref":"P-3"}]`,
	} {
		c := call{method: "POST", path: path, key: s.Keys["Wilda"], body: body}
		first, second := s.again(t, "k", c), s.again(t, "k", c)
		if first.StatusCode >= 300 || first.body != second.body || first.StatusCode != second.StatusCode || !json.Valid([]byte(second.body)) {
			t.Errorf("%s: %d %s, then %d %s", path, first.StatusCode, first.body, second.StatusCode, second.body)
		}
	}
	c := call{method: "POST", path: "/v1/suggestions", key: s.Keys["Wilda"], body: `{"subjects":[{"category":"desk"}]}`}
	if r := s.again(t, strings.Repeat("x", 300), c); r.StatusCode != 200 {
		t.Errorf("a calculation minds the header: %d", r.StatusCode)
	}
}

// While the first is under way the same key gets 409, and another one waits its
// turn as always.
func TestTheSameKeyAtTheSameTime(t *testing.T) {
	t.Parallel()
	s := setup(t)
	s.create(t, "Wilda", sideboard)
	c := call{method: "POST", path: "/v1/listings", key: s.Keys["Wilda"], body: `{"ref":"B-2","category":"desk","stage":"found"}`}
	held := make(chan struct{})
	inside := make(chan struct{})
	go func() {
		ctx := t.Context()
		a := s.Actor(t, "Wilda")
		_, err := s.Recording.Once(ctx, a, service.OnceRequest{Operation: "POST /v1/listings", Key: "k"}, holdUntil(inside, held))
		if err == nil || !strings.Contains(err.Error(), "given up") {
			t.Errorf("the first: %v", err)
		}
		close(inside)
	}()
	<-inside
	began := time.Now()
	r := s.again(t, "k", c)
	wantProblem(t, r, http.StatusConflict, "in-progress")
	if r.Header.Get("Retry-After") == "" || time.Since(began) > 5*time.Second {
		t.Errorf("Retry-After %q after %s", r.Header.Get("Retry-After"), time.Since(began))
	}
	close(held)
	<-inside
	if r := s.again(t, "k", c); r.StatusCode != 201 {
		t.Errorf("after the first was given up: %d %s", r.StatusCode, r.body)
	}
}

// holdUntil says that it has begun, waits, and gives up.
func holdUntil(inside chan<- struct{}, held <-chan struct{}) func(context.Context) (*service.OnceAnswer, error) {
	return func(context.Context) (*service.OnceAnswer, error) {
		inside <- struct{}{}
		<-held
		return nil, errors.New("given up")
	}
}

// The effect and the answer are kept together: what breaks off between the two
// leaves neither.
func TestEffectAndAnswerAreOne(t *testing.T) {
	t.Parallel()
	s := setup(t)
	a := s.Actor(t, "Wilda")
	_, err := s.Recording.Once(t.Context(), a, service.OnceRequest{Operation: "POST /v1/listings", Key: "k"}, func(ctx context.Context) (*service.OnceAnswer, error) {
		_, err := s.Recording.Record(ctx, a, service.Cells{"ref": "B-3", "category": "desk", "stage": "found"})
		return nil, errors.Join(err, errors.New("the power went"))
	})
	if err == nil || err.Error() != "once: the power went" {
		t.Errorf("error %v", err)
	}
	if n := s.Select(t, "select (select count(*) from askwright.listing) || ' ' || (select count(*) from askwright.idempotency)"); n[0] != "0 0" {
		t.Errorf("rows and answers on file: %s, want none", n[0])
	}
}
