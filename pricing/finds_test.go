package pricing_test

import (
	"math"
	"testing"

	"askwright/pricing"
	"askwright/pricing/buying"
)

// bazaar is where pieces are found: their sellers ask some share of what a
// buyer would be left with, and see a part of what no description holds.
type bazaar struct {
	*market
	share, scatter float64 // of the net that is asked: log, and its spread
	sees           float64 // share of the hidden quality that is in the price
}

func newBazaar(m *market) *bazaar {
	r := m.rng
	return &bazaar{market: m, share: math.Log(0.6 + 0.6*r.Float64()), scatter: 0.3 + 0.3*r.Float64(), sees: 0.3 + 0.6*r.Float64()}
}

// purchases is what buying by the limits led to.
type purchases struct {
	markets, finds, bought int
	stated, realized       float64 // profit of those bought
	informed               float64 // of one who knows what the same plan will bring, over all finds
	saidLoss, trueLoss     float64
	aheadOfLimit           int
}

// findCosts are what a find costs beside its price.
type findCosts struct{ materials, hours, pickup float64 }

func (pu *purchases) play(seed uint64, listings, finds int, knows bool) {
	m := newMarket(seed)
	day := pricing.NewDate(2026, 1, 1) + pricing.Date(m.rng.IntN(365))
	full, _ := m.history("p", listings, day, 730)
	model := pricing.Fit(pricing.Cut(full, day), day)
	b := newBazaar(m)
	pu.markets++
	var e buying.Experience
	s := backtestSettings()
	for range finds {
		p := m.newPiece("find")
		c := m.trueCosts(p, day, s)
		q := buying.Query{Attributes: m.recorded(p)}
		own := m.opinion(p, day)
		if knows {
			q.OwnPrice = own
		}
		plan := model.Suggest(pricing.Query{Attributes: q.Attributes, Estimate: own}, day, s, nil).Plan
		if len(plan.Steps) == 0 {
			continue
		}
		net := m.follow(p, day, 0, plan.Steps, c).net
		seen := *p
		seen.hidden *= b.sees
		bestSeen := bestAsk(math.Exp(m.worth(&seen, day)), 0.5, 2, func(ask float64) float64 { return m.prospects(&seen, day, 0, ask, c).net })
		asked := math.Max(1, math.Round(bestSeen*math.Exp(b.share+b.scatter*m.rng.NormFloat64())))
		pu.finds++
		pu.informed += math.Max(0, net-asked)
		q.SellerAsk = &asked
		got := buying.NewLimit(model, q, day, s, e)
		if got.Refusal != nil || got.AtSellerAsk == nil {
			continue
		}
		e.Prices++
		x := buying.LogRatio(asked, got.Net)
		e.Logs, e.Squares, e.Variance = e.Logs+x, e.Squares+x*x, e.Variance+got.Variance
		if *got.MostToPay < asked {
			continue
		}
		pu.bought++
		pu.stated += got.AtSellerAsk.CashLeft - got.Costs.Holding
		pu.realized += net - asked
		e.Finished++
		e.Stated, e.Realized = e.Stated+got.SaleCash, e.Realized+net+got.Costs.Holding
		pu.saidLoss += got.AtSellerAsk.ChanceOfLoss
	}
}

func TestPurchaseTrial(t *testing.T) {
	for _, knows := range []bool{true, false} {
		for _, n := range []int{20, 100, 300} {
			var pu purchases
			for seed := range 12 {
				pu.play(uint64(7000+seed), n, 60, knows)
			}
			t.Logf("%v %d: finds %d bought %d stated %.0f realized %.0f ratio %.2f share %.2f", knows, n, pu.finds, pu.bought, pu.stated, pu.realized, pu.realized/pu.stated, pu.realized/pu.informed)
		}
	}
}
