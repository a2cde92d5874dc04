package api_test

import (
	"fmt"
	"strings"
	"testing"
)

// desk is a listing of Wilda's with its page.
func desk(t *testing.T) (s *site, v *visitor, id, at string) {
	t.Helper()
	s = setup(t)
	id = s.create(t, "Wilda", sideboard)["id"].(string)
	return s, s.signedIn(t, s.Keys["Wilda"]), id, "/board/listings/" + id
}

func (s *site) row(t *testing.T, id string) row {
	t.Helper()
	return want[row](t, s.do(t, call{method: "GET", path: "/v1/listings/" + id, key: s.Keys["Wilda"]}), 200)
}

// asText writes the pauses or the asks of a row as their cell has them.
func asText(v any) any {
	list, isList := v.([]any)
	if !isList {
		return v
	}
	parts := make([]string, len(list))
	for i, one := range list {
		entry := one.(map[string]any)
		switch to := entry["resumed_on"]; {
		case entry["ask"] != nil:
			parts[i] = fmt.Sprintf("%s:%.2f", entry["on"], entry["ask"])
		case to == nil:
			parts[i] = fmt.Sprint(entry["paused_on"], "/..")
		default:
			parts[i] = fmt.Sprint(entry["paused_on"], "/", to)
		}
	}
	return strings.Join(parts, ";")
}

// Each action has a page that asks, with a day; it is recorded, and undone by
// the button beside what was done.
func TestActions(t *testing.T) {
	t.Parallel()
	s, v, id, at := desk(t)
	for _, do := range []struct {
		kind   string
		fields []string
		column string
		want   any
		undo   bool
	}{
		{"ask", []string{"ask", "$430", "on", "2026-03-20"}, "ask_history", "2026-03-01:480.00;2026-03-20:430.00", true},
		{"interest", []string{"messages", "4", "showings", "1"}, "messages", 4.0, true},
		{"check", []string{"check", "photos", "on", "2026-03-24"}, "ask", 480.0, true},
		{"pause", []string{"on", "2026-03-25", "until", ""}, "pauses", "2026-03-25/..", false},
		{"resume", []string{"on", "2026-03-28"}, "pauses", "2026-03-25/2026-03-28", false},
		{"hold", []string{"until", "2026-04-03", "on", "2026-03-30"}, "pauses", "2026-03-25/2026-03-28;2026-03-30/2026-04-04", true},
		{"hold", []string{"until", "2026-04-03", "on", "2026-03-30"}, "pauses", "2026-03-25/2026-03-28;2026-03-30/2026-04-04", false},
		{"release", []string{"why", "no_show", "on", "2026-03-31"}, "pauses", "2026-03-25/2026-03-28;2026-03-30/2026-03-31", false},
		{"work", []string{"hours", "1.5", "step", "sanding"}, "hours", 1.5, true},
		{"cost", []string{"amount", "$12.50", "cost", "materials_cost"}, "materials_cost", 12.5, true},
		{"sold", []string{"sale_price", "415", "on", "2026-03-30", "sold_venue", "porch sale"}, "ended_on", "2026-03-30", true},
		{"pulled", []string{"on", "2026-03-30"}, "outcome", "pulled", true},
	} {
		before := s.row(t, id)
		form := v.get(t, at+"/confirm?kind="+do.kind).page(t, 200).all("form", "ask")[0]
		sent := form.sent()
		if day := sent.Get("on"); day != "2026-03-31" {
			t.Errorf("%s: the day proposed is %q, want today", do.kind, day)
		}
		for i := 0; i < len(do.fields); i += 2 {
			if !sent.Has(do.fields[i]) && !strings.Contains(form.text(), "Which") && do.kind != "release" && do.kind != "cost" && do.kind != "check" {
				t.Errorf("%s: the form has no %s: %v", do.kind, do.fields[i], sent)
			}
			sent.Set(do.fields[i], do.fields[i+1])
		}
		if got := s.row(t, id); fmt.Sprint(got) != fmt.Sprint(before) {
			t.Errorf("%s: asking changed the listing: %v", do.kind, got)
		}
		r := v.send(t, "POST", attribute(form.Node, "action"), sent)
		if r.StatusCode != 303 || !strings.HasPrefix(r.Header.Get("Location"), at+"?done=") {
			t.Fatalf("%s: %d to %s: %s", do.kind, r.StatusCode, r.Header.Get("Location"), r.body)
		}
		if got := asText(s.row(t, id)[do.column]); got != do.want {
			t.Errorf("%s: %s is %v, want %v", do.kind, do.column, got, do.want)
		}
		done := v.get(t, r.Header.Get("Location")).page(t, 200).all("div", "done")
		if len(done) != 1 || len(done[0].all("form", "")) != 1 {
			t.Fatalf("%s: no way to undo it", do.kind)
		}
		if !do.undo {
			continue
		}
		if r := v.send(t, "POST", at+"/events", done[0].sent()); r.StatusCode != 303 {
			t.Fatalf("undo %s: %d %s", do.kind, r.StatusCode, r.body)
		}
		if got := s.row(t, id)[do.column]; fmt.Sprint(got) != fmt.Sprint(before[do.column]) {
			t.Errorf("%s undone: %s is %v, want %v", do.kind, do.column, got, before[do.column])
		}
	}
}

