package pricing

import (
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/furniture"
	"askwright/pricing/internal/probe"
	"askwright/pricing/refinish"
)

// unsold is a listing at 300 for 45 days with some messages.
func unsold(messages int) Listing {
	return Listing{
		ID: "a", Piece: "a", Attributes: furniture.Attributes{Category: "desk"}, ListedOn: today - 45,
		Asks: []Ask{{today - 45, 300}}, Estimate: 300, Messages: []Reading{{today, messages}},
	}
}

func TestReviewFromPriors(t *testing.T) {
	m := Fit(History{}, today)
	s := checkSettings()
	for _, tt := range []struct {
		messages                       int
		demand, next30, wait, ask, net float64
	}{
		{0, 0.3482, 0.2010, 26.49, 190, 135.04},
		{3, 0.4788, 0.2655, 77.90, 210, 152.91},
		{8, 0.6964, 0.3616, 135.64, 240, 173.64},
	} {
		l := unsold(tt.messages)
		seen := m.evidence(Standing{Listing: l}, today, s)
		if !probe.Near(seen.hazard, 1.247879, 6) || !probe.Near(seen.expected, 9.983033, 6) || !probe.Near(seen.k()/seen.r(), tt.demand, 4) {
			t.Errorf("%d messages: %+v", tt.messages, seen)
		}
		if got := m.Review(Standing{Listing: l}, today, s); !probe.Near(got.ChanceSoldByNow, 0.6208, 4) || got.Refusal == nil || got.State != StateSlow {
			t.Errorf("%+v", got)
		}
		for _, r := range m.remedies(l, today, 300, seen, s) {
			switch r.Action {
			case ActionWait:
				if !probe.Near(r.ExpectedNet, tt.wait, 2) || !probe.Near(r.Chance30, tt.next30, 4) {
					t.Errorf("%d messages, wait: %+v", tt.messages, r)
				}
			case ActionReprice:
				if r.Ask != tt.ask || !probe.Near(r.ExpectedNet, tt.net, 2) {
					t.Errorf("%d messages, reprice: %+v", tt.messages, r)
				}
			}
		}
	}
}

// openListing draws a listing at one ask for some days, with estimate and messages.
func openListing(t *rapid.T) Listing {
	l := syntheticListing(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "piece"), 3)), "subject")
	age := rapid.IntRange(0, 300).Draw(t, "age")
	l.ListedOn = today - Date(age)
	l.Outcome, l.EndedOn, l.SalePrice, l.Pauses = Open, 0, 0, nil
	l.Asks = []Ask{{l.ListedOn, l.Asks[0].Amount}}
	l.Messages = []Reading{{today, rapid.IntRange(0, 30).Draw(t, "messages")}}
	return l
}

// Turning active days into paused ones never raises the chance that a listing
// at one ask would have sold by now.
func TestPauseNeverMakesAListingLookStaler(t *testing.T) {
	m := Fit(syntheticMarket(150, 21), today)
	rapid.Check(t, func(t *rapid.T) {
		l := openListing(t)
		before := m.Review(Standing{Listing: l}, today, DefaultSettings())
		from := l.ListedOn + Date(rapid.IntRange(0, 300).Draw(t, "from"))
		l.Pauses = []Interval{{from, from + Date(rapid.IntRange(1, 60).Draw(t, "days"))}}
		after := m.Review(Standing{Listing: l}, today, DefaultSettings())
		if after.ChanceSoldByNow > before.ChanceSoldByNow+1e-12 || after.ActiveDays > before.ActiveDays {
			t.Errorf("paused: %g after %d days, %g after %d before", after.ChanceSoldByNow, after.ActiveDays, before.ChanceSoldByNow, before.ActiveDays)
		}
	})
}

func TestMoreMessagesNeverLowerDemand(t *testing.T) {
	m := Fit(syntheticMarket(150, 22), today)
	rapid.Check(t, func(t *rapid.T) {
		l := openListing(t)
		few := m.Review(Standing{Listing: l}, today, DefaultSettings())
		l.Messages[0].Count++
		more := m.Review(Standing{Listing: l}, today, DefaultSettings())
		if more.Demand < few.Demand {
			t.Errorf("demand %g with another message, %g before", more.Demand, few.Demand)
		}
	})
}

// The remedies come best first, waiting is among them, nothing raises the ask
// of the same look, and a flag keeps its promises.
func TestReviewLaws(t *testing.T) {
	s := DefaultSettings()
	s.HourValue = 18
	s.RefinishOptions = []refinish.Option{
		{Finish: "clear", Color: "natural", Materials: 25, Hours: 6, DaysOut: 10},
		{Finish: "painted", Color: "green", Materials: 40, Hours: 9, DaysOut: 12},
	}
	rapid.Check(t, func(t *rapid.T) {
		m := Fit(syntheticMarket(rapid.IntRange(15, 120).Draw(t, "listings"), rapid.Uint64().Draw(t, "market")), today)
		l := openListing(t)
		got := m.Review(Standing{Listing: l}, today, s)
		if got.Refusal != nil {
			if got.Refusal.Reason != TooFewSales || got.State == StateStale || got.Remedies != nil {
				t.Errorf("%+v", got)
			}
			return
		}
		waiting := slices.IndexFunc(got.Remedies, func(r Remedy) bool { return r.Action == ActionWait })
		if waiting < 0 || got.Remedies[waiting].Gain != 0 {
			t.Fatalf("waiting is not among %+v", got.Remedies)
		}
		for i, r := range got.Remedies {
			if i > 0 && r.ExpectedNet > got.Remedies[i-1].ExpectedNet {
				t.Errorf("%s is better than what stands before it", r.Action)
			}
			if r.Action == ActionReprice && r.Ask >= l.Asks[0].Amount {
				t.Errorf("lowers %g to %g", l.Asks[0].Amount, r.Ask)
			}
			if r.ChanceBetterThanWaiting < 0 || r.ChanceBetterThanWaiting > 1 {
				t.Errorf("%+v", r)
			}
		}
		if got.State == StateStale && (got.ActiveDays < 14 || got.Gain < 0.05*l.Asks[0].Amount || got.Remedies[0].Action == ActionWait) {
			t.Errorf("flagged without ground: %+v", got)
		}
		if got.State == StateStale && got.Reason == "luck" && got.Remedies[0].Action == ActionReprice {
			t.Error("a lower price is proposed, and luck named as the reason")
		}
		if got.State != StateStale && got.Clear {
			t.Error("clear without a flag")
		}
	})
}

