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
	stated, realized float64 // profit of those bought, the space paid
	informed         float64 // of one who knows what the same plan will bring, over all finds
}

// play asks about finds one after the other and buys those that are asked for no
// more than the limit; half of them are too dear.
func (pu *purchases) play(seed uint64, listings, finds int, knows bool) {
	m := newMarket(seed)
	day := pricing.NewDate(2026, 1, 1) + pricing.Date(m.rng.IntN(365))
	full, _ := m.history("p", listings, day, 730)
	model := pricing.Fit(pricing.Cut(full, day), day)
	b := newBazaar(m)
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
		pu.stated += got.AtSellerAsk.CashLeft - got.Costs.Holding
		pu.realized += net - asked
		e.Finished++
		e.Stated, e.Realized = e.Stated+got.SaleCash, e.Realized+net+got.Costs.Holding
	}
}

// measurePurchases buys by the limits, with the buyer's own price and without.
func measurePurchases(t *testing.T, e effort) []target {
	t.Helper()
	var ratio, share, ratioAlone, shareAlone []float64
	for _, listings := range sizesOf() {
		var told, untold purchases
		for seed := range e.markets {
			told.play(uint64(7000+seed), listings, e.finds, true)
			untold.play(uint64(7000+seed), listings, e.finds, false)
		}
		ratio, share = append(ratio, told.realized/math.Max(1, told.stated)), append(share, told.realized/told.informed)
		ratioAlone = append(ratioAlone, untold.realized/math.Max(1, untold.stated))
		shareAlone = append(shareAlone, untold.realized/untold.informed)
	}
	if ratio[0] < 0.7 || ratio[0] > 1.4 || share[0] < 0.5 {
		t.Errorf("of the stated profit %.2f came true, of the informed buyer's %.2f was earned", ratio[0], share[0])
	}
	aims := []float64{0.55, 0.65, 0.65}
	return []target{
		{
			measure:  "purchases with the buyer's own price: realized over stated profit; share of the profit of one who knows what the same plan will bring",
			measured: series("%.2f", ratio) + "; " + series("%.2f", share), aim: ".85–1.1; ≥ .55 / .65",
			met: all(ratio, func(_ int, v float64) bool { return v >= 0.85 && v <= 1.1 }) &&
				all(share, func(i int, v float64) bool { return v >= aims[i] }),
		},
		{
			measure:  "the same without it (no profit is stated below 50 sales, nothing is bought)",
			measured: series("%.2f", ratioAlone) + "; " + series("%.2f", shareAlone), aim: "none set", met: true,
		},
	}
}
