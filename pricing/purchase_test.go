package pricing

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/furniture"
	"askwright/pricing/internal/probe"
	"askwright/pricing/internal/reference"
	"askwright/pricing/refinish"
)

func purchaseSettings() Settings {
	s := DefaultSettings()
	s.HourValue, s.FeeRate = 18, 0.05
	return s
}

func TestPurchaseLimitAddsUp(t *testing.T) {
	m := Fit(syntheticMarket(300, 41), today)
	s := purchaseSettings()
	q := PurchaseQuery{Attributes: probes[1], Materials: 30, Hours: 6, Transport: 20, Other: 5, DaysOut: 14, Price: ref(60.0)}
	got := m.PurchaseLimits(q, today, s)
	if got.Refusal != nil {
		t.Fatal(got.Refusal)
	}
	o := m.outlook(q.Attributes, today+14, m.fitFor(q.Attributes, 0, today, s), 0, s)
	_, net := o.best(candidates(o.typical, 0), o.holding)
	breakEven := net - 30 - 6*18 - 20 - 5 - 14*o.holding
	reference.WantRel(t, "break-even", *got.BreakEven, breakEven, 1e-12)
	reference.WantRel(t, "at likely", *got.AtLikely, breakEven/2, 1e-12)
	reference.WantRel(t, "expected profit", got.AtPrice.ExpectedProfit, breakEven-60, 1e-12)
	reference.WantRel(t, "profit per hour", *got.AtPrice.ProfitPerHour, (breakEven-60+6*18)/6, 1e-12)
	reference.WantRel(t, "a third of the sale less costs (common practice, no source)", *got.RuleOfThird, got.LikelySale/3-50, 1e-12)
	// The costs and the expected sale must add up to the net: salvage aside, which
	// comes with the chance of no sale.
	sold := o.sold(got.Ask, o.horizon)
	sum := got.LikelySale*sold + o.salvage*(1-sold) - got.Costs.Fees - got.Costs.Holding - got.Costs.Materials - got.Costs.Labor - got.Costs.Transport - got.Costs.Other
	reference.WantRel(t, "sale less all costs", sum, breakEven, 1e-9)
}

func TestPurchaseTargets(t *testing.T) {
	m := Fit(syntheticMarket(300, 41), today)
	s := purchaseSettings()
	q := PurchaseQuery{Attributes: probes[1], Hours: 6}
	limit := func(target Target) PurchaseLimit {
		q.Target = target
		return m.PurchaseLimits(q, today, s)
	}
	if got := limit(Target{Profit: 80}); !probe.Near(*got.BreakEven-*got.AtLikely, 80, 9) {
		t.Errorf("profit of 80: break-even %g, at likely %g", *got.BreakEven, *got.AtLikely)
	}
	if got := limit(Target{Hourly: 25}); !probe.Near(*got.BreakEven-*got.AtLikely, 6*(25-18), 9) {
		t.Errorf("25 an hour: break-even %g, at likely %g", *got.BreakEven, *got.AtLikely)
	}
	if got := limit(Target{MarginPercent: 20}); !probe.Near(*got.BreakEven-*got.AtLikely, 0.2*0.95*got.LikelySale, 9) {
		t.Errorf("margin of 20 %%: break-even %g, at likely %g", *got.BreakEven, *got.AtLikely)
	}
	s.MinimumProfit = 1000
	if got := limit(Target{}); !probe.Near(*got.BreakEven-*got.AtLikely, 1000, 9) {
		t.Errorf("minimum profit of 1000: break-even %g, at likely %g", *got.BreakEven, *got.AtLikely)
	}
}

func TestPurchaseRefusals(t *testing.T) {
	few, many := Fit(syntheticMarket(3, 42), today), Fit(syntheticMarket(100, 42), today)
	noHour := DefaultSettings()
	for _, tt := range []struct {
		name   string
		m      *Model
		q      PurchaseQuery
		s      Settings
		reason string
	}{
		{"few sales", few, PurchaseQuery{Attributes: probes[1]}, purchaseSettings(), TooFewSales},
		{"unseen category", many, PurchaseQuery{Attributes: furniture.Attributes{Category: "harmonium"}}, purchaseSettings(), IntervalTooWide},
		{"no hourly value", many, PurchaseQuery{Attributes: probes[1], Hours: 3}, noHour, HourValueUnknown},
	} {
		got := tt.m.PurchaseLimits(tt.q, today, tt.s)
		if got.Refusal == nil || got.Refusal.Reason != tt.reason || got.MostToPay != nil {
			t.Errorf("%s: %+v", tt.name, got)
		}
	}
	// With an estimate there are figures even so, but no cautious one.
	got := few.PurchaseLimits(PurchaseQuery{Attributes: probes[1], Estimate: 500}, today, purchaseSettings())
	if got.Refusal == nil || got.MostToPay != nil || got.AtLikely == nil || got.BreakEven == nil {
		t.Errorf("few sales, an estimate: %+v", got)
	}
}

