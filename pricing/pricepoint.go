package pricing

import (
	"math"

	"askwright/pricing/pricepoint"
)

// PricePoint returns the price point nearest to amount; see pricepoint.
func PricePoint(amount float64) float64 { return pricepoint.Nearest(amount) }

// PointAtOrBelow is the highest price point that is not above an amount, at least 1.
func PointAtOrBelow(amount float64) float64 { return pricepoint.UpTo(amount) }

// candidates are the asks considered around the typical ask and the estimate.
func candidates(typical, estimate float64) []float64 {
	if estimate <= 0 {
		estimate = typical
	}
	out := pricepoint.Between(math.Min(typical, estimate)*math.Exp(-lowestAsk), askCap*math.Max(typical, estimate))
	if len(out) == 0 {
		return []float64{math.Max(1, math.Round(typical))}
	}
	return thinned(out, maxCandidates)
}

// thinned keeps at most n of the points, evenly and with the last one: an
// estimate far from the typical ask spans thousands.
func thinned(points []float64, n int) []float64 {
	if len(points) <= n {
		return points
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = points[i*(len(points)-1)/(n-1)]
	}
	return out
}

func validPrice(p float64) bool { return p >= minPrice && p <= maxPrice }

// bounded is exp(x) for an x that a price can have.
func bounded(x float64) float64 {
	return math.Exp(clamp(x, math.Log(minPrice)-5, math.Log(maxPrice)+5))
}

// percent turns a log effect into points.
func percent(x float64) float64 { return 100 * math.Expm1(clamp(x, -20, 20)) }

// clamp is the number between the limits that is nearest to x.
func clamp(x, low, high float64) float64 { return math.Min(math.Max(x, low), high) }
