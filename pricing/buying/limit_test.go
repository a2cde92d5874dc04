package buying_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"askwright/pricing"
	"askwright/pricing/buying"
	"askwright/pricing/furniture"
	"askwright/pricing/internal/reference"
	"askwright/pricing/refinish"
)

var today = pricing.NewDate(2026, time.March, 5)

// fitted is a model of a group that sold some pieces, dearer when larger and
// better kept.
func fitted(sales int) *pricing.Model {
	r := rand.New(rand.NewPCG(uint64(sales), 9))
	var h pricing.History
	for i := range sales {
		kinds := []string{"desk", "dresser", "cabinet"}
		listed := today - pricing.Date(20+r.IntN(600))
		a := furniture.Attributes{
			Category: kinds[i%3], Width: 80 + float64(r.IntN(60)), Depth: 45, Height: 80,
			Material: "solid_wood", Finish: []string{"painted", "clear", "original"}[r.IntN(3)], Condition: 2 + r.IntN(4),
		}
		price := math.Round((60 + 200*float64(i%3) + a.Width + 25*float64(a.Condition)) * math.Exp(0.15*r.NormFloat64()))
		h.Listings = append(h.Listings, pricing.Listing{
			ID: fmt.Sprintf("D-%03d", i), Attributes: a, ListedOn: listed, Estimate: pricing.PricePoint(1.06 * price),
			Asks:    []pricing.Ask{{On: listed, Amount: pricing.PricePoint(1.08 * price)}},
			Outcome: pricing.Sold, EndedOn: listed + pricing.Date(5+r.IntN(50)), SalePrice: price,
		})
	}
	return pricing.Fit(h, today)
}

func settings() pricing.Settings {
	s := pricing.DefaultSettings()
	s.HourValue, s.FeeRate = 18, 0.05
	return s
}

var dresser = furniture.Attributes{
	Category: "dresser", Width: 110, Depth: 45, Height: 80, Material: "solid_wood", Finish: "painted", Condition: 4,
}

func limitOf(m *pricing.Model, q buying.Query) buying.Limit {
	return buying.NewLimit(m, q, today, settings(), buying.Experience{})
}

// The cash that is left, the hours and what is paid for add up.
func TestFiguresOfAPurchaseAddUp(t *testing.T) {
	q := buying.Query{
		Attributes: dresser, Materials: 30, Hours: 6, Pickup: 20, Other: 5, DaysOut: 14, SellerAsk: new(60.0),
	}
	got := limitOf(fitted(200), q)
	if got.Refusal != nil {
		t.Fatal(got.Refusal)
	}
	at := got.AtSellerAsk
	reference.WantRel(t, "after the hours", *at.LeftAfterHours, at.CashLeft-6*18, 1e-12)
	reference.WantRel(t, "an hour", *at.CashPerHour, at.CashLeft/6, 1e-12)
	reference.WantRel(t, "at the break-even nothing is left after the hours", *got.BreakEven-60, *at.LeftAfterHours, 1e-9)
	reference.WantRel(t, "paying less leaves as much more", got.AtMost.CashLeft+got.AtMost.Price, at.CashLeft+60, 1e-9)
	reference.WantRel(t, "a third of the sale less costs (common practice, no source)", *got.RuleOfThird, got.LikelySale/3-50, 1e-12)
	reference.WantRel(t, "what prices are held against", got.Net, got.SaleCash-30-6*18-20-5, 1e-12)
	if c := got.Costs; c.Labor != 6*18 || c.Materials != 30 || c.Pickup != 20 || c.Other != 5 || !(c.Holding > 0 && c.Fees > 0) {
		t.Errorf("costs %+v", c)
	}
	if !(*got.MostToPay < *got.BreakEven) || *got.AtLikely != *got.BreakEven {
		t.Errorf("most to pay %g, at likely %g, break-even %g", *got.MostToPay, *got.AtLikely, *got.BreakEven)
	}
}

