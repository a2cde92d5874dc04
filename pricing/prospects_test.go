package pricing_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"askwright/pricing"
	"askwright/pricing/furniture"
)

// What is kept of a suggestion gives the suggestion's own figures back, at
// every ask of its curve, after a trip through JSON.
func TestOutlineIsTheSuggestion(t *testing.T) {
	t.Parallel()
	h, day := outlineHistory()
	m, s := pricing.Fit(h, day), pricing.DefaultSettings()
	open := h.Listings[0]
	open.ID, open.Piece, open.Outcome, open.EndedOn, open.SalePrice, open.ListedOn = "open", "open", pricing.Open, 0, 0, day-40
	open.Asks = []pricing.Ask{{On: day - 40, Amount: 420}}
	for name, q := range map[string]pricing.Query{
		"as described":     {Attributes: open.Attributes, WithinDays: 30},
		"with an estimate": {Attributes: open.Attributes, Estimate: 460, WithinDays: 45},
		"open for 40 days": {Attributes: open.Attributes, Estimate: 460, WithinDays: 30, Standing: &pricing.Standing{Listing: open}},
	} {
		want, got := m.Suggest(q, day, s, nil), m.Outline(q, day, s)
		if want.Refusal != nil {
			t.Fatalf("%s: refused: %s", name, want.Refusal.Detail)
		}
		if got.Ask() != want.Ask || got.AskForGood != want.AskForGood || *got.SalePrice != *want.SalePrice {
			t.Errorf("%s: outline %v %+v, want %v %+v", name, got.Ask(), *got.SalePrice, want.Ask, *want.SalePrice)
		}
		text, err := json.Marshal(got.Prospects)
		if err != nil {
			t.Fatal(err)
		}
		var kept pricing.Prospects
		if err := json.Unmarshal(text, &kept); err != nil {
			t.Fatal(err)
		}
		for _, p := range want.Curve {
			if c := kept.ChanceSold(p.Ask, kept.Age, float64(q.WithinDays)); math.Abs(c-p.ChanceSold) > 1e-12 {
				t.Errorf("%s: chance at %v is %v, want %v", name, p.Ask, c, p.ChanceSold)
			}
		}
	}
	if none := pricing.Fit(pricing.History{}, day).Outline(pricing.Query{Attributes: open.Attributes}, day, s); none.SalePrice != nil || none.Ask() != 0 || none.Prospects != nil {
		t.Errorf("without sales: %+v, want nothing", none)
	}
}

// By that day half are sold, and on the day before they are not; a new listing
// is at its beginning whatever the age of the one at hand.
func TestHalfSoldBy(t *testing.T) {
	t.Parallel()
	h, day := outlineHistory()
	m, s := pricing.Fit(h, day), pricing.DefaultSettings()
	q := pricing.Query{Attributes: h.Listings[0].Attributes}
	p := m.Outline(q, day, s).Prospects
	for ask := 0.4 * p.Typical; ask < 3*p.Typical; ask *= 1.1 {
		days := p.HalfSoldBy(ask)
		if days == nil {
			if c := p.ChanceSold(ask, 0, float64(s.HorizonDays)); c >= 0.5 {
				t.Errorf("at %v: none, with a chance of %v within the horizon", ask, c)
			}
			continue
		}
		if at, before := p.ChanceSold(ask, 0, float64(*days)), p.ChanceSold(ask, 0, float64(*days-1)); at < 0.5 || (*days > 1 && before >= 0.5) {
			t.Errorf("at %v: day %d, with chances of %v then and %v before", ask, *days, at, before)
		}
	}
	if p.HalfSoldBy(0.5*p.Typical) == nil || p.HalfSoldBy(5*p.Typical) != nil || p.HalfSoldBy(0) != nil {
		t.Error("half are sold at five times the value, or at no ask, or not at half of it")
	}
	older := *p
	older.Age, older.On = 25, p.On+25
	if got, want := *older.HalfSoldBy(p.Typical), *p.HalfSoldBy(p.Typical); got != want {
		t.Errorf("at another age: day %d, want %d", got, want)
	}
}

// Hindsight agrees with simulated markets: over many listings at one ask with
// gamma demand of their own, what they left and what hindsight says of that
// same ask have one mean, and of another ask hindsight has the mean of what the
// same pieces bring there.
func TestHindsightIsRightOnAverage(t *testing.T) {
	t.Parallel()
	p := pricing.Prospects{
		Typical: 400, Pace: math.Log(1.0 / 40), Gamma: 5, Eta: [4]float64{0.4, 0.1, 0, -0.2}, Shape: 2, Rate: 2,
		Negotiation: 0.95, Fee: 0.05, Holding: 0.8, Salvage: 60, Horizon: 180,
	}
	rng := rand.New(rand.NewPCG(7, 11))
	const used, other, n = 440.0, 380.0, 40_000
	start := pricing.NewDate(2025, time.January, 1)
	simulate := func(z, ask float64) pricing.Listing {
		l := pricing.Listing{ListedOn: start, Asks: []pricing.Ask{{On: start, Amount: ask}}, Outcome: pricing.Withdrawn, EndedOn: start + 180}
		rate := z * math.Exp(p.Pace) * math.Pow(ask/p.Typical, -p.Gamma)
		left := rng.ExpFloat64()
		for age := range 180 {
			left -= rate * math.Exp(p.Eta[sum(age >= 7, age >= 21, age >= 60)])
			if left <= 0 {
				l.Outcome, l.EndedOn, l.SalePrice = pricing.Sold, start+pricing.Date(age+1), p.Negotiation*ask
				break
			}
		}
		return l
	}
	var left, same, there, elsewhere float64
	for range n {
		z := (rng.ExpFloat64() + rng.ExpFloat64()) / 2 // gamma with shape and rate 2
		l := simulate(z, used)
		left, same = left+p.Left(l)/n, same+p.Hindsight(l, used)/n
		there, elsewhere = there+p.Left(simulate(z, other))/n, elsewhere+p.Hindsight(l, other)/n
	}
	if math.Abs(left-same) > 0.01*left || math.Abs(there-elsewhere) > 0.01*there {
		t.Errorf("left %.1f, hindsight %.1f; at the other ask %.1f, hindsight %.1f", left, same, there, elsewhere)
	}
}

func sum(is ...bool) (n int) {
	for _, b := range is {
		if b {
			n++
		}
	}
	return n
}

// outlineHistory is thirty sideboards, sold at 90 to 98 % of their asks.
func outlineHistory() (pricing.History, pricing.Date) {
	var h pricing.History
	first := pricing.NewDate(2025, 1, 6)
	for i := range 30 {
		id := string(rune('a' + i))
		ask := 380 + 10*float64(i%9)
		listed := first + pricing.Date(9*i)
		h.Listings = append(h.Listings, pricing.Listing{
			ID: id, Piece: id, Attributes: furniture.Attributes{Category: "sideboard", Width: 150, Depth: 45, Height: 80, Condition: 3 + i%3},
			ListedOn: listed, Asks: []pricing.Ask{{On: listed, Amount: ask}}, Outcome: pricing.Sold, EndedOn: listed + pricing.Date(5+i%40),
			SalePrice: ask * (0.9 + 0.02*float64(i%5)),
		})
	}
	return h, first + 330
}
