package api_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service/servicetest"
)

func (s *site) invite(t *testing.T, name string) wire.CreatedInvitation {
	t.Helper()
	return want[wire.CreatedInvitation](t, s.do(t, call{method: "POST", path: "/v1/invitations", key: s.Keys["Wilda"],
		body: `{"name":"` + name + `"}`}), 201)
}

func (s *site) redeem(t *testing.T, invitation string) reply {
	t.Helper()
	return s.do(t, call{method: "POST", path: "/v1/invitation-redemptions", body: `{"invitation":"` + invitation + `"}`})
}

// An admin made a key of any member and read their ledger with it.
func TestAnAdminCannotGetAKeyOfSomebodyElse(t *testing.T) {
	t.Parallel()
	s := setup(t)
	otto := s.Actor(t, "Otto").MemberID.String()
	p := wantProblem(t, s.do(t, call{method: "POST", path: "/v1/keys", key: s.Keys["Wilda"],
		body: `{"scope":"read","member_id":"` + otto + `"}`}), 422, "invalid")
	if !strings.Contains(p.Detail, "member_id") {
		t.Errorf("detail %q", p.Detail)
	}
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/invitations", key: s.Keys["Wilda"], body: `{"name":"otto"}`}), 409, "conflict")
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/members", key: s.Keys["Wilda"], body: `{"name":"Tamsin"}`}), 410, "renamed")
}

