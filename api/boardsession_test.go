package api_test

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"askwright/api/wire"
	"askwright/service"
	"askwright/service/members"
)

func TestSessions(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	v := s.visitor(t)
	if r := v.get(t, "/board?member=me"); r.StatusCode != 303 || r.Header.Get("Location") != "/board/sign-in?to=%2Fboard%3Fmember%3Dme" {
		t.Errorf("without a session: %d to %s", r.StatusCode, r.Header.Get("Location"))
	}
	if got := v.post(t, "/board/sign-in", "key", "ask_nonsense").page(t, 401).all("p", "wrong"); len(got) != 1 || !strings.Contains(got[0].text(), "not a key") {
		t.Errorf("a wrong key: %v", got)
	}
	v.post(t, "/board/sign-in", "key", s.keyWith(t, "Maren", service.ScopeFeed)).page(t, 403)
	for _, to := range []string{"https://example.org/board", "//example.org/board", `/\example.org`, "/boardwalk", "board"} {
		if r := v.post(t, "/board/sign-in", "key", s.Keys["Maren"], "to", to); r.Header.Get("Location") != "/board" {
			t.Errorf("to %q: sent to %q", to, r.Header.Get("Location"))
		}
	}
	r := v.post(t, "/board/sign-in", "key", s.Keys["Maren"], "to", "/board?member=me")
	if r.StatusCode != 303 || r.Header.Get("Location") != "/board?member=me" {
		t.Fatalf("sign in: %d to %s", r.StatusCode, r.Header.Get("Location"))
	}
	cookie := r.Cookies()[0]
	if !cookie.HttpOnly || cookie.SameSite != http.SameSiteLaxMode || cookie.Secure || cookie.Path != "/board" || cookie.MaxAge != 7*86400 || cookie.Value == s.Keys["Maren"] {
		t.Errorf("the cookie: %+v", cookie)
	}
	if r := s.do(t, call{method: "GET", path: "/v1/listings", header: []string{"Cookie", "askwright_session=" + cookie.Value}}); r.StatusCode != 401 {
		t.Errorf("/v1 takes a cookie: %d", r.StatusCode)
	}
	keys := want[wire.KeyPage](t, s.do(t, call{method: "GET", path: "/v1/keys", key: s.Keys["Maren"]}), 200).Items
	last := keys[len(keys)-1]
	if last.Label != "board session" || last.Scope != "write" || last.ExpiresAt.Sub(last.CreatedAt).Hours() != 7*24 {
		t.Errorf("the session's key: %+v", last)
	}
	v.get(t, "/board").page(t, 200)
	if r := v.post(t, "/board/sign-out"); r.StatusCode != 303 {
		t.Errorf("sign out: %d", r.StatusCode)
	}
	if r := v.send(t, "GET", "/board", nil, "Cookie", "askwright_session="+cookie.Value); r.StatusCode != 303 {
		t.Errorf("the session lives on after signing out: %d", r.StatusCode)
	}
	v = s.signedIn(t, s.Keys["Maren"])
	s.Clock.Advance(8)
	if r := v.get(t, "/board"); r.StatusCode != 303 {
		t.Errorf("the session lives on after a week: %d", r.StatusCode)
	}
	if strings.Contains(s.log.String(), cookie.Value[:20]) || strings.Contains(s.log.String(), s.Keys["Maren"][:20]) {
		t.Error("a key stands in the log")
	}
}

// A session ends with the key that it was opened with, and does not outlive it.
func TestSessionEndsWithItsKey(t *testing.T) {
	t.Parallel()
	s := setup(t)
	secret := s.keyWith(t, "Wilda", service.ScopeWrite)
	v := s.signedIn(t, secret)
	v.get(t, "/board").page(t, 200)
	keys, err := s.Members.Keys(t.Context(), s.Actor(t, "Wilda"))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Members.RevokeKey(t.Context(), s.Actor(t, "Wilda"), keys[slices.IndexFunc(keys, func(k members.Key) bool { return k.Scope == service.ScopeWrite && k.Label == "" && k.Member == "Wilda" })].ID); err != nil {
		t.Fatal(err)
	}
	if r := v.get(t, "/board"); r.StatusCode != 303 {
		t.Errorf("the session lives on after its key: %d", r.StatusCode)
	}
	_, short, err := s.Members.CreateKey(t.Context(), s.Actor(t, "Wilda"), members.NewKey{Scope: service.ScopeRead, ExpiresAt: s.Clock.Now().AddDate(0, 0, 2)})
	if err != nil {
		t.Fatal(err)
	}
	v = s.signedIn(t, short)
	s.Clock.Advance(3)
	if r := v.get(t, "/board"); r.StatusCode != 303 {
		t.Errorf("the session outlives its key: %d", r.StatusCode)
	}
}