// The button for a new ask fills in what is advised.
func TestTheAdvisedAskIsFilledIn(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	tried := 0
	for _, owner := range []string{"Maren", "Brisa", "Tolliver", "Oswin", "Junia"} {
		v := s.signedIn(t, s.Keys[owner])
		for _, r := range want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/reviews?member=me", key: s.Keys[owner]}), 200).Items {
			if len(r.Remedies) == 0 || r.Remedies[0].Action != "reprice" {
				continue
			}
			tried++
			at, advised := "/board/listings/"+r.ID, strings.TrimSuffix(string(r.Remedies[0].Ask), ".00")
			for _, a := range v.get(t, at).page(t, 200).all("a", "button") {
				if href := attribute(a.Node, "href"); strings.Contains(href, "kind=ask") {
					if form := v.get(t, href).page(t, 200).all("form", "ask")[0].sent(); form.Get("ask") != advised {
						t.Errorf("%s: the form holds %q, advised is %s", r.Ref, form.Get("ask"), advised)
					}
				}
			}
			break
		}
	}
	if tried == 0 {
		t.Error("a lower ask is advised nowhere")
	}
}

// What is wrong stands beside its field; nothing is recorded.
func TestWrongActions(t *testing.T) {
	t.Parallel()
	_, v, _, at := desk(t)
	wrong := v.post(t, at+"/events", "kind", "ask", "ask", "dear").page(t, 422)
	if got := wrong.text(); !strings.Contains(got, "dear") || len(wrong.all("p", "wrong")) != 2 {
		t.Errorf("a wrong ask: %s", got)
	}
	if got := v.post(t, at+"/events", "kind", "sold", "sale_price", "400", "on", "2026-04-30").page(t, 422).text(); !strings.Contains(got, "future") {
		t.Errorf("sold tomorrow: %s", got)
	}
	v.post(t, at+"/events", "kind", "ask", "ask", "400", "revision", "0").page(t, 412)
	v.post(t, at+"/events", "kind", "nonsense").page(t, 400)
	v.post(t, at+"/events", "kind", "void", "voids", "nothing").page(t, 400)
	v.get(t, at+"/confirm?kind=nonsense").page(t, 400)
	if got := v.post(t, at+"/events", "kind", "resume").page(t, 422).text(); !strings.Contains(got, "there is no pause to end") {
		t.Errorf("back without a pause: %s", got)
	}
}

