package pricing

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func purchaseSettings() Settings {
	s := DefaultSettings()
	s.HourValue, s.FeeRate = 18, 0.05
	return s
}

func TestPurchaseLimitAddsUp(t *testing.T) {
	m := Fit(syntheticMarket(300, 41), today)
	s := purchaseSettings()
	q := PurchaseQuery{Attributes: probes[1], Materials: 30, Hours: 6, Transport: 20, Other: 5, DaysOut: 14, Price: 60}
	got := m.PurchaseLimits(q, today, s)
	if got.Refusal != nil {
		t.Fatal(got.Refusal)
	}
	o := m.outlook(q.Attributes, today+14, m.fitFor(q.Attributes, 0, today, s), 0, s)
	_, net := o.best(candidates(o.typical, 0), o.holding)
	breakEven := net - 30 - 6*18 - 20 - 5 - 14*o.holding
	wantRel(t, "break-even", *got.BreakEven, breakEven, 1e-12)
	wantRel(t, "at likely", *got.AtLikely, breakEven/2, 1e-12)
	wantRel(t, "expected profit", *got.ExpectedProfit, breakEven-60, 1e-12)
	wantRel(t, "a third of the sale less costs (common practice, no source)", *got.RuleOfThird, got.LikelySale/3-50, 1e-12)
	// The costs and the expected sale must add up to the net: salvage aside, which
	// comes with the chance of no sale.
	sold := o.sold(got.Ask, o.horizon)
	sum := got.LikelySale*sold + o.salvage*(1-sold) - got.Costs.Fees - got.Costs.Holding - got.Costs.Materials - got.Costs.Labor - got.Costs.Transport - got.Costs.Other
	wantRel(t, "sale less all costs", sum, breakEven, 1e-9)
}

func TestPurchaseTargets(t *testing.T) {
	m := Fit(syntheticMarket(300, 41), today)
	s := purchaseSettings()
	q := PurchaseQuery{Attributes: probes[1], Hours: 6}
	limit := func(target Target) PurchaseLimit {
		q.Target = target
		return m.PurchaseLimits(q, today, s)
	}
	if got := limit(Target{Profit: 80}); !near(*got.BreakEven-*got.AtLikely, 80, 9) {
		t.Errorf("profit of 80: break-even %g, at likely %g", *got.BreakEven, *got.AtLikely)
	}
	if got := limit(Target{Hourly: 25}); !near(*got.BreakEven-*got.AtLikely, 6*(25-18), 9) {
		t.Errorf("25 an hour: break-even %g, at likely %g", *got.BreakEven, *got.AtLikely)
	}
	if got := limit(Target{MarginPercent: 20}); !near(*got.BreakEven-*got.AtLikely, 0.2*0.95*got.LikelySale, 9) {
		t.Errorf("margin of 20 %%: break-even %g, at likely %g", *got.BreakEven, *got.AtLikely)
	}
	s.MinimumProfit = 1000
	if got := limit(Target{}); !near(*got.BreakEven-*got.AtLikely, 1000, 9) {
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
		{"unseen category", many, PurchaseQuery{Attributes: Attributes{Category: "harmonium"}}, purchaseSettings(), IntervalTooWide},
		{"no hourly value", many, PurchaseQuery{Attributes: probes[1], Hours: 3}, noHour, HourValueUnknown},
	} {
		got := tt.m.PurchaseLimits(tt.q, today, tt.s)
		if got.Refusal == nil || got.Refusal.Reason != tt.reason || got.MostToPay != nil || len(got.Sentences) == 0 {
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
		q := PurchaseQuery{Attributes: drawQuery(t).Attributes, Hours: rapid.Float64Range(0, 20).Draw(t, "hours"), Price: rapid.Float64Range(1, 500).Draw(t, "price")}
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
		dearer := q
		dearer.Price *= 1.2
		if after := m.PurchaseLimits(dearer, today, purchaseSettings()); *after.ChanceOfLoss < *got.ChanceOfLoss || *got.ChanceOfLoss < 0 || *after.ChanceOfLoss > 1 {
			t.Errorf("chance of loss %g at %g, %g at %g", *got.ChanceOfLoss, q.Price, *after.ChanceOfLoss, dearer.Price)
		}
	})
}

// Paying more than any sale can bring is a sure loss.
func TestSureLoss(t *testing.T) {
	m := Fit(syntheticMarket(200, 43), today)
	got := m.PurchaseLimits(PurchaseQuery{Attributes: probes[1], Price: 5000}, today, purchaseSettings())
	if *got.ChanceOfLoss != 1 || *got.ExpectedProfit >= 0 || math.IsNaN(*got.ExpectedProfit) {
		t.Errorf("chance of loss %g, expected profit %g", *got.ChanceOfLoss, *got.ExpectedProfit)
	}
}
