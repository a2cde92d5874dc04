package api_test

import (
	"encoding/csv"
	"fmt"
	"strings"
	"testing"

	"askwright/api/wire"
)

type offerAnswer struct {
	Offer struct {
		ID, On, Comes, Note string
		Amount              float64
		Ask, Deposit        *float64
		Cash                bool
	}
	Action     string
	Counter    *float64
	TakeNet    *float64 `json:"take_net"`
	WaitNet    *float64 `json:"wait_net"`
	WaitAsk    *float64 `json:"wait_ask"`
	Better     *float64 `json:"chance_better_than_waiting"`
	TurnsUp    float64  `json:"chance_turns_up"`
	Holds      int
	LowestLike *float64 `json:"lowest_like_this"`
	Lowest     []lowest
	Flooded    bool
	HeldUntil  *string `json:"held_until"`
	Refusal    *struct{ Reason string }
	Labels     []string
	Sentences  []wire.Sentence
	Cautions   []struct{ Code string }
}

type lowest struct {
	Days   int
	On     string
	Amount float64
}

type offerPage struct {
	Items     []struct{ ID, On, Note string }
	Lowest    []lowest
	HeldUntil *string `json:"held_until"`
	Refusal   *struct{ Reason string }
}

// onOffer is a listing of the key's member, at 300 since the first of March.
func (s *site) onOffer(t *testing.T, key, ref string) string {
	t.Helper()
	r := s.do(t, call{method: "POST", path: "/v1/listings", key: key, body: `{"ref":"` + ref + `","category":"dresser","width":60,"depth":20,"height":36,"condition":"good","finish":"painted","listed_on":"2026-03-01","ask":300,"own_price":300}`})
	return want[row](t, r, 201)["id"].(string)
}

// event records an event and returns its id.
func (s *site) event(t *testing.T, key, listing, body string) string {
	t.Helper()
	r := want[struct{ Events []struct{ ID, Kind string } }](t, s.do(t, call{method: "POST", path: "/v1/listings/" + listing + "/events", key: key, body: body}), 201)
	return r.Events[0].ID
}

func (s *site) anotherKey(t *testing.T, key string) string {
	t.Helper()
	for _, other := range s.Keys {
		if other != key {
			return other
		}
	}
	t.Fatal("there is one member only")
	return ""
}

func TestOffers(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	id := s.onOffer(t, key, "OFF-1")
	at := "/v1/listings/" + id + "/offers"
	offer := func(body string) offerAnswer {
		t.Helper()
		return want[offerAnswer](t, s.do(t, call{method: "POST", path: at, key: key, body: body}), 201)
	}
	full := offer(`{"amount":300,"cash":true,"note":"asked twice"}`)
	if full.Action != "take" || full.TurnsUp != 1 || *full.TakeNet != 300 || full.Counter != nil || full.Offer.Comes != "2026-03-31" || *full.Offer.Ask != 300 || full.Refusal != nil {
		t.Errorf("the ask in cash: %+v", full)
	}
	if len(full.Lowest) != 5 || full.Lowest[0].Days != 0 || full.Lowest[0].On != "2026-03-31" || full.Lowest[3].On != "2026-04-30" || !about(full.Lowest[0].Amount, *full.WaitNet) || *full.WaitAsk > 300 {
		t.Errorf("lowest %+v beside waiting for %g", full.Lowest, *full.WaitNet)
	}
	if codes := fmt.Sprint(full.Cautions); codes != "[{buyers} {tip_over}]" {
		t.Errorf("cautions %s", codes)
	}
	promise := offer(`{"amount":"300.00","on":"2026-03-30","comes":"2026-04-04","deposit":20}`)
	if promise.TurnsUp != 0.9 || promise.Holds != 0 || *promise.TakeNet >= 300 || promise.Offer.On != "2026-03-30" || promise.Offer.Comes != "2026-04-04" || *promise.LowestLike <= full.Lowest[0].Amount-20 {
		t.Errorf("a promise with a deposit: %+v", promise)
	}
	if vague := offer(`{"amount":300}`); vague.TurnsUp != 0.6 || *vague.TakeNet >= *full.TakeNet {
		t.Errorf("a promise without: %+v", vague)
	}
	poor := offer(`{"amount":20,"cash":true}`)
	if poor.Action != "counter" || *poor.Counter > 300 || *poor.Counter <= 20 || *poor.TakeNet != 20 || *poor.Better > 0.5 {
		t.Errorf("a poor offer: %+v", poor)
	}
	want[row](t, s.do(t, call{method: "POST", path: "/v1/listings/" + id + "/events", key: key, body: `{"kind":"void","voids":"` + poor.Offer.ID + `"}`}), 201)

	r := s.do(t, call{method: "GET", path: at, key: key})
	page := want[offerPage](t, r, 200)
	if len(page.Items) != 3 || page.Items[0].Note != "asked twice" || len(page.Lowest) != 5 || page.Lowest[0] != full.Lowest[0] {
		t.Errorf("the list: %+v", page)
	}
	if again := s.do(t, call{method: "GET", path: at, key: key, header: []string{"If-None-Match", r.Header.Get("ETag")}}); again.StatusCode != 304 {
		t.Errorf("unchanged: %d", again.StatusCode)
	}
	table, err := csv.NewReader(strings.NewReader(s.do(t, call{method: "GET", path: at + "?fields=on,amount,cash,deposit", key: key, header: []string{"Accept", "text/csv"}}).body)).ReadAll()
	if err != nil || fmt.Sprint(table) != "[[on amount cash deposit] [2026-03-31 300.00 true ] [2026-03-30 300.00 false 20.00] [2026-03-31 300.00 false ]]" {
		t.Errorf("table %v, %v", table, err)
	}

	s.event(t, key, id, `{"kind":"sold","sale_price":300}`)
	p := wantProblem(t, s.do(t, call{method: "POST", path: at, key: key, body: `{"amount":250}`}), 409, "conflict")
	if !strings.Contains(p.Detail, "ended on 2026-03-31 as sold") {
		t.Errorf("an ended listing: %q", p.Detail)
	}
	if page := want[offerPage](t, s.do(t, call{method: "GET", path: at, key: key}), 200); len(page.Items) != 3 || page.Lowest != nil {
		t.Errorf("after the end: %+v", page)
	}
}