func TestReviewStates(t *testing.T) {
	m := Fit(syntheticMarket(300, 23), today)
	dear := func(age int) Listing {
		return Listing{
			ID: "dear", Attributes: probes[1], ListedOn: today - Date(age),
			Asks: []Ask{{today - Date(age), 1100}}, Estimate: 650, Messages: []Reading{{today, 0}},
		}
	}
	paused, resumed, repriced := dear(60), dear(60), dear(60)
	paused.Pauses = []Interval{{today - 2, 0}}
	resumed.Pauses = []Interval{{today - 20, today - 3}}
	repriced.Asks = append(repriced.Asks, Ask{today - 3, 1000})
	for _, tt := range []struct {
		name string
		l    Listing
		want string
	}{
		{"dear for 60 days", dear(60), StateStale},
		{"too young", dear(13), StateFresh},
		{"paused", paused, StatePaused},
		{"back for 3 days", resumed, StateFresh},
		{"cheaper for 3 days", repriced, StateFresh},
	} {
		got := m.Review(Standing{Listing: tt.l}, today, DefaultSettings())
		if got.State != tt.want {
			t.Errorf("%s: %s, want %s (%+v)", tt.name, got.State, tt.want, got)
		}
	}
}

func TestReviewReasons(t *testing.T) {
	h := syntheticMarket(300, 24)
	for i := range h.Listings {
		h.Listings[i].Views = []Reading{{0, 10 * max(1, h.Listings[i].ActiveDays(today))}}
	}
	m := Fit(h, today)
	at := func(messages []Reading, views int) Listing {
		return Listing{
			ID: "a", Attributes: probes[1], ListedOn: today - 40, Estimate: 600,
			Asks: []Ask{{today - 40, 600}}, Messages: messages, Views: []Reading{{today, views}},
		}
	}
	young := at(nil, 400)
	young.ListedOn, young.Asks[0].On = today-3, today-3
	for _, tt := range []struct {
		name, want string
		l          Listing
	}{
		{"many messages, no sale", "price", at([]Reading{{today, 40}}, 400)},
		{"few messages of many who saw it", "look", at([]Reading{{today, 0}}, 400)},
		{"few saw it", "exposure", at([]Reading{{today, 0}}, 40)},
		{"three days, messages unknown", "luck", young},
	} {
		if got := m.Review(Standing{Listing: tt.l}, today, DefaultSettings()); got.Reason != tt.want {
			t.Errorf("%s: %s, want %s (usual %g)", tt.name, got.Reason, tt.want, got.MessagesUsual)
		}
	}
}

// A new finish does not forgive a slow piece: its demand stays, and what
// earlier listings of the piece showed counts too.
func TestEarlierListingsCount(t *testing.T) {
	m := Fit(syntheticMarket(200, 25), today)
	l := unsold(1)
	earlier := l
	earlier.ID, earlier.ListedOn = "before", today-200
	earlier.Asks = []Ask{{today - 200, 300}}
	earlier.Outcome, earlier.EndedOn = Withdrawn, today-120
	earlier.Messages = []Reading{{today - 120, 0}}
	alone := m.Review(Standing{Listing: l}, today, DefaultSettings())
	both := m.Review(Standing{Listing: l, Earlier: []Listing{earlier}}, today, DefaultSettings())
	if both.Demand >= alone.Demand || both.ChanceSoldByNow <= alone.ChanceSoldByNow || both.ActiveDays != alone.ActiveDays {
		t.Errorf("with 80 unsold days before: %+v; alone %+v", both, alone)
	}
}

// The suggestion for an open listing and its review tell one story.
func TestSuggestionAndReviewAgree(t *testing.T) {
	m := Fit(syntheticMarket(200, 26), today)
	rapid.Check(t, func(t *rapid.T) {
		l := openListing(t)
		st := Standing{Listing: l}
		s := m.Suggest(Query{Attributes: l.Attributes, Estimate: l.Estimate, Standing: &st}, today, DefaultSettings(), nil)
		r := m.Review(st, today, DefaultSettings())
		for _, remedy := range r.Remedies {
			for _, p := range s.Curve {
				if (remedy.Action == ActionReprice || remedy.Action == ActionWait) && p.Ask == remedy.Ask {
					if !probe.Near(p.ExpectedNet, remedy.ExpectedNet, 6) || !probe.Near(p.Chance30, remedy.Chance30, 9) {
						t.Errorf("at %g the suggestion says %+v, the review %+v", p.Ask, p, remedy)
					}
				}
			}
		}
	})
}