func TestPurchaseLaws(t *testing.T) {
	m := Fit(syntheticMarket(200, 43), today)
	rapid.Check(t, func(t *rapid.T) {
		q := PurchaseQuery{Attributes: drawQuery(t).Attributes, Hours: rapid.Float64Range(0, 20).Draw(t, "hours"), Price: ref(rapid.Float64Range(0, 500).Draw(t, "price"))}
		got := m.PurchaseLimits(q, today, purchaseSettings())
		if got.Refusal != nil {
			return
		}
		if *got.MostToPay > *got.AtLikely {
			t.Errorf("cautious %g above likely %g", *got.MostToPay, *got.AtLikely)
		}
		if *got.BreakEven > 0 && *got.AtLikely > *got.BreakEven {
			t.Errorf("at likely %g above break-even %g", *got.AtLikely, *got.BreakEven)
		}
		if got.WalkAway != nil && (*got.Offer > *got.WalkAway || *got.WalkAway > *got.MostToPay || *got.Offer > *q.Price) {
			t.Errorf("offer %g, asked %g, walk away %g, most to pay %g", *got.Offer, *q.Price, *got.WalkAway, *got.MostToPay)
		}
		dearer := q
		dearer.Price = ref(*q.Price*1.2 + 1)
		loss, after := *got.AtPrice.ChanceOfLoss, *m.PurchaseLimits(dearer, today, purchaseSettings()).AtPrice.ChanceOfLoss
		if after < loss || !(loss >= 0 && after <= 1) {
			t.Errorf("chance of loss %g at %g, %g at %g", loss, *q.Price, after, *dearer.Price)
		}
		for name, add := range map[string]func(q *PurchaseQuery, by float64){
			"materials": func(q *PurchaseQuery, by float64) { q.Materials += by }, "hours": func(q *PurchaseQuery, by float64) { q.Hours += by },
			"transport": func(q *PurchaseQuery, by float64) { q.Transport += by }, "other": func(q *PurchaseQuery, by float64) { q.Other += by },
		} {
			more := q
			add(&more, rapid.Float64Range(0, 1e6).Draw(t, name))
			if after := m.PurchaseLimits(more, today, purchaseSettings()); !(*after.MostToPay <= *got.MostToPay) || !(*after.BreakEven <= *got.BreakEven) {
				t.Errorf("more %s raise the limit from %g to %g", name, *got.MostToPay, *after.MostToPay)
			}
		}
	})
}

// Paying more than any sale can bring is a sure loss.
func TestSureLoss(t *testing.T) {
	m := Fit(syntheticMarket(200, 43), today)
	got := m.PurchaseLimits(PurchaseQuery{Attributes: probes[1], Price: ref(5000.0)}, today, purchaseSettings())
	if p := got.AtPrice; *p.ChanceOfLoss != 1 || !(p.ExpectedProfit < 0) {
		t.Errorf("chance of loss %g, expected profit %g", *p.ChanceOfLoss, p.ExpectedProfit)
	}
}

// Worked by hand from the general assumptions alone: an estimate of 300, 1.50 a
// day of holding, 15 % salvage, a fee of 5 %. The best net is 183.41 at an ask
// of 250 (ask_test.go), here once more by Simpson's rule on
// quarter days instead of the engine's grid. Materials of 30, six hours at 18,
// transport of 20 and ten days before listing leave 183.41 − 30 − 108 − 20 − 15.
func TestPurchaseByHand(t *testing.T) {
	s := purchaseSettings()
	s.HoldingRate = 0.005
	q := PurchaseQuery{Attributes: probes[1], Estimate: 300, Materials: 30, Hours: 6, Transport: 20, DaysOut: 10, Price: ref(5.0)}
	got := Fit(History{}, today).PurchaseLimits(q, today, s)
	if got.BreakEven == nil || got.AtPrice == nil || got.AtPrice.ChanceOfLoss != nil || got.WalkAway != nil {
		t.Fatalf("from an estimate: %+v", got)
	}
	if got.Ask != 250 || math.Abs(*got.BreakEven-(183.41-30-108-20-15)) > 0.01 {
		t.Errorf("ask %g, break-even %g, want 250 and 10.41", got.Ask, *got.BreakEven)
	}
	byRule := independentNet(onMarket{typical: 300, ask: 250, k: 2, r: 2, holding: 1.5, salvage: 45, fee: 0.05, negotiation: 0.95, horizon: 180})
	if math.Abs(byRule-183.41) > 0.5 {
		t.Errorf("net by Simpson's rule %g, want 183.41", byRule)
	}
	reference.WantRel(t, "profit", got.AtPrice.ExpectedProfit, *got.BreakEven-5, 1e-12)
	reference.WantRel(t, "a third of the sale less costs (common practice, no source)", *got.RuleOfThird, 0.95*250/3-50, 1e-12)
}

// onMarket is a piece at an ask under the general assumptions.
type onMarket struct {
	typical, ask, age, k, r            float64
	holding, salvage, fee, negotiation float64
	horizon                            float64
}

