package pricing

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/furniture"
	"askwright/pricing/internal/probe"
	"askwright/pricing/pricepoint"
	"askwright/pricing/refinish"
)

// unsold is a listing at 300 for 45 days with some messages.
func unsold(messages int) Listing {
	return Listing{
		ID: "a", Piece: "a", Attributes: furniture.Attributes{Category: "desk"}, ListedOn: today - 45,
		Asks: []Ask{{today - 45, 300}}, Estimate: 300, Messages: []Reading{{today, messages}},
	}
}

var allChecked = map[string]Date{"photos": today - 1, "title": today - 1, "another_venue": today - 1}

func TestReviewFromPriors(t *testing.T) {
	m := Fit(History{}, today)
	s := checkSettings()
	for _, tt := range []struct {
		messages                  int
		demand, next30, atThisAsk float64
		k                         float64
	}{
		{0, 0.3482, 0.2010, 26.49, 2}, {3, 0.4788, 0.2655, 77.90, 2.75}, {8, 0.6964, 0.3616, 135.64, 4},
	} {
		l := unsold(tt.messages)
		st := Standing{Listing: l, Done: allChecked}
		seen := m.evidence(st, today, s)
		if !probe.Near(seen.hazard, 1.247879, 6) || !probe.Near(seen.expected, 9.983033, 6) || !probe.Near(seen.k()/seen.r(), tt.demand, 4) {
			t.Errorf("%d messages: %+v", tt.messages, seen)
		}
		got := m.Review(st, today, s)
		if !probe.Near(got.ChanceSoldByNow, 0.6208, 4) || got.Refusal == nil || got.State != StateSlow {
			t.Errorf("%+v", got)
		}
		o := m.position(Query{Attributes: l.Attributes, Estimate: 300, Standing: &st}, today, s)
		c := o.course(st, 300, today, s)
		by := independentNet(onMarket{typical: 300, ask: 300, age: 45, k: tt.k, r: 2 + 1.247879 + 9.983033/4, holding: 1.5, salvage: 45, fee: 0.05, negotiation: 0.95, horizon: 180})
		if !probe.Near(o.sold(300, 30), tt.next30, 4) || math.Abs(c.ForGood.Net-tt.atThisAsk) > 0.5 || math.Abs(by-c.ForGood.Net) > 0.5 {
			t.Errorf("%d messages: sold in 30 days %.4f, for good %.2f, by Simpson's rule %.2f", tt.messages, o.sold(300, 30), c.ForGood.Net, by)
		}
		// The drop that is due brings at least any ask for good in its reach.
		best := 0.0
		for _, ask := range pricepoint.Between(225, 276) {
			best = math.Max(best, o.net(ask, o.holding))
		}
		if !got.Due || got.NextAsk >= 300 || !probe.Near(got.Gain, c.Plan.Net-c.ForGood.Net, 9) || c.Plan.Net < best-0.5 {
			t.Errorf("%d messages: %+v, the best ask for good brings %.2f", tt.messages, got, best)
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

// What to take stands first, the others best first; waiting is among them,
// nothing raises the ask, and cause, move and plan say one thing.
func TestReviewLaws(t *testing.T) {
	PlaysForLong(t)
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
		checkVerdict(t, &got, l.Asks[0].Amount, s)
		if got.State == StateFresh {
			return
		}
		waits := slices.ContainsFunc(got.Remedies, func(r Remedy) bool { return r.Action == ActionWait && r.Gain >= -1e-9 })
		if !waits || got.Action != ActionCheck && got.Remedies[0].Action != got.Action {
			t.Fatalf("%s is to be taken, told %+v", got.Action, got.Remedies)
		}
		for i, r := range got.Remedies {
			if i > 1 && r.ExpectedNet > got.Remedies[i-1].ExpectedNet {
				t.Errorf("%s is better than what stands before it", r.Action)
			}
			if r.Action == ActionReprice && r.Ask >= l.Asks[0].Amount {
				t.Errorf("lowers %g to %g", l.Asks[0].Amount, r.Ask)
			}
			if r.ChanceBetterThanWaiting < 0 || r.ChanceBetterThanWaiting > 1 {
				t.Errorf("%+v", r)
			}
		}
	})
}

// checkVerdict holds a review to what all reviews keep.
func checkVerdict(t interface{ Errorf(string, ...any) }, r *Review, ask float64, s Settings) {
	due := r.Due && r.Action != ActionCheck
	byMove := r.Reason == CausePrice || r.Reason == CauseDemand
	if due && r.Action == ActionReprice && !byMove || !due && byMove {
		t.Errorf("%s is due %v, because of %s", r.Action, r.Due, r.Reason)
	}
	if r.Action == ActionReprice && r.SalePrice != nil && r.NextAsk < r.SalePrice.Likely && r.Reason != CauseDemand {
		t.Errorf("a drop to %g, below the likely %g, because of %s", r.NextAsk, r.SalePrice.Likely, r.Reason)
	}
	if r.Action == ActionCheck && r.Reason != CauseExposure && r.Reason != CauseLook {
		t.Errorf("checks because of %s", r.Reason)
	}
	if r.State == StateStale && (!r.Due || r.ActiveDays < 14 || r.Gain < 0.8*s.FlagGain*ask || r.Odds < flagOdds-0.1 || r.Refusal != nil) {
		t.Errorf("flagged without ground: %+v", r)
	}
	if r.State == StateFresh && r.Remedies != nil || r.State != StateStale && r.Clear {
		t.Errorf("a %s one, clear %v, with moves %+v", r.State, r.Clear, r.Remedies)
	}
	if r.Gain < -1e-6 || r.WaitingCosts < 0 {
		t.Errorf("gain %g, waiting costs %g", r.Gain, r.WaitingCosts)
	}
	for i, step := range r.Plan.Steps {
		if step.Ask > ask || i > 0 && step.Ask >= r.Plan.Steps[i-1].Ask {
			t.Errorf("the plan rises: %+v", r.Plan.Steps)
		}
	}
	if n := len(r.Plan.Steps); r.NextAsk == 0 && n > 1 || r.NextAsk > 0 && (r.NextAsk >= ask || r.NextStepOn == 0) {
		t.Errorf("next %g on %v of %+v", r.NextAsk, r.NextStepOn, r.Plan.Steps)
	}
}

// A plan that was told holds: the next day, and after one more message, it says
// the same, unless another one is worth an inertia more.
func TestAPlanThatWasToldHolds(t *testing.T) {
	m := Fit(syntheticMarket(150, 31), today)
	s := DefaultSettings()
	asked, changed := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		l := openListing(t)
		told := m.Review(Standing{Listing: l}, today, s)
		st := Standing{Listing: l, Kept: &told.Kept}
		if again := m.Review(st, today, s); again.NextStepOn != told.NextStepOn || again.NextAsk != told.NextAsk || again.State != told.State {
			t.Fatalf("asked again: %v %g, %s, before %v %g, %s", again.NextStepOn, again.NextAsk, again.State, told.NextStepOn, told.NextAsk, told.State)
		}
		st.Listing.Messages = append(slices.Clone(l.Messages), Reading{today + 1, l.Messages[0].Count + 1})
		later := m.Review(st, today+1, s)
		asked++
		same := later.NextAsk == told.NextAsk && (later.NextStepOn == told.NextStepOn || told.NextAsk == 0)
		if !ofThePlan(told) || !ofThePlan(later) || same {
			return
		}
		changed++
		o := m.position(Query{Attributes: l.Attributes, Estimate: l.Estimate, Standing: &st}, today+1, s)
		if c := o.course(st, l.Asks[0].Amount, today+1, s); !c.Changed {
			t.Errorf("from %v %g to %v %g by one message", told.NextStepOn, told.NextAsk, later.NextStepOn, later.NextAsk)
		}
	})
	if changed > asked/20 {
		t.Errorf("%d of %d plans changed by one message", changed, asked)
	}
}