func TestBoardByFeedKey(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	feed := s.keyWith(t, "Maren", service.ScopeFeed)
	v := s.visitor(t)
	r := v.get(t, "/board?key="+feed)
	page := r.page(t, 200)
	if n := len(page.all("form", "")) + len(page.all("a", "")) + len(page.all("script", "")); n != 0 {
		t.Errorf("the wall screen has %d forms, links or scripts", n)
	}
	if !strings.HasPrefix(r.Header.Get("Refresh"), "30; url=/board?key="+feed+"&page=2") || r.Header.Get("Referrer-Policy") != "no-referrer" || r.Header.Get("Set-Cookie") != "" {
		t.Errorf("headers %v", r.Header)
	}
	if r := v.get(t, "/board?refresh=off&key="+feed); r.Header.Get("Refresh") != "" {
		t.Error("it refreshes although told not to")
	}
	id := want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/reviews?member=me", key: s.Keys["Maren"]}), 200).Items[0].ID
	for _, path := range []string{"/board/listings/" + id, "/board/listings/" + id + "/confirm"} {
		v.get(t, path+"?key="+feed).page(t, 400)
	}
	v.get(t, "/board?key=ask_f"+strings.Repeat("0", 71)).page(t, 401)
	if got := v.get(t, "/board?key="+s.Keys["Maren"]).page(t, 400).text(); !strings.Contains(got, "revoke") {
		t.Errorf("a full key in the address: %s", got)
	}
	if strings.Contains(s.log.String(), feed[:20]) {
		t.Error("the feed key stands in the log")
	}
}

// Requests that write come from the board's own pages only (OWASP Cross-Site
// Request Forgery Prevention Cheat Sheet: Fetch Metadata, Origin).
func TestFormsOfOtherSites(t *testing.T) {
	t.Parallel()
	s := setup(t)
	id := s.create(t, "Wilda", sideboard)["id"].(string)
	v := s.signedIn(t, s.Keys["Wilda"])
	form := url.Values{"kind": {"ask"}, "ask": {"400"}}
	for _, header := range [][]string{
		{"Origin", "https://example.org"}, {"Origin", "null"}, {"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"},
	} {
		v.send(t, "POST", "/board/listings/"+id+"/events", form, header...).page(t, 403)
		v.send(t, "POST", "/board/sign-out", nil, header...).page(t, 403)
		v.send(t, "POST", "/board/finds", url.Values{"ref": {"F-1"}, "category": {"desk"}}, header...).page(t, 403)
	}
	if got := want[row](t, s.do(t, call{method: "GET", path: "/v1/listings/" + id, key: s.Keys["Wilda"]}), 200)["ask"]; got != 480.0 {
		t.Errorf("ask %v after forms of other sites, want 480", got)
	}
	if got := want[items](t, s.do(t, call{method: "GET", path: "/v1/listings?ref=F-1", key: s.Keys["Wilda"]}), 200).Items; len(got) != 0 {
		t.Errorf("another site kept a find: %v", got)
	}
	if r := v.send(t, "POST", "/board/listings/"+id+"/events", form, "Sec-Fetch-Site", "same-origin"); r.StatusCode != 303 {
		t.Errorf("its own form: %d", r.StatusCode)
	}
}

// What belongs to another group is not there; what belongs to another member
// cannot be changed; a key that only reads changes nothing.
func TestBoardGuardsItself(t *testing.T) {
	t.Parallel()
	s := setup(t)
	id := s.create(t, "Wilda", `{"ref":"B-17","category":"desk","listed_on":"2026-03-01","ask":480,"own_price":4321.09,"purchase_cost":8765.43,"notes":"for my eyes"}`)["id"].(string)
	at := "/board/listings/" + id
	reader, otto := s.signedIn(t, s.keyWith(t, "Wilda", service.ScopeRead)), s.signedIn(t, s.Keys["Otto"])
	page := otto.get(t, at)
	page.page(t, 200)
	for _, secret := range []string{"4321", "8765", "for my eyes"} {
		if strings.Contains(page.body, secret) {
			t.Errorf("%q of another member stands in the page", secret)
		}
	}
	if n := len(page.page(t, 200).all("section", "actions")); n != 0 {
		t.Error("another member is offered to change it")
	}
	otto.get(t, at+"/confirm?kind=ask").page(t, 403)
	otto.post(t, at+"/events", "kind", "ask", "ask", "400").page(t, 403)
	reader.get(t, at).page(t, 200)
	reader.get(t, at+"/confirm?kind=ask").page(t, 403)
	reader.post(t, at+"/events", "kind", "ask", "ask", "400").page(t, 403)
	s.AddGroup(t, "Stranger")
	stranger := s.signedIn(t, s.Keys["Stranger"])
	stranger.get(t, at).page(t, 404)
	stranger.get(t, at+"/confirm?kind=ask").page(t, 404)
	stranger.post(t, at+"/events", "kind", "ask", "ask", "400").page(t, 404)
	stranger.get(t, "/board/listings/not-an-id").page(t, 404)
	stranger.get(t, "/board/listings?all=perhaps").page(t, 400)
	stranger.get(t, "/board?nonsense=1").page(t, 400)
	if got := stranger.get(t, "/board/listings").page(t, 200).text(); !strings.Contains(got, "Nothing listed yet.") {
		t.Errorf("an empty board: %s", got)
	}
	for _, route := range documented(t) {
		if path := placeholder.ReplaceAllString(route[1], id); strings.HasPrefix(path, "/board/") && !strings.Contains(path, "sign-in") && !strings.Contains(path, "invitation") && !strings.Contains(path, ".") {
			r := s.visitor(t).send(t, route[0], path, nil)
			if (route[0] == "GET" && (r.StatusCode != 303 || !strings.HasPrefix(r.Header.Get("Location"), "/board/sign-in"))) || (route[0] == "POST" && r.StatusCode != 401) {
				t.Errorf("%s %s without a session: %d", route[0], path, r.StatusCode)
			}
		}
	}
}