// A form that is sent twice, as on a slow line, is recorded once.
func TestAFormSentTwice(t *testing.T) {
	t.Parallel()
	s, v, id, at := desk(t)
	sent := v.get(t, at+"/confirm?kind=cost").page(t, 200).all("form", "ask")[0].sent()
	sent.Set("amount", "20")
	first := v.send(t, "POST", at+"/events", sent)
	again := v.send(t, "POST", at+"/events", sent)
	if first.StatusCode != 303 || again.StatusCode != 303 || first.Header.Get("Location") != again.Header.Get("Location") {
		t.Errorf("first to %s, again %d to %s", first.Header.Get("Location"), again.StatusCode, again.Header.Get("Location"))
	}
	if got := s.row(t, id)["materials_cost"]; got != 20.0 {
		t.Errorf("materials %v after the same form twice, want 20", got)
	}
	sent.Set("amount", "30")
	if got := v.send(t, "POST", at+"/events", sent).page(t, 409).text(); !strings.Contains(got, "sent before with other values") {
		t.Errorf("the form with another amount: %s", got)
	}
	undo := v.get(t, first.Header.Get("Location")).page(t, 200).all("div", "done")[0].sent()
	for range 2 {
		if r := v.send(t, "POST", at+"/events", undo); r.StatusCode != 303 {
			t.Errorf("undo: %d %s", r.StatusCode, r.body)
		}
	}
	if got := s.row(t, id)["materials_cost"]; got != nil {
		t.Errorf("materials %v after the undo, want unknown", got)
	}
}

// A wrong form is sent again with what was mended: its token is a new one.
func TestAWrongFormIsMended(t *testing.T) {
	t.Parallel()
	s, v, id, at := desk(t)
	sent := v.get(t, at+"/confirm?kind=ask").page(t, 200).all("form", "ask")[0].sent()
	sent.Set("ask", "dear")
	mended := v.send(t, "POST", at+"/events", sent).page(t, 422).all("form", "ask")[0].sent()
	if mended.Get("ask") != "dear" || mended.Get("token") == sent.Get("token") {
		t.Errorf("the form again: %v after %v", mended, sent)
	}
	mended.Set("ask", "450")
	if r := v.send(t, "POST", at+"/events", mended); r.StatusCode != 303 {
		t.Fatalf("mended: %d %s", r.StatusCode, r.body)
	}
	if got := s.row(t, id)["ask"]; got != 450.0 {
		t.Errorf("ask %v, want 450", got)
	}
}

// An offer is judged and worded; what was said to it is kept, and it is no longer
// to be answered.
func TestOffersAreAnswered(t *testing.T) {
	t.Parallel()
	s := demoBoard(t)
	v := s.signedIn(t, s.Keys["Maren"])
	at := "/board/listings/" + demoListing(t, s)
	sent := v.get(t, at+"/confirm?kind=offer").page(t, 200).all("form", "ask")[0].sent()
	sent.Set("amount", "300")
	r := v.send(t, "POST", at+"/events", sent)
	if r.StatusCode != 303 {
		t.Fatalf("offer: %d %s", r.StatusCode, r.body)
	}
	page := v.get(t, r.Header.Get("Location")).page(t, 200)
	offer := page.all("section", "offer")
	if len(offer) != 1 || len(offer[0].all("p", "reply")) != 1 || !strings.Contains(offer[0].text(), "Offer: $300") {
		t.Fatalf("the offer: %s", page.text())
	}
	if got := v.get(t, "/board").page(t, 200).text(); !strings.Contains(got, "Answer the offer of $300") {
		t.Errorf("today does not name the offer: %s", got)
	}
	var counter string
	for _, a := range offer[0].all("a", "") {
		if a.text() == "Counter" {
			counter = attribute(a.Node, "href")
		}
	}
	form := v.get(t, counter).page(t, 200).all("form", "ask")[0].sent()
	form.Set("amount", "410")
	if r := v.send(t, "POST", at+"/events", form); r.StatusCode != 303 {
		t.Fatalf("counter: %d %s", r.StatusCode, r.body)
	}
	if got := v.get(t, at).page(t, 200).all("section", "offer")[0].text(); !strings.Contains(got, "Answered: $410 instead") {
		t.Errorf("after the counteroffer: %s", got)
	}
	if got := v.get(t, "/board").page(t, 200).text(); strings.Contains(got, "Answer the offer") {
		t.Errorf("it is still to be answered: %s", got)
	}
	if got := s.signedIn(t, s.Keys["Junia"]).get(t, at).page(t, 200); len(got.all("section", "offer")) > 0 || strings.Contains(got.text(), "Offer of") {
		t.Error("another member reads the offer")
	}
}