// A profit is kept back only where it is asked for, and then it is all that is.
func TestWantedProfitReplacesTheQuartile(t *testing.T) {
	m := fitted(200)
	for name, tt := range map[string]struct {
		target buying.Target
		wanted func(buying.Limit) float64
	}{
		"profit": {buying.Target{Profit: 80}, func(buying.Limit) float64 { return 80 }},
		"hourly": {buying.Target{PerHour: 25}, func(buying.Limit) float64 { return 6 * (25 - 18) }},
		"margin": {buying.Target{MarginPercent: 20}, func(l buying.Limit) float64 { return 0.2 * 0.95 * l.LikelySale }},
	} {
		got := limitOf(m, buying.Query{Attributes: dresser, Hours: 6, Target: tt.target})
		reference.WantRel(t, name, *got.BreakEven-*got.MostToPay, tt.wanted(got), 1e-9)
	}
	s := settings()
	s.MinimumProfit = 1000
	got := buying.NewLimit(m, buying.Query{Attributes: dresser, Hours: 6}, today, s, buying.Experience{})
	reference.WantRel(t, "the group's least profit", *got.BreakEven-*got.MostToPay, 1000, 1e-9)
}

// What is asked for less than usual is worth less, what is dear is not worth more.
func TestCheapPiecesAreDoubted(t *testing.T) {
	m := fitted(200)
	ask := func(price *float64) buying.Limit {
		return limitOf(m, buying.Query{Attributes: dresser, Hours: 3, SellerAsk: price})
	}
	untold, cheap, usual, dear, free := ask(nil), ask(new(10.0)), ask(new(150.0)), ask(new(1000.0)), ask(new(0.0))
	if !(*cheap.MostToPay < *usual.MostToPay) || dear.Caution != 1 || !(cheap.Caution < 1) {
		t.Errorf("asked 10: %g (%g); asked 150: %g; asked 1000: %g (%g)",
			*cheap.MostToPay, cheap.Caution, *usual.MostToPay, *dear.MostToPay, dear.Caution)
	}
	if untold.Caution != 1 || free.Caution != 1 || *free.MostToPay != *untold.MostToPay {
		t.Errorf("not told: %g; free: %g", untold.Caution, free.Caution)
	}
	if untold.Labels[len(untold.Labels)-1] != buying.LabelPriceUntold || untold.AtSellerAsk != nil {
		t.Errorf("not told: labels %v", untold.Labels)
	}
	if dear.PassBy != buying.PassByCash || usual.PassBy != "" {
		t.Errorf("pass at 1000 by %q, at 150 by %q", dear.PassBy, usual.PassBy)
	}
	if hours := limitOf(m, buying.Query{Attributes: dresser, Hours: 40}); hours.PassBy != buying.PassByHours {
		t.Errorf("40 hours of work: pass by %q", hours.PassBy)
	}
}

func TestProfitIsStatedOnlyFromEnough(t *testing.T) {
	few, many := fitted(30), fitted(60)
	q := buying.Query{Attributes: dresser, Hours: 3, SellerAsk: new(40.0)}
	if got := limitOf(few, q); got.MostToPay == nil || got.AtSellerAsk != nil || got.AtMost != nil || got.BreakEven != nil || got.PassBy != "" {
		t.Errorf("30 sales, no own price: %+v", got)
	}
	if got := limitOf(many, q); got.AtSellerAsk == nil || got.AtMost == nil {
		t.Errorf("60 sales: %+v", got)
	}
	q.OwnPrice = 400
	if got := limitOf(few, q); got.AtSellerAsk == nil || got.AtMost == nil || got.MostToPay == nil {
		t.Errorf("30 sales, an own price: %+v", got)
	}
	if got := limitOf(fitted(3), q); got.Refusal != nil || got.AtSellerAsk == nil || got.MostToPay == nil || got.Likely != nil {
		t.Errorf("3 sales, an own price: %+v", got)
	}
}

func TestPurchaseRefusals(t *testing.T) {
	few, many := fitted(3), fitted(100)
	for _, tt := range []struct {
		name, reason string
		m            *pricing.Model
		q            buying.Query
	}{
		{"few sales", pricing.TooFewSales, few, buying.Query{Attributes: dresser}},
		{"unseen kind", pricing.IntervalTooWide, many, buying.Query{Attributes: furniture.Attributes{Category: "harmonium"}}},
	} {
		got := limitOf(tt.m, tt.q)
		if got.Refusal == nil || got.Refusal.Reason != tt.reason || got.MostToPay != nil {
			t.Errorf("%s: %+v", tt.name, got)
		}
	}
	s := settings()
	s.HourValue = 0
	got := buying.NewLimit(many, buying.Query{Attributes: dresser, Hours: 3, SellerAsk: new(40.0)}, today, s, buying.Experience{})
	if got.Refusal == nil || got.Refusal.Reason != pricing.HourValueUnknown || got.MostToPay != nil ||
		got.AtSellerAsk == nil || got.AtSellerAsk.LeftAfterHours != nil {
		t.Errorf("no hourly rate: %+v", got)
	}
	stain := buying.Query{Attributes: dresser, Planned: true}
	stain.Material, stain.Finish = "laminate", "stained"
	if got := limitOf(many, stain); got.Refusal == nil || got.Refusal.Reason != refinish.FinishNotPossible || got.MostToPay != nil {
		t.Errorf("stain on laminate: %+v", got)
	}
}

