package api_test

import (
	"slices"
	"testing"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/servicetest"
)

// sessionOf signs in and returns the cookie's text; "" if refused with 429.
func (s *site) sessionOf(t *testing.T, key string) string {
	t.Helper()
	r := s.visitor(t).post(t, "/board/sign-in", "key", key)
	if r.StatusCode == 429 {
		return ""
	}
	if r.StatusCode != 303 {
		t.Fatalf("sign in: %d %s", r.StatusCode, r.body)
	}
	return r.Cookies()[0].Value
}

func (s *site) openBoard(t *testing.T, session string) int {
	t.Helper()
	return s.visitor(t).send(t, "GET", "/board", nil, "Cookie", "askwright_session="+session).StatusCode
}

// A key that reads opened any number of sessions, each of which was a key with a
// limit of its own and made every kept answer of the group stale.
func TestSignInsAreFewAndChangeNothing(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.New(t, "Wilda"), web.Limits{FailuresPerMinute: 100_000})
	s.create(t, "Wilda", sideboard)
	key := s.keyWith(t, "Wilda", service.ScopeRead)
	state := "select change_no || ' ' || (select count(*) from askwright.audit) from askwright.groups"
	before, list := s.Select(t, state), s.do(t, call{method: "GET", path: "/v1/reviews", key: key})
	var sessions []string
	for {
		text := s.sessionOf(t, key)
		if text == "" {
			break
		}
		if sessions = append(sessions, text); len(sessions) > 100 {
			t.Fatal("sign-ins are not limited")
		}
	}
	if len(sessions) < 20 || len(sessions) > 30 {
		t.Errorf("%d sign-ins at once, of weight 20 each", len(sessions))
	}
	s.Clock.AdvanceBy(1e11)
	if got := s.Select(t, "select count(*)::text from askwright.api_key where parent_id is not null"); got[0] != "10" {
		t.Errorf("%s sessions are kept, want 10", got)
	}
	if old, young := s.openBoard(t, sessions[0]), s.openBoard(t, sessions[len(sessions)-1]); old != 303 || young != 200 {
		t.Errorf("the oldest session %d, the youngest %d", old, young)
	}
	if after := s.Select(t, state); !slices.Equal(before, after) {
		t.Errorf("change number and audit rows: %s, before %s", after, before)
	}
	again := s.do(t, call{method: "GET", path: "/v1/reviews", key: key, header: []string{"If-None-Match", list.Header.Get("ETag")}})
	if again.StatusCode != 304 {
		t.Errorf("the list is another one after sign-ins: %d", again.StatusCode)
	}
}

func TestSessionsAndKeysAreNotMixedUp(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.keyWith(t, "Wilda", service.ScopeRead)
	session := s.sessionOf(t, key)
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/group", key: session}), 401, "unauthenticated")
	if r := s.visitor(t).post(t, "/board/sign-in", "key", session); r.StatusCode != 401 {
		t.Errorf("a session opens another: %d", r.StatusCode)
	}
	if got := s.openBoard(t, key); got != 303 {
		t.Errorf("a key as a cookie opens the board: %d", got)
	}
	s.visitor(t).send(t, "POST", "/board/sign-out", nil, "Cookie", "askwright_session="+key)
	if r := s.do(t, call{method: "GET", path: "/v1/group", key: key}); r.StatusCode != 200 {
		t.Errorf("signing out with a key ended it: %d", r.StatusCode)
	}
}

func TestAllKeysOfAMemberShareOneLimit(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.New(t, "Wilda", "Otto"), web.Limits{RequestsPerMinute: 4})
	for range 2 {
		for _, key := range []string{s.keyWith(t, "Wilda", service.ScopeRead), s.Keys["Wilda"]} {
			if r := s.do(t, call{method: "GET", path: "/v1/group", key: key}); r.StatusCode != 200 {
				t.Fatalf("%d", r.StatusCode)
			}
		}
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/group", key: s.keyWith(t, "Wilda", service.ScopeWrite)}), 429, "too-many-requests")
	if r := s.do(t, call{method: "GET", path: "/v1/group", key: s.Keys["Otto"]}); r.StatusCode != 200 {
		t.Errorf("another member: %d", r.StatusCode)
	}
}

func TestAMemberHasAtMost20ValidKeys(t *testing.T) {
	t.Parallel()
	s := setup(t)
	create := call{method: "POST", path: "/v1/keys", key: s.Keys["Otto"], body: `{"scope":"read"}`}
	var last wire.CreatedKey
	for range 19 {
		last = want[wire.CreatedKey](t, s.do(t, create), 201)
	}
	wantProblem(t, s.do(t, create), 409, "conflict")
	if r := s.do(t, call{method: "DELETE", path: "/v1/keys/" + last.ID.String(), key: s.Keys["Otto"]}); r.StatusCode != 204 {
		t.Fatalf("%d", r.StatusCode)
	}
	want[wire.CreatedKey](t, s.do(t, create), 201)
	keys := want[wire.KeyPage](t, s.do(t, call{method: "GET", path: "/v1/keys", key: s.Keys["Otto"]}), 200).Items
	if maker := keys[len(keys)-1].MadeBy; maker != "Otto" || keys[0].MadeBy != "Wilda" {
		t.Errorf("Otto sees that keys were made by %q, the first by %q", maker, keys[0].MadeBy)
	}
}