// survival is S(t) from the formula itself: the pace is 1/40 a
// day at the typical ask, times (ask/typical)^−5, and e^0.4, e^0.1, 1, e^−0.2 by
// the ages 7, 21 and 60.
func (x onMarket) survival(t float64) float64 {
	pace := math.Pow(x.ask/x.typical, -5) / 40
	edges, rates := []float64{0, 7, 21, 60, math.Inf(1)}, []float64{math.Exp(0.4), math.Exp(0.1), 1, math.Exp(-0.2)}
	sum := 0.0
	for i, rate := range rates {
		sum += rate * math.Max(0, math.Min(edges[i+1], x.age+t)-math.Max(edges[i], x.age))
	}
	return math.Pow(1+pace*sum/x.r, -x.k)
}

// independentNet is the net of an ask by Simpson's rule on quarter days.
func independentNet(x onMarket) float64 {
	const step = 0.25
	n := int(x.horizon/step/2) * 2
	sum := x.survival(0) + x.survival(x.horizon)
	for i := 1; i < n; i++ {
		weight := 2.0
		if i%2 == 1 {
			weight = 4
		}
		sum += weight * x.survival(float64(i)*x.horizon/float64(n))
	}
	left := x.survival(x.horizon)
	return (1-x.fee)*x.negotiation*x.ask*(1-left) + x.salvage*left - x.holding*sum*x.horizon/float64(n)/3
}

// The chance of loss by another way: the predictive distribution of the value
// integrated over a thousand quantiles, and the sale within the time that the
// profit lasts from the formula itself.
func TestChanceOfLossByIntegration(t *testing.T) {
	m := Fit(syntheticMarket(300, 41), today)
	s := purchaseSettings()
	q := PurchaseQuery{Attributes: probes[1], Hours: 6, Price: ref(120.0)}
	got := m.PurchaseLimits(q, today, s)
	if got.AtPrice == nil {
		t.Fatal(got.Refusal)
	}
	o := m.outlook(q.Attributes, today, m.fitFor(q.Attributes, 0, today, s), 0, s)
	p := m.value.predict(m.value.describe(q.Attributes, today))
	margin := 0.95*o.negotiation*got.Ask - 6*18 - 120
	days := math.Min(o.horizon, margin/o.holding)
	sum := 0.0
	const n = 1000
	for i := range n {
		f := p.f + p.scale*m.value.Quantile((float64(i)+0.5)/n)
		pace := math.Exp(m.rates.Sale.base(levelsOf(q.Attributes), math.Log(got.Ask), f+m.rates.Opening, 0))
		sum += math.Pow(1+pace*o.ahead(days)/2, -2) / n
	}
	if margin <= 0 || math.Abs(*got.AtPrice.ChanceOfLoss-sum) > 0.005 {
		t.Errorf("chance of loss %g, by integration %g, margin %g", *got.AtPrice.ChanceOfLoss, sum, margin)
	}
}

func TestSensitivityIsSortedAndTrue(t *testing.T) {
	m := Fit(syntheticMarket(300, 41), today)
	s := purchaseSettings()
	q := PurchaseQuery{Attributes: probes[1], Materials: 30, Hours: 6, Transport: 20}
	q.Condition = 3
	got := m.PurchaseLimits(q, today, s)
	names := map[string]float64{}
	for i, line := range got.Sensitivity {
		names[line.Input] = line.Difference
		reference.WantRel(t, line.Input, line.MostToPay, *got.MostToPay+line.Difference, 1e-9)
		if i > 0 && math.Abs(line.Difference) > math.Abs(got.Sensitivity[i-1].Difference) {
			t.Errorf("%s is out of order", line.Input)
		}
	}
	for _, name := range []string{"sale_price", "condition", "size", "hours", "materials", "transport", "days_out"} {
		if d, ok := names[name]; !ok || !(d < 0) {
			t.Errorf("%s: %g, want less", name, d)
		}
	}
	if _, ok := names["other"]; ok {
		t.Error("a cost of nothing is made a quarter more")
	}
	q.Hours = 7.5
	again := m.PurchaseLimits(q, today, s)
	reference.WantRel(t, "a quarter more hours", *again.MostToPay, *got.MostToPay+names["hours"], 1e-9)
}

func TestFinishThatCannotBeDone(t *testing.T) {
	m := Fit(syntheticMarket(100, 42), today)
	q := PurchaseQuery{Attributes: probes[1], Planned: true}
	q.Material, q.Finish = "laminate", "stained"
	got := m.PurchaseLimits(q, today, purchaseSettings())
	if got.Refusal == nil || got.Refusal.Reason != refinish.FinishNotPossible || got.MostToPay != nil {
		t.Errorf("stain on laminate: %+v", got)
	}
	q.Finish = "painted"
	if got := m.PurchaseLimits(q, today, purchaseSettings()); got.MostToPay == nil {
		t.Errorf("paint on laminate: %+v", got.Refusal)
	}
}
