// Package pricepoint has the asks that the trade uses.
package pricepoint

import "math"

// Nearest returns the price point nearest to amount: the asks that the
// trade uses, in steps of 1 below 50, 5 below 200, 10 below 500, 25 below
// 2 000, 50 below 5 000, then 100; above 100 000 a step is a hundredth of the
// power of ten. It is at least 1.
func Nearest(amount float64) float64 {
	low := UpTo(amount)
	if high := nextPoint(low); high-amount <= amount-low {
		return high
	}
	return low
}

// From is the lowest price point that is not below an amount.
func From(amount float64) float64 {
	low := UpTo(amount)
	if low < amount {
		return nextPoint(low)
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

// UpTo is the highest price point that is not above an amount, at least 1.
func UpTo(amount float64) float64 {
	step := stepAt(amount)
	return math.Max(1, math.Floor(amount/step)*step)
}

func nextPoint(point float64) float64 { return point + stepAt(point) }

// Between returns all price points in [low, high].
func Between(low, high float64) []float64 {
	var out []float64
	const slack = 1e-9 // relative: an end that is a price point belongs to the range
	p := UpTo(math.Max(low, 1))
	for ; p <= high*(1+slack); p = nextPoint(p) {
		if p >= low*(1-slack) {
			out = append(out, p)
		}
	}
	return out
}
