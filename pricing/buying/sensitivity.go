package buying

import (
	"cmp"
	"math"
	"slices"

	"askwright/pricing/furniture"
)

// Sensitivity is what one changed input does to the most to pay.
type Sensitivity struct {
	Input      string // "condition", "sale_price", "size", "hours", "materials", "pickup", "other"
	Change     string // for people: "one grade lower"
	MostToPay  float64
	Difference float64
}

// sensitivity works the limit out again with each input changed alone.
func (b *find) sensitivity(most float64) []Sensitivity {
	var out []Sensitivity
	try := func(input, change string, alter func(b *find)) {
		other := *b
		alter(&other)
		other.judge()
		now := other.most(other.courses())
		out = append(out, Sensitivity{Input: input, Change: change, MostToPay: now, Difference: now - most})
	}
	// A piece that turns out otherwise takes the buyer's own price along.
	piece := func(input, change string, alter func(a *furniture.Attributes)) {
		a := b.q.Attributes
		alter(&a)
		try(input, change, func(b *find) { b.worth = b.worth.Scaled(b.m.LogChange(b.q.Attributes, a, b.on)) })
	}
	dearer := func(input string, amount func(q *Query) *float64) {
		if *amount(&b.q) > 0 {
			try(input, "a quarter more", func(b *find) { *amount(&b.q) *= 1.25 })
		}
	}
	try("sale_price", "10 % lower", func(b *find) { b.worth = b.worth.Scaled(math.Log(0.9)) })
	switch c := b.q.Condition; {
	case c > 1:
		piece("condition", "one grade lower", func(a *furniture.Attributes) { a.Condition-- })
	case c == 1:
		piece("condition", "one grade higher", func(a *furniture.Attributes) { a.Condition++ })
	default:
		piece("condition", "fair instead of unknown", func(a *furniture.Attributes) { a.Condition = 2 })
	}
	if _, known := b.q.LogVolume(); known {
		piece("size", "10 % less wide", func(a *furniture.Attributes) { a.Width *= 0.9 })
	}
	dearer("hours", func(q *Query) *float64 { return &q.Hours })
	dearer("materials", func(q *Query) *float64 { return &q.Materials })
	dearer("pickup", func(q *Query) *float64 { return &q.Pickup })
	dearer("other", func(q *Query) *float64 { return &q.Other })
	slices.SortStableFunc(out, func(x, y Sensitivity) int {
		return cmp.Compare(math.Abs(y.Difference), math.Abs(x.Difference))
	})
	return out
}
