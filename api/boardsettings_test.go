package api_test

import (
	"strings"
	"testing"

	"askwright/service"
)

// The group's money, units and dates are settled on a page; a session alone does
// not: an admin key comes with the form.
func TestSettingsOnThePage(t *testing.T) {
	t.Parallel()
	s := setup(t)
	v := s.signedIn(t, s.Keys["Otto"])
	form := v.get(t, "/board/settings").page(t, 200).all("form", "describe")[0].sent()
	form.Set("hour_value", "$18")
	form.Set("fee_percent", "12.5")
	form.Set("date_order", "mdy")
	for _, key := range []string{"", "nonsense", s.Keys["Otto"]} {
		form.Set("admin_key", key)
		if got := v.send(t, "POST", "/board/settings", form).page(t, 422); len(got.all("p", "wrong")) != 1 {
			t.Errorf("with the key %.5q: %s", key, got.text())
		}
	}
	form.Set("admin_key", s.Keys["Wilda"])
	if r := v.send(t, "POST", "/board/settings", form); r.StatusCode != 303 {
		t.Fatalf("save: %d %s", r.StatusCode, r.body)
	}
	g, err := s.Members.Authenticate(t.Context(), s.Keys["Wilda"])
	if err != nil {
		t.Fatal(err)
	}
	if got := g.Group; got.HourValue != 1800 || got.FeeRate != 0.125 || got.DateOrder != "mdy" || got.Currency.Code != "USD" {
		t.Errorf("settled: %v an hour, fees %v, dates %q", got.HourValue, got.FeeRate, got.DateOrder)
	}
	form.Set("hour_value", "plenty")
	wrong := v.send(t, "POST", "/board/settings", form).page(t, 422)
	if got := wrong.text(); !strings.Contains(got, "plenty") {
		t.Errorf("a wrong rate: %s", got)
	}
	s.AddGroup(t, "Stranger")
	form.Set("admin_key", s.Keys["Stranger"])
	v.send(t, "POST", "/board/settings", form).page(t, 422)
}

// A member makes a key on the page, sees it once, opens the wall with it, and
// ends it.
func TestKeysOnThePage(t *testing.T) {
	t.Parallel()
	s := setup(t)
	v := s.signedIn(t, s.Keys["Otto"])
	made := v.post(t, "/board/keys", "use", "a screen on the wall", "label", "garage")
	address := made.page(t, 200).all("p", "secret")[0].text()
	if !strings.HasPrefix(address, s.server.URL+"/board/wall?key=ask_f") || made.Header.Get("Cache-Control") != "no-store" {
		t.Fatalf("the address is %.40q", address)
	}
	wall := strings.TrimPrefix(address, s.server.URL)
	s.visitor(t).get(t, wall).page(t, 200)
	list := v.get(t, "/board/keys").page(t, 200)
	if strings.Contains(list.text(), address) || !strings.Contains(list.text(), "garage wall screens") {
		t.Errorf("the list: %s", list.text())
	}
	for _, li := range list.all("li", "") {
		if strings.Contains(li.text(), "garage") {
			if r := v.send(t, "POST", "/board/keys", li.sent()); r.StatusCode != 303 {
				t.Fatalf("end: %d %s", r.StatusCode, r.body)
			}
		}
	}
	s.visitor(t).get(t, wall).page(t, 401)
	if got := v.post(t, "/board/keys", "use", "everything").page(t, 422).all("p", "wrong"); len(got) == 0 {
		t.Error("a key for anything else is made")
	}
	reader := s.signedIn(t, s.keyWith(t, "Otto", service.ScopeRead))
	reader.get(t, "/board/keys").page(t, 403)
}