func ofThePlan(r Review) bool { return r.Action == ActionWait || r.Action == ActionReprice }

// Listed at the suggested ask, its review has nothing against it, and the
// suggestion stays.
func TestASuggestionThatIsFollowedIsNotArguedWith(t *testing.T) {
	PlaysForLong(t)
	m := Fit(syntheticMarket(300, 32), today)
	s := DefaultSettings()
	rng := rand.New(rand.NewPCG(4, 4))
	for i := range 60 {
		l := syntheticListing(rng, "new")
		first := m.Suggest(Query{Attributes: l.Attributes}, today, s, nil)
		if first.Refusal != nil {
			continue
		}
		listed := Listing{ID: "new", Attributes: l.Attributes, ListedOn: today, Asks: []Ask{{today, first.Ask}}, PricedFromSuggestion: i%2 == 0}
		for after := range 21 {
			st := Standing{Listing: listed}
			day := today + Date(after)
			r := m.Review(st, day, s)
			if r.State == StateStale || r.Due || r.NextStepOn != 0 && r.NextStepOn < today+21 {
				t.Errorf("%d days after it was suggested: %s, %s on %v", after, r.State, r.Action, r.NextStepOn)
			}
			again := m.Suggest(Query{Attributes: l.Attributes, Standing: &st}, day, s, nil)
			if again.Ask != first.Ask {
				t.Errorf("%d days after %g was suggested and asked: %g", after, first.Ask, again.Ask)
			}
		}
	}
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
		{"just before the first step", dear(20), StateFresh},
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
	old := func(l Listing, ask float64) Listing {
		l.ListedOn, l.Asks[0] = today-70, Ask{today - 70, ask}
		return l
	}
	s := DefaultSettings()
	s.HoldingRate = 0.007
	for _, tt := range []struct {
		name, cause, action string
		l                   Listing
		done                map[string]Date
	}{
		{"too dear, and many write", CausePrice, ActionReprice, old(at([]Reading{{today, 4}}, 700), 1000), nil},
		{"fair, and some write", CauseDemand, ActionReprice, old(at([]Reading{{today, 14}}, 700), 440), nil},
		{"few messages of many who saw it", CauseLook, ActionCheck, old(at([]Reading{{today, 0}}, 700), 700), nil},
		{"few saw it", CauseExposure, ActionCheck, old(at([]Reading{{today, 0}}, 70), 700), nil},
		{"few messages, all checks done", CauseDemand, ActionReprice, old(at([]Reading{{today, 0}}, 700), 450), allChecked},
		{"three days, messages unknown", CauseLuck, ActionWait, young, nil},
	} {
		got := m.Review(Standing{Listing: tt.l, Done: tt.done}, today, s)
		if got.Reason != tt.cause || got.Action != tt.action {
			t.Errorf("%s: %s because of %s, want %s because of %s (usual %g, likely %v)", tt.name, got.Action, got.Reason, tt.action, tt.cause, got.MessagesUsual, got.SalePrice)
		}
	}
}

