package buying

import (
	"math"
	"testing"

	"askwright/pricing/internal/reference"
)

// Three prices by hand: x = −0.2, −0.5, −1.1, each with a variance of 0.02.
func TestUsualShareByHand(t *testing.T) {
	e := Experience{}
	for _, x := range []float64{-0.2, -0.5, -1.1} {
		e.Prices, e.Logs, e.Squares, e.Variance = e.Prices+1, e.Logs+x, e.Squares+x*x, e.Variance+0.02
	}
	theta, tau2 := e.usual()
	wantTheta := (-1.8 + 5*math.Log(0.65)) / 8
	around := (-0.2-wantTheta)*(-0.2-wantTheta) + (-0.5-wantTheta)*(-0.5-wantTheta) + (-1.1-wantTheta)*(-1.1-wantTheta)
	reference.WantRel(t, "theta", theta, wantTheta, 1e-12)
	reference.WantRel(t, "tau squared", tau2, (around+5*0.25)/8-0.02, 1e-12)
	theta, tau2 = Experience{}.usual()
	reference.WantRel(t, "theta beforehand", theta, math.Log(0.65), 1e-12)
	reference.WantRel(t, "tau squared beforehand", tau2, 0.25, 1e-12)
	same := Experience{Prices: 400, Logs: 400 * theta, Squares: 400 * theta * theta, Variance: 400 * 0.5}
	if _, tau2 := same.usual(); tau2 != leastSpread*leastSpread {
		t.Errorf("prices that never differ: %g, want no less than %g", tau2, leastSpread*leastSpread)
	}
}

func TestRealizedRatioByHand(t *testing.T) {
	for _, tt := range []struct {
		e    Experience
		want float64
	}{
		{Experience{}, 1},
		{Experience{Finished: 4, Stated: 800, Realized: 400}, (400 + 1600.0) / (800 + 1600)},
		{Experience{Finished: 1000, Stated: 1000, Realized: 100}, 0.5},
		{Experience{Finished: 1000, Stated: 1000, Realized: 5000}, 1.2},
	} {
		reference.WantRel(t, "ratio", tt.e.Ratio(), tt.want, 1e-12)
	}
}

// One joke cannot move what is usual far.
func TestLogRatioIsBounded(t *testing.T) {
	reference.WantRel(t, "half", LogRatio(50, 100), math.Log(0.5), 1e-12)
	for _, price := range []float64{0, 1e-9, 1e12} {
		if x := LogRatio(price, 100); math.Abs(x-math.Log(0.65)) > 1.5+1e-12 {
			t.Errorf("a price of %g: %g", price, x)
		}
	}
}