func TestLawsOfLimits(t *testing.T) {
	m := fitted(150)
	rapid.Check(t, func(t *rapid.T) {
		q := buying.Query{Attributes: dresser, Hours: rapid.Float64Range(0, 20).Draw(t, "hours")}
		q.Width = rapid.Float64Range(40, 200).Draw(t, "width")
		q.SellerAsk = new(rapid.Float64Range(1, 500).Draw(t, "asked"))
		if rapid.Bool().Draw(t, "own") {
			q.OwnPrice = rapid.Float64Range(100, 900).Draw(t, "own price")
		}
		got := limitOf(m, q)
		if got.Refusal != nil {
			return
		}
		if *got.MostToPay > *got.BreakEven+1e-9 {
			t.Errorf("most to pay %g, break-even %g", *got.MostToPay, *got.BreakEven)
		}
		if got.WalkAway != nil && (*got.OpeningOffer > *got.WalkAway || *got.WalkAway > *got.MostToPay || *got.OpeningOffer > *q.SellerAsk) {
			t.Errorf("offer %g, asked %g, walk away %g, most to pay %g", *got.OpeningOffer, *q.SellerAsk, *got.WalkAway, *got.MostToPay)
		}
		dearer := q
		dearer.SellerAsk = new(*q.SellerAsk*1.2 + 1)
		after := limitOf(m, dearer)
		if *after.MostToPay < *got.MostToPay-1e-9 {
			t.Errorf("asked more, the limit falls from %g to %g", *got.MostToPay, *after.MostToPay)
		}
		for name, add := range map[string]func(q *buying.Query, by float64){
			"materials": func(q *buying.Query, by float64) { q.Materials += by },
			"hours":     func(q *buying.Query, by float64) { q.Hours += by },
			"pickup":    func(q *buying.Query, by float64) { q.Pickup += by },
			"other":     func(q *buying.Query, by float64) { q.Other += by },
		} {
			more := q
			more.SellerAsk = nil
			before := limitOf(m, more)
			add(&more, rapid.Float64Range(0, 1e6).Draw(t, name))
			if after := limitOf(m, more); !(*after.MostToPay <= *before.MostToPay) || !(*after.BreakEven <= *before.BreakEven) {
				t.Errorf("more %s raise the limit from %g to %g", name, *before.MostToPay, *after.MostToPay)
			}
		}
	})
}

func TestSensitivityIsSortedAndTrue(t *testing.T) {
	m := fitted(200)
	q := buying.Query{Attributes: dresser, Materials: 30, Hours: 6, Pickup: 20}
	got := limitOf(m, q)
	differences := map[string]float64{}
	for i, line := range got.Sensitivity {
		differences[line.Input] = line.Difference
		reference.WantRel(t, line.Input, line.MostToPay, *got.MostToPay+line.Difference, 1e-9)
		if i > 0 && math.Abs(line.Difference) > math.Abs(got.Sensitivity[i-1].Difference) {
			t.Errorf("%s is out of order", line.Input)
		}
	}
	for _, name := range []string{"sale_price", "condition", "size", "hours", "materials", "pickup"} {
		if d, ok := differences[name]; !ok || !(d < 0) {
			t.Errorf("%s: %g, want less", name, d)
		}
	}
	if _, ok := differences["other"]; ok {
		t.Error("a cost of nothing is made a quarter more")
	}
	q.Hours = 7.5
	reference.WantRel(t, "a quarter more hours", *limitOf(m, q).MostToPay, *got.MostToPay+differences["hours"], 1e-9)
}

func ExampleNewLimit() {
	limit := buying.NewLimit(fitted(120), buying.Query{
		Attributes: dresser, Materials: 25, Hours: 4, Pickup: 10, OwnPrice: 420, SellerAsk: new(90.0),
	}, today, settings(), buying.Experience{})
	fmt.Println(*limit.OpeningOffer, *limit.WalkAway)
	// Output:
	// 80 300
}