// Offers and lowest prices are the owner's, also from an admin key.
func TestOffersAreTheOwners(t *testing.T) {
	t.Parallel()
	s := setup(t)
	otto, admin := s.Keys["Otto"], s.Keys["Wilda"]
	id := s.create(t, "Otto", `{"ref":"O-1","category":"desk","listed_on":"2026-03-01","ask":200,"own_price":210}`)["id"].(string)
	made := want[offerAnswer](t, s.do(t, call{method: "POST", path: "/v1/listings/" + id + "/offers", key: otto, body: `{"amount":171.17,"cash":true}`}), 201)
	if made.Refusal != nil || made.Action == "" || fmt.Sprint(made.Labels) != "[from_your_estimate]" {
		t.Errorf("without sales, from the estimate: %+v", made)
	}
	s.event(t, otto, id, `{"kind":"hold","until":"2026-04-03","offer":"`+made.Offer.ID+`","deposit":31.31}`)
	for _, method := range []string{"GET", "POST"} {
		r := s.do(t, call{method: method, path: "/v1/listings/" + id + "/offers", key: admin, body: map[string]string{"POST": `{"amount":5}`}[method]})
		if p := wantProblem(t, r, 403, "forbidden"); !strings.Contains(p.Detail, "Otto alone") {
			t.Errorf("%s: %q", method, p.Detail)
		}
	}
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/listings/" + id + "/events", key: admin, body: `{"kind":"offer","amount":5}`}), 403, "forbidden")
	events := "/v1/listings/" + id + "/events"
	for path, keys := range map[string][]string{events: {otto, admin}, "/v1/reviews": {admin}, "/v1/listings": {admin}} {
		for _, key := range keys {
			text := s.do(t, call{method: "GET", path: path, key: key}).body
			for _, private := range []string{"171.17", "31.31", made.Offer.ID} {
				if strings.Contains(text, private) != (key == otto) {
					t.Errorf("%s with the key of otto %t: %s in %s", path, key == otto, private, text)
				}
			}
			if path == events && !strings.Contains(text, `"until":"2026-04-03"`) {
				t.Errorf("the hold is not told: %s", text)
			}
		}
	}
	wantProblem(t, s.do(t, call{method: "POST", path: events, key: admin, body: `{"kind":"release","why":"no_show","on":"2026-02-01"}`}), 422, "invalid")
	s.event(t, admin, id, `{"kind":"release","why":"cancelled"}`)
	wantProblem(t, s.do(t, call{method: "POST", path: events, key: admin, body: `{"kind":"hold","until":"today","deposit":5}`}), 422, "invalid")
	s.event(t, admin, id, `{"kind":"hold","until":"today"}`)
}