// Cheap checks come before the drop, which follows on its day.
func TestChecksComeFirstAndTheDropOnItsDay(t *testing.T) {
	m := Fit(syntheticMarket(300, 24), today)
	l := Listing{ID: "a", Attributes: probes[1], ListedOn: today - 70, Estimate: 600, Asks: []Ask{{today - 70, 700}}, Messages: []Reading{{today, 0}}}
	first := m.Review(Standing{Listing: l}, today, DefaultSettings())
	if first.Action != ActionCheck || first.NextStepOn != today || first.Checks[0].On != today || first.Plan.Steps[1].On != today+checkDays {
		t.Fatalf("%+v", first)
	}
	for after, want := range map[Date]string{3: ActionCheck, checkDays - 1: ActionCheck, checkDays: ActionReprice, checkDays + 5: ActionReprice} {
		got := m.Review(Standing{Listing: l, Kept: &first.Kept}, today+after, DefaultSettings())
		if got.Action != want || want == ActionReprice && (got.Reason != CausePrice && got.Reason != CauseDemand || got.NextStepOn != today+checkDays) {
			t.Errorf("%d days later: %s because of %s on %v", after, got.Action, got.Reason, got.NextStepOn)
		}
	}
	waits := m.Review(Standing{Listing: l, Kept: &first.Kept, Done: allChecked}, today+3, DefaultSettings())
	if waits.Action != ActionWait || waits.NextStepOn != today+checkDays || waits.NextAsk == 0 || waits.Checks[0].DoneOn == 0 {
		t.Errorf("when all are done: %+v", waits)
	}
}

// A new finish does not forgive a slow piece: its demand stays by what earlier
// listings showed. Its clock is its own.
func TestEarlierListingsCountAsDemandAlone(t *testing.T) {
	m := Fit(syntheticMarket(200, 25), today)
	l := unsold(1)
	earlier := l
	earlier.ID, earlier.ListedOn = "before", today-200
	earlier.Asks = []Ask{{today - 200, 300}}
	earlier.Outcome, earlier.EndedOn = Withdrawn, today-120
	earlier.Messages = []Reading{{today - 120, 0}}
	alone := m.Review(Standing{Listing: l}, today, DefaultSettings())
	both := m.Review(Standing{Listing: l, Earlier: []Listing{earlier}}, today, DefaultSettings())
	if both.Demand >= alone.Demand || both.ChanceSoldByNow != alone.ChanceSoldByNow || both.ActiveDays != alone.ActiveDays || both.MessagesUsual != alone.MessagesUsual {
		t.Errorf("with 80 unsold days before: %+v; alone %+v", both, alone)
	}
	if both.Listings != 2 || both.DaysInAll != alone.ActiveDays+80 || alone.Listings != 1 || alone.DaysInAll != alone.ActiveDays {
		t.Errorf("%d listings in %d days; alone %d in %d", both.Listings, both.DaysInAll, alone.Listings, alone.DaysInAll)
	}
}

// The suggestion for an open listing and its review tell one plan, unless it asks
// for more.
func TestSuggestionAndReviewAgree(t *testing.T) {
	m := Fit(syntheticMarket(200, 26), today)
	rapid.Check(t, func(t *rapid.T) {
		l := openListing(t)
		st := Standing{Listing: l}
		if rapid.Bool().Draw(t, "told before") {
			st.Kept = ref(m.Review(st, today, DefaultSettings()).Kept)
		}
		s := m.Suggest(Query{Attributes: l.Attributes, Estimate: l.Estimate, Standing: &st}, today, DefaultSettings(), nil)
		r := m.Review(st, today, DefaultSettings())
		if s.Ask > l.Asks[0].Amount && l.ActiveDays(today) < 21 {
			return
		}
		if r.Action != ActionCheck && r.Kept.Checked == 0 && !reflect.DeepEqual(s.Plan, r.Plan) {
			t.Errorf("the suggestion plans %+v, the review %+v", s.Plan, r.Plan)
		}
	})
}
