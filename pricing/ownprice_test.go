package pricing

import (
	"math"
	"testing"
)

// One likely price: the one that is told follows the own price as the ask does,
// and the one by the records stands beside it.
func TestOwnPriceIsInTheLikelyPrice(t *testing.T) {
	m, s := Fit(syntheticMarket(200, 71), today), DefaultSettings()
	w := m.rates.ownShare()
	for _, a := range probes[:3] {
		alone := m.Suggest(Query{Attributes: a}, today, s, nil)
		usual := alone.SalePrice.Likely * math.Exp(m.rates.Opening)
		last := 0.0
		for _, x := range []float64{-0.2, -0.1, 0, 0.1, 0.2} {
			got := m.Suggest(Query{Attributes: a, Estimate: usual * math.Exp(x)}, today, s, nil)
			if want := alone.SalePrice.Likely * math.Exp(w*x); math.Abs(got.SalePrice.Likely/want-1) > 1e-9 {
				t.Errorf("%s, %+.1f from usual: likely %.1f, want %.1f", a.Category, x, got.SalePrice.Likely, want)
			}
			if *got.RecordsOnly != *alone.SalePrice {
				t.Errorf("%s: by the records %v, want %v", a.Category, *got.RecordsOnly, *alone.SalePrice)
			}
			if got.Ask < last || got.OwnPrice.Doubtful || got.OwnPrice.Share != w {
				t.Errorf("%s: ask %v after %v, own price %+v", a.Category, got.Ask, last, *got.OwnPrice)
			}
			last = got.Ask
		}
	}
}

// An own price ten times off is named with what is usual, counts for little, and
// refuses nothing.
func TestImplausibleOwnPriceCountsForLittle(t *testing.T) {
	m, s := Fit(syntheticMarket(200, 71), today), DefaultSettings()
	for _, a := range probes[:3] {
		alone := m.Suggest(Query{Attributes: a}, today, s, nil)
		usual := alone.SalePrice.Likely * math.Exp(m.rates.Opening)
		for _, times := range []float64{0.01, 0.1, 10, 100} {
			got := m.Suggest(Query{Attributes: a, Estimate: times * usual}, today, s, nil)
			if got.Refusal != nil || got.OwnPrice == nil || !got.OwnPrice.Doubtful {
				t.Fatalf("%s × %v: refusal %v, own price %+v", a.Category, times, got.Refusal, got.OwnPrice)
			}
			if off := math.Abs(math.Log(got.SalePrice.Likely / alone.SalePrice.Likely)); off > 0.25 {
				t.Errorf("%s × %v: likely %.0f, by the records %.0f", a.Category, times, got.SalePrice.Likely, alone.SalePrice.Likely)
			}
			if off := math.Abs(math.Log(got.Ask / alone.Ask)); off > 0.35 {
				t.Errorf("%s × %v: ask %.0f, by the records %.0f", a.Category, times, got.Ask, alone.Ask)
			}
			if math.Abs(got.OwnPrice.Usual/usual-1) > 1e-9 {
				t.Errorf("%s: usual %.1f, want %.1f", a.Category, got.OwnPrice.Usual, usual)
			}
			if got.SalePrice.High/got.SalePrice.Low < 0.8*alone.SalePrice.High/alone.SalePrice.Low {
				t.Errorf("%s × %v: surer than by the records alone", a.Category, times)
			}
		}
	}
}
