package pricing

import (
	"math"
	"slices"
	"testing"
)

// slipped multiplies a sale's ask, price and estimate by ten or a tenth.
func slipped(l Listing, factor float64) Listing {
	l.SalePrice *= factor
	l.Estimate *= factor
	l.Asks = slices.Clone(l.Asks)
	for i := range l.Asks {
		l.Asks[i].Amount *= factor
	}
	return l
}

// No row moves everybody: a sale typed ten times too low or high, in ask and
// price alike, leaves every other answer about where it is without that row. It
// refuses nothing, and the row is named.
func TestASlipOfTenMovesNobody(t *testing.T) {
	PlaysForLong(t)
	t.Parallel()
	for seed := range uint64(8) {
		n, factor := []int{190, 480}[seed%2], []float64{0.1, 10}[seed/2%2]
		h := syntheticMarket(n, 900+seed)
		var sold []int
		for i, l := range h.Listings {
			if l.Outcome == Sold {
				sold = append(sold, i)
			}
		}
		at := sold[int(seed)*37%len(sold)]
		without, with := History{slices.Delete(slices.Clone(h.Listings), at, at+1)}, History{slices.Clone(h.Listings)}
		with.Listings[at] = slipped(h.Listings[at], factor)
		want, got := Fit(without, today), Fit(with, today)
		if !slices.ContainsFunc(got.Suspicious(), func(s SuspiciousSale) bool { return s.ID == h.Listings[at].ID }) {
			t.Errorf("%d sales: the slip is not among the rows named", len(sold))
		}
		far, answers := 0, 0
		most := map[bool]float64{false: 0.15, true: 0.03}[len(sold) >= 300]
		for i, l := range h.Listings {
			if i == at {
				continue
			}
			alone := movedBy(got, want, Query{Attributes: l.Attributes})
			if answers++; alone > 0.05 {
				far++
			}
			aided := movedBy(got, want, Query{Attributes: l.Attributes, Estimate: l.Estimate})
			if alone > most || aided > 0.03 {
				t.Errorf("%d sales, a slip of %g: %s moves by %.3f, with its estimate by %.3f", len(sold), factor, l.ID, alone, aided)
			}
		}
		if float64(far) > 0.01*float64(answers) {
			t.Errorf("%d sales: %d of %d answers without an estimate move by more than 5 %%", len(sold), far, answers)
		}
	}
}

// movedBy is how far two models are apart on a query, in its likely price and,
// beyond a price point, in its ask for good: log.
func movedBy(a, b *Model, q Query) float64 {
	s := DefaultSettings()
	likely := func(m *Model) float64 {
		return m.value.predict(m.value.describe(q.Attributes, today)).f
	}
	ask := func(m *Model) float64 {
		o := m.position(q, today, s)
		return o.typical * math.Exp(o.rate.Delta/o.rate.gamma()*o.premium)
	}
	return math.Max(math.Abs(likely(a)-likely(b)), math.Abs(math.Log(ask(a)/ask(b))))
}
