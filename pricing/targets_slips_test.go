package pricing_test

import (
	"fmt"
	"math"
	"testing"

	"askwright/pricing"
	"askwright/pricing/stats"
)

// measureSlips types some rows ten times too high or low, ask and price alike.
func measureSlips(t *testing.T, e effort) []target {
	t.Helper()
	var ranges, twice []stats.Range
	var paid, paidTwice []float64
	worst := 0.0
	for seed := range e.markets {
		m := wildMarket(uint64(40_000 + seed))
		day := pricing.NewDate(2026, 6, 1)
		full, _ := m.history("p", 100, day, 730)
		h := pricing.Cut(full, day)
		slipped, doubled := pricing.Fit(m.slipped(h, 0.03), day), pricing.Fit(m.twice(h, 0.1), day)
		for range 3 * e.pieces {
			p := m.newPiece("new")
			q := pricing.Query{Attributes: m.recorded(p)}
			course := m.course(p, day)[0]
			if course.Outcome != pricing.Sold {
				continue
			}
			s := pricing.DefaultSettings()
			if got := slipped.Suggest(q, day, s, nil); got.SalePrice != nil {
				ranges, paid = append(ranges, *got.SalePrice), append(paid, course.SalePrice)
			}
			if got := doubled.Suggest(q, day, s, nil); got.SalePrice != nil {
				twice, paidTwice = append(twice, *got.SalePrice), append(paidTwice, course.SalePrice)
			}
		}
		worst = math.Max(worst, m.worstMove(h, day))
	}
	inside, insideTwice := stats.Coverage(ranges, paid).Value, stats.Coverage(twice, paidTwice).Value
	if inside < 0.6 {
		t.Errorf("with 3 %% of slips the range holds %.2f", inside)
	}
	return []target{{
		measure: "3 % of rows ten times too high or low: the 80 % range holds (a tenth of the rows twice: it holds); " +
			"one such slip at 100 listings, with the own price: it moves other asks by at most",
		measured: fmt.Sprintf("%.2f (%.2f); %.3f", inside, insideTwice, worst), aim: ".76–.84; ≤ .03",
		met: inside >= 0.76 && inside <= 0.84 && worst <= 0.03,
	}}
}

// worstMove is the farthest that one slip moves the ask of another piece from
// where it lies without that row, log; one price point does not count.
func (m *market) worstMove(h pricing.History, day pricing.Date) float64 {
	var sold []int
	for i, l := range h.Listings {
		if l.Outcome == pricing.Sold && l.SalePrice > 0 && !l.Observed {
			sold = append(sold, i)
		}
	}
	worst := 0.0
	for range 2 {
		at := sold[m.rng.IntN(len(sold))]
		without := pricing.History{Listings: append(append([]pricing.Listing(nil), h.Listings[:at]...), h.Listings[at+1:]...)}
		with := pricing.History{Listings: append(append([]pricing.Listing(nil), without.Listings...), tenTimes(h.Listings[at], 10))}
		clean, slip := pricing.Fit(without, day), pricing.Fit(with, day)
		for range 10 {
			p := m.newPiece("probe")
			q := pricing.Query{Attributes: m.recorded(p), Estimate: m.opinion(p, day)}
			a, b := clean.Suggest(q, day, pricing.DefaultSettings(), nil).Ask, slip.Suggest(q, day, pricing.DefaultSettings(), nil).Ask
			if a == 0 || b == 0 || math.Abs(a-b) <= pricing.PricePoint(math.Max(a, b)*1.02)-math.Min(a, b) && math.Abs(a-b) <= 0.05*a {
				continue
			}
			worst = math.Max(worst, math.Abs(math.Log(b/a)))
		}
	}
	return worst
}
