package pricing

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/internal/probe"
)

// independentPlanNet is what a path of asks brings, stretch by stretch.
func independentPlanNet(x onMarket, steps []Step) float64 {
	left, sum, salvage, end := 1.0, 0.0, x.salvage, x.horizon
	at := x
	at.salvage = 0
	for i, step := range steps {
		to := end
		if i+1 < len(steps) {
			to = float64(steps[i+1].FromDay)
		}
		at.ask, at.horizon = step.Ask, to-float64(step.FromDay)
		sum += left * independentNet(at)
		stays := at.survival(at.horizon)
		left *= stays
		at.r *= math.Pow(stays, -1/at.k) // (1 + H/r)^−k = S
		at.age += at.horizon
	}
	return sum + left*salvage
}

// From the general assumptions, on the listing of TestReviewFromPriors: waiting is
// worth what its plan brings by Simpson's rule on quarter days. In cash, 5 % fee
// off, that is the lowest amount to take.
func TestLowestToTakeByHand(t *testing.T) {
	m, s := Fit(History{}, today), checkSettings()
	for messages, k := range map[int]float64{0: 2, 8: 4} { // 2 + C/4
		st := Standing{Listing: unsold(messages), Done: allChecked}
		got := m.Advise(st, Offer{Amount: 150, TurnsUp: 1}, today, s)
		x := onMarket{typical: 300, age: 45, k: k, r: 2 + 1.247879 + 9.983033/4, holding: 1.5, salvage: 45, fee: 0.05, negotiation: 0.95, horizon: 180}
		plan := m.Review(st, today, s).Plan
		by := independentPlanNet(x, plan.Steps)
		if got.Refusal != nil || got.WaitAsk != plan.Steps[0].Ask || math.Abs(got.WaitNet-by) > 0.1 || math.Abs(got.Lowest[0].Amount-got.WaitNet/0.95) > 1e-9 {
			t.Errorf("%d messages: waits for %g with %g, lowest %v, by Simpson's rule %g", messages, got.WaitAsk, got.WaitNet, got.Lowest, by)
		}
		if got.TakeNet != 0.95*150 || got.LowestLike != got.Lowest[0].Amount || got.SayBack != PricePoint(0.95*300) {
			t.Errorf("taking 150: %+v", got)
		}
		// After 30 more days at 300 that much more hazard, an age of 75 days, and
		// still the time for a step.
		later := x
		later.ask, later.age = 300, 45
		later.r *= math.Pow(later.survival(30), -1/k)
		later.age = 75
		o := m.position(Query{Attributes: st.Listing.Attributes, Estimate: 300, Standing: &st}, today, s).later(300, 30)
		c := o.courseFrom(nil, 300, -1, s)
		if best := independentPlanNet(later, o.dated(c.Plan).Steps); math.Abs(got.Lowest[3].Amount-best/0.95) > 0.2 {
			t.Errorf("%d messages, in 30 days: %+v, by Simpson's rule %g", messages, got.Lowest[3], best/0.95)
		}
	}
}

// The promise of a buyer who turns up in six of ten cases, in five days, with a
// deposit of 20: 0.6 · 0.95 · 200 + 0.4 · (20 + waiting) − 5 · 1.5.
func TestPromiseByHand(t *testing.T) {
	m, s := Fit(History{}, today), checkSettings()
	offer := Offer{Amount: 200, Days: 5, TurnsUp: 0.6, Deposit: 20}
	got := m.Advise(Standing{Listing: unsold(0)}, offer, today, s)
	if want := 0.6*0.95*200 + 0.4*(20+got.WaitNet) - 7.5; !probe.Near(got.TakeNet, want, 2) {
		t.Errorf("taking: %g, want %g", got.TakeNet, want)
	}
	offer.Amount = got.LowestLike
	if at := m.Advise(Standing{Listing: unsold(0)}, offer, today, s); math.Abs(at.TakeNet-at.WaitNet) > 1e-9 {
		t.Errorf("at the lowest such offer, taking is worth %g, waiting %g", at.TakeNet, at.WaitNet)
	}
	// Cash at the door beats the same amount promised.
	if cash := m.Advise(Standing{Listing: unsold(0)}, Offer{Amount: 200, TurnsUp: 1}, today, s); cash.TakeNet <= got.TakeNet || !cash.LastWord {
		t.Errorf("cash: %+v", cash)
	}
}

