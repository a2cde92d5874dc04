package pricing

import (
	"math"
	"testing"

	"askwright/pricing/askplan"
)

// From the general assumptions alone: an own price of 300 is the typical ask,
// 1.50 a day of holding, 15 % salvage, a fee of 5 %. An ask of 250 for good by
// Simpson's rule on quarter days instead of the engine's grid.
func TestCourseOfOneAskByHand(t *testing.T) {
	s := purchaseSettings()
	s.HoldingRate = 0.005
	w := Fit(History{}, today).Worth(probes[1], 300, today, today, s)
	w.path = w.at.along([]Step{{Step: askplan.Step{Ask: 250}}})
	got := w.AtValue(w.Value)
	want := independentNet(onMarket{
		typical: 300, ask: 250, k: 2, r: 2, holding: 1.5, salvage: 45, fee: 0.05, negotiation: 0.95, horizon: 180,
	})
	if math.Abs(got.Net-want) > 0.5 || math.Abs(got.Cash-got.Net-1.5*got.Days) > 1e-9 {
		t.Errorf("net %g, by Simpson's rule %g; cash %g, %g days", got.Net, want, got.Cash, got.Days)
	}
	left := onMarket{typical: 300, ask: 250, k: 2, r: 2}.survival(180)
	sale := 0.95 * 0.95 * 250
	for outlay, want := range map[float64]float64{44: 0, 46: left, sale - 1: left, sale + 1: 1} {
		if loss := got.Loss(outlay); math.Abs(loss-want) > 1e-9 {
			t.Errorf("less than %g with a chance of %g, want %g", outlay, loss, want)
		}
	}
}

// What a plan leads to is what it was chosen by; a piece worth more brings more.
func TestCourseFollowsThePlan(t *testing.T) {
	m := Fit(syntheticMarket(300, 41), today)
	s := purchaseSettings()
	for _, ownPrice := range []float64{0, 650} {
		w := m.Worth(probes[1], ownPrice, today, today+14, s)
		at := w.AtValue(w.Value)
		if len(w.Plan.Steps) < 2 || math.Abs(at.Net/w.Plan.Net-1) > 0.02 {
			t.Errorf("own price %g: net %g, of the plan %g with %d steps", ownPrice, at.Net, w.Plan.Net, len(w.Plan.Steps))
		}
		if low, high := w.AtValue(w.Value-0.1), w.AtValue(w.Value+0.1); !(low.Net < at.Net && at.Net < high.Net && low.Loss(200) >= high.Loss(200)) {
			t.Errorf("own price %g: net %g, %g, %g", ownPrice, low.Net, at.Net, high.Net)
		}
		if scaled := w.Scaled(math.Log(2)); math.Abs(scaled.AtValue(scaled.Value).Cash/at.Cash-2) > 1e-9 {
			t.Errorf("own price %g: twice the value leaves %g, once %g", ownPrice, scaled.AtValue(scaled.Value).Cash, at.Cash)
		}
	}
}

// An own price counts as far as buyers agreed with sellers, and leaves less
// unknown.
func TestOwnPriceMovesTheWorth(t *testing.T) {
	m := Fit(syntheticMarket(300, 41), today)
	alone := m.Worth(probes[1], 0, today, today, purchaseSettings())
	usual := math.Exp(alone.Value + m.rates.Opening)
	more := m.Worth(probes[1], 1.2*usual, today, today, purchaseSettings())
	if d := more.Value - alone.Value; !(d > 0.02 && d < math.Log(1.2)) || more.Variance >= alone.Variance {
		t.Errorf("a fifth more moves the log by %g; variance %g, was %g", d, more.Variance, alone.Variance)
	}
}

func TestReachedConditionIsThatOfSoldPieces(t *testing.T) {
	h := syntheticMarket(300, 41)
	sum, n := 0.0, 0
	for _, l := range h.Listings {
		if l.Outcome == Sold && l.Finish == "painted" {
			sum, n = sum+float64(l.Condition), n+1
		}
	}
	if grade, pieces := Fit(h, today).Reached("painted"); pieces != n || grade != int(math.Round(sum/float64(n))) {
		t.Errorf("grade %d of %d pieces, want %g of %d", grade, pieces, sum/float64(n), n)
	}
	if grade, pieces := Fit(h, today).Reached("gilded"); grade != 0 || pieces != 0 {
		t.Errorf("a finish that nobody had: %d of %d", grade, pieces)
	}
}