func TestHolds(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	id := s.onOffer(t, key, "HOLD-1")
	events := "/v1/listings/" + id + "/events"
	type review struct {
		Ref, State string
		Active     int     `json:"active_days"`
		HeldUntil  *string `json:"held_until"`
		Sentences  []wire.Sentence
	}
	look := func() (found review) {
		t.Helper()
		for _, r := range want[struct{ Items []review }](t, s.do(t, call{method: "GET", path: "/v1/reviews?member=me", key: key}), 200).Items {
			if r.Ref == "HOLD-1" {
				return r
			}
		}
		t.Fatal("the listing is not reviewed")
		return found
	}
	says := func(r review, text string) bool { return strings.Contains(textOf(r.Sentences), text) }
	pauses := func() string {
		return fmt.Sprint(want[row](t, s.do(t, call{method: "GET", path: "/v1/listings/" + id, key: key}), 200)["pauses"])
	}
	before := look()
	hold := s.event(t, key, id, `{"kind":"hold","until":"2026-04-02","deposit":"20"}`)
	if r := look(); r.State != "paused" || r.HeldUntil == nil || *r.HeldUntil != "2026-04-02" || !says(r, "On hold for a buyer until 2026-04-02") || r.Active != before.Active {
		t.Errorf("held: %+v", r)
	}
	if got := pauses(); got != "[map[paused_on:2026-03-31 resumed_on:2026-04-03]]" {
		t.Errorf("pauses %v", got)
	}
	wantProblem(t, s.do(t, call{method: "POST", path: events, key: key, body: `{"kind":"hold","until":"2026-04-08"}`}), 409, "conflict")
	wantProblem(t, s.do(t, call{method: "POST", path: events, key: key, body: `{"kind":"resume"}`}), 409, "conflict")
	another := want[offerAnswer](t, s.do(t, call{method: "POST", path: "/v1/listings/" + id + "/offers", key: key, body: `{"amount":280,"cash":true}`}), 201)
	if another.HeldUntil == nil || !strings.Contains(textOf(another.Sentences), "hold for a buyer") {
		t.Errorf("an offer for what is held: %+v", another)
	}

	s.event(t, key, id, `{"kind":"void","voids":"`+hold+`"}`)
	if r := look(); r.State == "paused" || r.HeldUntil != nil || pauses() != "[]" {
		t.Errorf("undone: %+v, pauses %v", r, pauses())
	}

	// A hold that passes without a word: the clock runs again from the day after.
	s.event(t, key, id, `{"kind":"hold","until":"2026-04-02"}`)
	s.Clock.Advance(5)
	if r := look(); r.State == "paused" || !says(r, "Hold ended 2026-04-02") || *r.HeldUntil != "2026-04-02" || r.Active != before.Active+2 {
		t.Errorf("overdue, %d active days before: %+v", before.Active, r)
	}
	turnUp := func() offerAnswer {
		return want[offerAnswer](t, s.do(t, call{method: "POST", path: "/v1/listings/" + id + "/offers", key: key, body: `{"amount":280}`}), 201)
	}
	if o := turnUp(); o.TurnsUp != 0.6 || o.Holds != 0 {
		t.Errorf("nothing learned yet: %+v", o)
	}
	release := s.event(t, key, id, `{"kind":"release","why":"no_show"}`)
	if o := turnUp(); o.TurnsUp != 0.5 || o.Holds != 1 { // (3 + 0) / (5 + 1)
		t.Errorf("after a no-show: %+v", o)
	}
	if r := look(); r.HeldUntil != nil || pauses() != "[map[paused_on:2026-03-31 resumed_on:2026-04-03]]" {
		t.Errorf("released: %+v, pauses %v", r, pauses())
	}
	wantProblem(t, s.do(t, call{method: "POST", path: events, key: key, body: `{"kind":"release","why":"no_show"}`}), 409, "conflict")
	s.event(t, key, id, `{"kind":"void","voids":"`+release+`"}`)
	if o := turnUp(); o.Holds != 0 || o.HeldUntil == nil {
		t.Errorf("the release is undone: %+v", o)
	}
	s.event(t, key, id, `{"kind":"release","why":"fell through"}`)

	// One released before its day: the clock runs from that day.
	s.event(t, key, id, `{"kind":"hold","until":"2026-04-20","on":"2026-04-04"}`)
	s.event(t, key, id, `{"kind":"release","why":"cancelled"}`)
	if got := pauses(); got != "[map[paused_on:2026-03-31 resumed_on:2026-04-03] map[paused_on:2026-04-04 resumed_on:2026-04-05]]" {
		t.Errorf("pauses %v", got)
	}
	// One that ends in the sale was kept; another member's listing learns from it.
	s.event(t, key, id, `{"kind":"hold","until":"2026-04-07"}`)
	s.event(t, key, id, `{"kind":"sold","sale_price":280}`)
	key = s.anotherKey(t, key)
	other := s.onOffer(t, key, "HOLD-2")
	o := want[offerAnswer](t, s.do(t, call{method: "POST", path: "/v1/listings/" + other + "/offers", key: key, body: `{"amount":280}`}), 201)
	if o.Holds != 2 || o.TurnsUp != 0.571 { // (3 + 1) / (5 + 2); the one called off tells nothing
		t.Errorf("after one kept and one broken: %+v", o)
	}
	story := s.do(t, call{method: "GET", path: events, key: key}).body
	for _, kind := range []string{`"hold"`, `"release"`, `"void"`, `"no_show"`, `"fell_through"`, `"cancelled"`} {
		if !strings.Contains(story, kind) {
			t.Errorf("%s is not in the history: %s", kind, story)
		}
	}
}