func TestOfferActions(t *testing.T) {
	m, s := Fit(History{}, today), checkSettings()
	fresh := unsold(0)
	fresh.ListedOn, fresh.Asks[0].On = today-1, today-1
	flooded := fresh
	flooded.Messages = []Reading{{today, 9}}
	for _, tt := range []struct {
		name  string
		l     Listing
		offer Offer
		want  string
	}{
		{"the ask in cash", fresh, Offer{Amount: 300, TurnsUp: 1}, OfferTake},
		{"a little less", fresh, Offer{Amount: 285, TurnsUp: 1}, OfferTake},
		{"much less, but more than waiting brings", fresh, Offer{Amount: 240, TurnsUp: 1}, OfferCounter},
		{"far too little on a new post", fresh, Offer{Amount: 120, TurnsUp: 1}, OfferCounter},
		{"a little less while messages pour in", flooded, Offer{Amount: 285, TurnsUp: 1}, OfferCounter},
		{"the ask while messages pour in", flooded, Offer{Amount: 300, TurnsUp: 1}, OfferTake},
		{"a vague promise for weeks ahead", fresh, Offer{Amount: 300, TurnsUp: 0.3, Days: 60}, OfferWait},
		{"a poor offer on a slow piece", unsold(0), Offer{Amount: 60, TurnsUp: 1}, OfferCounter},
	} {
		got := m.Advise(Standing{Listing: tt.l}, tt.offer, today, s)
		if got.Action != tt.want || (got.Action == OfferCounter) != (got.Counter != nil) {
			t.Errorf("%s: %+v", tt.name, got)
		}
		if got.LastWord != (tt.offer.Amount == 240) {
			t.Errorf("%s: as the last word %t", tt.name, got.LastWord)
		}
		if tt.l.Messages[0].Count == 9 && tt.offer.Amount < 300 && (!got.Flooded || *got.Counter != 300) {
			t.Errorf("%s: %+v", tt.name, got)
		}
	}
	none := fresh
	none.Asks, none.Estimate = nil, 0
	if got := m.Advise(Standing{Listing: none}, Offer{Amount: 100, TurnsUp: 1}, today, s); got.Refusal == nil || got.Action != "" {
		t.Errorf("without ask and sales: %+v", got)
	}
}

func TestOfferLaws(t *testing.T) {
	PlaysForLong(t)
	few, many := Fit(History{}, today), Fit(syntheticMarket(200, 51), today)
	s := purchaseSettings()
	rapid.Check(t, func(t *rapid.T) {
		l := openListing(t)
		st := Standing{Listing: l}
		ask := l.Asks[0].Amount
		offer := Offer{
			Amount: rapid.Float64Range(0.01, 1.5).Draw(t, "share") * ask, Days: rapid.IntRange(0, 60).Draw(t, "days"),
			TurnsUp: rapid.Float64Range(0.05, 1).Draw(t, "turns up"), Deposit: rapid.Float64Range(0, 50).Draw(t, "deposit"),
		}
		for name, m := range map[string]*Model{"from an estimate": few, "from sales": many} {
			got := m.Advise(st, offer, today, s)
			if got.Refusal != nil {
				continue
			}
			for _, x := range []float64{got.TakeNet, got.WaitNet, got.LowestLike, got.ChanceBetter} {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					t.Fatalf("%s: %+v", name, got)
				}
			}
			if got.WaitAsk > ask || (got.Counter != nil && (*got.Counter > ask || *got.Counter <= math.Min(offer.Amount, ask-1e-9))) {
				t.Errorf("%s: ask %g, offer %g: counter %v, waiting at %g", name, ask, offer.Amount, got.Counter, got.WaitAsk)
			}
			// One belief: the review's own remedies at this look are not worth more.
			for _, r := range m.Review(st, today, s).Remedies {
				same := r.Action == ActionWait || r.Action == ActionReprice || r.Action == ActionWithdraw
				if same && r.ExpectedNet > got.WaitNet+0.002*ask {
					t.Errorf("%s: %s at %g brings %g in the review, waiting at %g %g here", name, r.Action, r.Ask, r.ExpectedNet, got.WaitAsk, got.WaitNet)
				}
			}
			if (got.Action == OfferTake || got.LastWord) != (got.TakeNet >= got.WaitNet) && !got.Flooded {
				t.Errorf("%s: %s, last word %t: taking brings %g, waiting %g", name, got.Action, got.LastWord, got.TakeNet, got.WaitNet)
			}
			if better := got.ChanceBetter; better < 0 || better > 1 {
				t.Errorf("%s: chance %g", name, better)
			}
			surer := offer
			surer.Amount *= 1.1
			if after := m.Advise(st, surer, today, s); after.TakeNet < got.TakeNet || after.ChanceBetter < got.ChanceBetter || (got.Action == OfferTake && after.TakeNet < after.WaitNet) {
				t.Errorf("%s: a better offer is judged worse: %+v, %+v", name, got, after)
			}
		}
		// Time without a sale lowers what a piece is worth to its seller, but while the
		// next step comes nearer it may rise a little, by less than half of a step (8 %):
		// under the general assumptions, which have no season and a pace that falls with age.
		got := few.Advise(st, offer, today, s)
		for i := 1; got.Refusal == nil && i < len(got.Lowest); i++ {
			if got.Lowest[i].Amount > got.Lowest[i-1].Amount*1.04 {
				t.Errorf("the lowest rises: %+v", got.Lowest)
			}
		}
	})
}

// By hand: of a Beta(3, 2) and seven kept promises of ten, (3 + 7) / (5 + 10).
func TestTurnUp(t *testing.T) {
	for _, tt := range []struct {
		deposit      bool
		kept, broken int
		want         float64
	}{{false, 0, 0, 0.6}, {false, 7, 3, 10.0 / 15}, {true, 0, 0, 0.9}, {true, 0, 5, 0.45}} {
		if got := TurnUp(tt.deposit, tt.kept, tt.broken); !probe.Near(got, tt.want, 12) {
			t.Errorf("deposit %t, %d kept, %d broken: %g, want %g", tt.deposit, tt.kept, tt.broken, got, tt.want)
		}
	}
}
