package pricing

import "math"

func purchaseSettings() Settings {
	s := DefaultSettings()
	s.HourValue, s.FeeRate = 18, 0.05
	return s
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