// A piece goes from the find to the listing by its pages, and back by undo; a
// refinish and a new listing follow.
func TestAPieceUntilItIsListed(t *testing.T) {
	t.Parallel()
	s := setup(t)
	v := s.signedIn(t, s.Keys["Wilda"])
	form := v.get(t, "/board/new-piece").page(t, 200).all("form", "describe")[0].sent()
	for name, value := range map[string]string{"ref": "P-1", "category": "dresser", "width": "48", "planned_finish": "painted", "planned_color": "navy", "purchase_cost": "40", "own_price": "320"} {
		form.Set(name, value)
	}
	r := v.send(t, "POST", "/board/pieces", form)
	at := r.Header.Get("Location")
	if r.StatusCode != 303 || !strings.HasPrefix(at, "/board/pieces/") {
		t.Fatalf("new piece: %d %s", r.StatusCode, r.body)
	}
	id := want[items](t, s.do(t, call{method: "GET", path: "/v1/listings?ref=P-1", key: s.Keys["Wilda"]}), 200).Items[0]["id"].(string)
	act := func(kind string, pairs ...string) string {
		t.Helper()
		sent := v.get(t, "/board/listings/"+id+"/confirm?kind="+kind).page(t, 200).all("form", "ask")[0].sent()
		for i := 0; i+1 < len(pairs); i += 2 {
			sent.Set(pairs[i], pairs[i+1])
		}
		r := v.send(t, "POST", "/board/listings/"+id+"/events", sent)
		if r.StatusCode != 303 {
			t.Fatalf("%s: %d %s", kind, r.StatusCode, r.body)
		}
		return r.Header.Get("Location")
	}
	undo := func(to string) string {
		t.Helper()
		done := v.get(t, to).page(t, 200).all("div", "done")
		if len(done) != 1 {
			t.Fatalf("nothing to undo at %s", to)
		}
		r := v.send(t, "POST", attribute(done[0].all("form", "")[0].Node, "action"), done[0].sent())
		if r.StatusCode != 303 {
			t.Fatalf("undo at %s: %d %s", to, r.StatusCode, r.body)
		}
		return r.Header.Get("Location")
	}
	act("on_bench")
	act("work", "hours", "30", "kind_of_hours", "hours")
	if got := v.get(t, at).page(t, 200).all("li", "now"); len(got) != 1 || got[0].text() != "ready" {
		t.Errorf("after 30 hours it is %v", got)
	}
	if got := v.get(t, "/board").page(t, 200).text(); !strings.Contains(got, "List it") {
		t.Errorf("today: %s", got)
	}
	listed := act("listed", "ask", "340", "on", "2026-03-30")
	if got := s.row(t, id); got["finish"] != "painted" || got["color"] != "navy" || got["listed_on"] != "2026-03-30" || got["ask"] != 340.0 {
		t.Errorf("listed: %v", got)
	}
	undo(listed)
	if got := s.row(t, id); got["stage"] != "on_bench" || got["listed_on"] != nil || got["ask"] != nil {
		t.Errorf("the listing undone: %v", got)
	}
	act("listed", "ask", "350", "on", "2026-03-30")
	refinished := act("refinish", "color", "green", "on", "2026-03-31")
	if got := undo(refinished); !strings.HasPrefix(got, "/board/listings/"+id) || s.row(t, id)["outcome"] != "open" {
		t.Errorf("the refinish undone: at %s, %v", got, s.row(t, id)["outcome"])
	}
	act("pulled")
	relisted := act("relist", "ask", "300")
	if !strings.HasPrefix(relisted, "/board/listings/") || strings.HasPrefix(relisted, "/board/listings/"+id) {
		t.Errorf("relisted at %s", relisted)
	}
	next := strings.TrimPrefix(strings.Split(relisted, "?")[0], "/board/listings/")
	if got := s.row(t, next); got["ask"] != 300.0 || got["color"] != "navy" || got["piece_ref"] != "P-1" || got["ref"] != "P-1-2" {
		t.Errorf("relisted: %v", got)
	}
	if got := undo(relisted); !strings.HasPrefix(got, "/board/listings/"+id) {
		t.Errorf("the new listing undone: at %s", got)
	}
	act("retired", "reason", "kept")
	if got := s.row(t, id)["closed_as"]; got != "kept" {
		t.Errorf("retired as %v", got)
	}
}
