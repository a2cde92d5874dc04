package pricing

import "math"

// PricePoint returns the price point nearest to amount: the asks that the
// trade uses, in steps of 1 below 50, 5 below 200, 10 below 500, 25 below
// 2 000, 50 below 5 000, then 100; above 100 000 a step is a hundredth of the
// power of ten. It is at least 1.
func PricePoint(amount float64) float64 {
	low := PointAtOrBelow(amount)
	if high := nextPoint(low); high-amount <= amount-low {
		return high
	}
	return low
}

// stepAt is the distance from a price point to the next.
func stepAt(amount float64) float64 {
	switch {
	case amount < 50:
		return 1
	case amount < 200:
		return 5
	case amount < 500:
		return 10
	case amount < 2000:
		return 25
	case amount < 5000:
		return 50
	case amount < 1e5:
		return 100
	}
	step := 1000.0
	for amount >= step*1000 {
		step *= 10
	}
	return step
}

// PointAtOrBelow is the highest price point that is not above an amount, at least 1.
func PointAtOrBelow(amount float64) float64 {
	step := stepAt(amount)
	return math.Max(1, math.Floor(amount/step)*step)
}

func nextPoint(point float64) float64 { return point + stepAt(point) }

// pricePoints returns all price points in [low, high].
func pricePoints(low, high float64) []float64 {
	var out []float64
	const slack = 1e-9 // relative: an end that is a price point belongs to the range
	p := PointAtOrBelow(math.Max(low, 1))
	for ; p <= high*(1+slack); p = nextPoint(p) {
		if p >= low*(1-slack) {
			out = append(out, p)
		}
	}
	return out
}

// candidates are the asks considered around the typical ask and the estimate.
func candidates(typical, estimate float64) []float64 {
	if estimate <= 0 {
		estimate = typical
	}
	out := pricePoints(math.Min(typical, estimate)*math.Exp(-lowestAsk), askCap*math.Max(typical, estimate))
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