func TestAnInvitationMakesAMemberWhoAloneSeesTheKey(t *testing.T) {
	t.Parallel()
	s := setup(t)
	made := s.invite(t, "Tamsin")
	if made.State != "open" || *made.MadeBy != "Wilda" || made.Scope != "write" || made.ExpiresAt.Sub(made.CreatedAt).Hours() != 7*24 {
		t.Errorf("%+v", made)
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/group", key: made.Secret}), 401, "unauthenticated")
	key := want[wire.CreatedKey](t, s.redeem(t, made.Secret), 201)
	if key.Member != "Tamsin" || key.Scope != "write" || key.MadeBy != "Wilda" || !strings.HasPrefix(key.Secret, "ask_w") {
		t.Errorf("%+v", key)
	}
	s.Keys["Tamsin"] = key.Secret
	s.create(t, "Tamsin", sideboard)
	wantProblem(t, s.redeem(t, made.Secret), 401, "unauthenticated")
	list := s.do(t, call{method: "GET", path: "/v1/invitations", key: s.Keys["Wilda"]})
	all := want[wire.InvitationPage](t, list, 200).Items
	if len(all) != 2 || all[0].State != "redeemed" || all[0].MemberID == nil || *all[0].MemberID != key.MemberID || strings.Contains(list.body, "ask_") {
		t.Errorf("%s", list.body)
	}
	if keys := s.do(t, call{method: "GET", path: "/v1/keys", key: s.Keys["Wilda"]}); strings.Contains(keys.body, key.Secret) {
		t.Error("the admin sees the key")
	}
	wantProblem(t, s.do(t, call{method: "DELETE", path: "/v1/invitations/" + made.ID.String(), key: s.Keys["Wilda"]}), 409, "conflict")
	if text := s.log.String(); strings.Contains(text, made.Secret) || strings.Contains(text, key.Secret) {
		t.Error("a secret stands in the log")
	}
}

// Where the answer was lost the invitee has no key: redeemed again, the invitation
// gives another one, and the one that nobody used is gone.
func TestAnInvitationIsRedeemedAgainUntilItsKeyIsUsed(t *testing.T) {
	t.Parallel()
	s := setup(t)
	made := s.invite(t, "Tamsin")
	first := want[wire.CreatedKey](t, s.redeem(t, made.Secret), 201)
	second := want[wire.CreatedKey](t, s.redeem(t, made.Secret), 201)
	if first.MemberID != second.MemberID || first.Secret == second.Secret {
		t.Errorf("%+v, then %+v", first, second)
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/group", key: first.Secret}), 401, "unauthenticated")
	want[row](t, s.do(t, call{method: "GET", path: "/v1/group", key: second.Secret}), 200)
	wantProblem(t, s.redeem(t, made.Secret), 401, "unauthenticated")
	if n := s.Select(t, "select count(*)::text from askwright.api_key where label = 'by invitation'"); n[0] != "2" { // Otto's is the other
		t.Errorf("%s keys on file", n[0])
	}
}

func TestWhatCannotBeRedeemed(t *testing.T) {
	t.Parallel()
	s := setup(t)
	revoked, late := s.invite(t, "Tamsin"), s.invite(t, "Perpetua")
	twins := []wire.CreatedInvitation{s.invite(t, "Brisa"), s.invite(t, "Brisa")}
	if r := s.do(t, call{method: "DELETE", path: "/v1/invitations/" + revoked.ID.String(), key: s.Keys["Wilda"]}); r.StatusCode != 204 {
		t.Fatalf("revoke: %d %s", r.StatusCode, r.body)
	}
	wantProblem(t, s.redeem(t, revoked.Secret), 401, "unauthenticated")
	want[wire.CreatedKey](t, s.redeem(t, twins[0].Secret), 201)
	wantProblem(t, s.redeem(t, twins[1].Secret), 409, "conflict")
	left := s.invite(t, "Leander")
	gone := want[wire.CreatedKey](t, s.redeem(t, left.Secret), 201)
	if r := s.do(t, call{method: "DELETE", path: "/v1/members/" + gone.MemberID.String(), key: s.Keys["Wilda"]}); r.StatusCode != 204 {
		t.Fatalf("leave: %d %s", r.StatusCode, r.body)
	}
	wantProblem(t, s.redeem(t, left.Secret), 401, "unauthenticated")
	for _, text := range []string{"", "nonsense", s.Keys["Wilda"], late.Secret[:len(late.Secret)-1] + "z"} {
		wantProblem(t, s.redeem(t, text), 401, "unauthenticated")
	}
	s.Clock.Advance(8)
	wantProblem(t, s.redeem(t, late.Secret), 401, "unauthenticated")
	for _, refused := range []string{`{"name":" "}`, `{"name":"Sixt","scope":"feed"}`, `{"name":"Sixt","scope":"root"}`} {
		wantProblem(t, s.do(t, call{method: "POST", path: "/v1/invitations", key: s.Keys["Wilda"], body: refused}), 422, "invalid")
	}
	states := map[string]string{}
	for _, i := range want[wire.InvitationPage](t, s.do(t, call{method: "GET", path: "/v1/invitations", key: s.Keys["Wilda"]}), 200).Items {
		states[i.ID.String()] = i.State
	}
	if states[revoked.ID.String()] != "revoked" || states[late.ID.String()] != "expired" {
		t.Errorf("states %v", states)
	}
}

func TestGuessingInvitationsIsLimited(t *testing.T) {
	t.Parallel()
	s := newSite(t, servicetest.New(t, "Wilda"), web.Limits{FailuresPerMinute: 3})
	for range 3 {
		wantProblem(t, s.redeem(t, "nonsense"), 401, "unauthenticated")
	}
	wantProblem(t, s.redeem(t, "nonsense"), 429, "too-many-requests")
}

func TestAnInvitationIsRedeemedOnTheBoard(t *testing.T) {
	t.Parallel()
	s := setup(t)
	made := s.invite(t, "Tamsin")
	v := s.visitor(t)
	r := v.get(t, made.Page)
	r.page(t, 200)
	if !strings.Contains(r.body, `value="`+made.Secret+`"`) || r.Header.Get("Cache-Control") != "no-store" {
		t.Errorf("the page: %v %s", r.Header, r.body)
	}
	if got := want[wire.InvitationPage](t, s.do(t, call{method: "GET", path: "/v1/invitations", key: s.Keys["Wilda"]}), 200).Items[0]; got.State != "open" {
		t.Errorf("looking redeems it: %+v", got)
	}
	v.post(t, "/board/invitation", "invitation", "ask_nonsense").page(t, 401)
	v.send(t, "POST", "/board/invitation", url.Values{"invitation": {made.Secret}}, "Origin", "https://example.org").page(t, 403)
	shown := v.post(t, "/board/invitation", "invitation", made.Secret).page(t, 200).all("code", "secret")
	if len(shown) != 1 {
		t.Fatal("no key is shown")
	}
	key := shown[0].text()
	if got := v.get(t, "/board").page(t, 200).text(); !strings.Contains(got, "Tamsin") {
		t.Errorf("not signed in: %s", got)
	}
	v.post(t, "/board/invitation", "invitation", made.Secret).page(t, 401) // the session was used
	if r := s.do(t, call{method: "GET", path: "/v1/group", key: key}); r.StatusCode != http.StatusOK {
		t.Errorf("the key shown: %d %s", r.StatusCode, r.body)
	}
}

// Two at once: one key is left that works.
func TestAnInvitationRedeemedTwiceAtOnce(t *testing.T) {
	t.Parallel()
	s := setup(t)
	made := s.invite(t, "Tamsin")
	answers := make(chan string, 4)
	for range cap(answers) {
		go func() {
			_, secret, err := s.Members.Redeem(t.Context(), made.Secret)
			if err != nil {
				secret = err.Error()
			}
			answers <- secret
		}()
	}
	keys := make([]string, cap(answers))
	for i := range keys {
		keys[i] = <-answers
	}
	valid := 0
	for _, key := range keys {
		if _, err := s.Members.Authenticate(t.Context(), key); err == nil {
			valid++
		}
	}
	if valid != 1 {
		t.Errorf("%d keys of one invitation are valid, want 1", valid)
	}
	names := s.Select(t, "select name from askwright.member where name = 'Tamsin'")
	if len(names) != 1 {
		t.Errorf("members %v", names)
	}
}

// What the audit keeps of an invitation holds no secret.
func TestTheAuditKeepsNoInvitation(t *testing.T) {
	t.Parallel()
	s := setup(t)
	made := s.invite(t, "Tamsin")
	want[wire.CreatedKey](t, s.redeem(t, made.Secret), 201)
	rows := s.Select(t, "select what || ' ' || detail::text from askwright.audit where what like '%invit%' order by audit_id")
	text := strings.Join(rows, "\n")
	if len(rows) < 2 || strings.Contains(text, "ask_") {
		t.Errorf("%s", text)
	}
}