func TestOfferFaults(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Otto"]
	id := s.create(t, "Otto", `{"ref":"O-1","category":"desk","listed_on":"2026-03-01","ask":200}`)["id"].(string)
	yard := s.create(t, "Otto", `{"ref":"Y-1","category":"desk","stage":"bought"}`)["id"].(string)
	seen := s.create(t, "Otto", `{"ref":"S-1","category":"desk","source":"observed","listed_on":"2026-03-01","ask":200}`)["id"].(string)
	for body, reason := range map[string]string{
		`{}`:                                "amount",
		`{"amount":0}`:                      "more than zero",
		`{"amount":-5}`:                     "more than zero",
		`{"amount":"many"}`:                 "amount",
		`{"amount":1.001}`:                  "decimal places",
		`{"amount":9e99}`:                   "amount",
		`{"amount":5,"on":"2026-04-09"}`:    "in the future",
		`{"amount":5,"on":"2026-02-09"}`:    "before O-1 was listed",
		`{"amount":5,"comes":"2026-03-30"}`: "is before",
		`{"amount":5,"comes":"2027-03-30"}`: "90 days",
		`{"amount":5,"comes":"soon"}`:       "calendar",
		`{"amount":5,"deposit":6}`:          "more than the offer",
		`{"amount":5,"deposit":0}`:          "more than zero",
		`{"amount":5,"cash":"yes"}`:         "true or false",
		`{"amount":5,"amounts":6}`:          "did you mean amount",
		`{"amount":5,"note":"` + strings.Repeat("x", 1001) + `"}`: "1000 characters",
	} {
		r := s.do(t, call{method: "POST", path: "/v1/listings/" + id + "/offers", key: key, body: body})
		if wantProblem(t, r, 422, "invalid"); !strings.Contains(r.body, reason) {
			t.Errorf("%s: %s, want %q", body, r.body, reason)
		}
	}
	for body, reason := range map[string]string{
		`{"kind":"hold"}`:                                           "until",
		`{"kind":"hold","until":"2026-03-30"}`:                      "is before",
		`{"kind":"hold","until":"2026-09-30"}`:                      "90 days",
		`{"kind":"hold","until":"2026-04-01","deposit":-1}`:         "more than zero",
		`{"kind":"hold","until":"2026-04-01","offer":"` + id + `"}`: "no offer",
		`{"kind":"hold","until":"2026-04-01","amount":5}`:           "not a field",
		`{"kind":"release"}`:                                        "why",
	} {
		r := s.do(t, call{method: "POST", path: "/v1/listings/" + id + "/events", key: key, body: body})
		if wantProblem(t, r, 422, "invalid"); !strings.Contains(r.body, reason) {
			t.Errorf("%s: %s, want %q", body, r.body, reason)
		}
	}
	s.event(t, key, id, `{"kind":"hold","until":"today"}`)
	r := s.do(t, call{method: "POST", path: "/v1/listings/" + id + "/events", key: key, body: `{"kind":"release","why":"bored"}`})
	if wantProblem(t, r, 422, "invalid"); !strings.Contains(r.body, "no_show") {
		t.Errorf("an unknown reason: %s", r.body)
	}
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/listings/" + yard + "/offers", key: key, body: `{"amount":5}`}), 409, "conflict")
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/listings/" + seen + "/offers", key: key, body: `{"amount":5}`}), 409, "conflict")
	for _, quiet := range []string{yard, seen} {
		if page := want[offerPage](t, s.do(t, call{method: "GET", path: "/v1/listings/" + quiet + "/offers", key: key}), 200); len(page.Items) != 0 || page.Lowest != nil {
			t.Errorf("no offers, no lowest price: %+v", page)
		}
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/listings/" + id + "/offers?limit=3", key: key}), 400, "malformed")
}
