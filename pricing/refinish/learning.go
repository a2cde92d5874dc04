package refinish

import (
	"math"
	"strings"

	"askwright/pricing/furniture"
)

// Ratio is what a member really needs, over what an estimate says.
type Ratio struct {
	Value  float64 // 1 where there is too little to learn from
	Pieces int     // that have both; below RatioPieces they do not count
}

// RatioPieces is how many pieces of the member it takes to correct estimates.
const RatioPieces = 5

const (
	ratioPrior = 5.0          // pieces that a ratio of 1 is worth beforehand
	ratioMost  = 2 * math.Ln2 // of the log of one piece's ratio: the rest is a slip or another kind of work
)

func (r Ratio) orOne() Ratio {
	if r.Value > 0 {
		return r
	}
	return Ratio{Value: 1}
}

// Logged is one piece with what was estimated and what it really took.
type Logged struct{ Estimated, Actual float64 }

// LearnRatio is the ratio of actual to estimated of a member, drawn towards 1:
//
//	log ratio = Σ clip(log(actual / estimated), ± log 4) / (n + 5),  from n = 5 on
//
// Pieces without both figures do not count.
func LearnRatio(pieces []Logged) Ratio {
	sum, n := 0.0, 0
	for _, p := range pieces {
		ratio := p.Actual / p.Estimated
		if !(ratio > 0) || math.IsInf(ratio, 0) {
			continue
		}
		sum += min(max(math.Log(ratio), -ratioMost), ratioMost)
		n++
	}
	if n < RatioPieces {
		return Ratio{Value: 1, Pieces: n}
	}
	return Ratio{Value: math.Exp(sum / (float64(n) + ratioPrior)), Pieces: n}
}

// listed joins words: "a, b and c".
func listed(names []string) string {
	if len(names) < 2 {
		return furniture.Words(strings.Join(names, ""))
	}
	last := len(names) - 1
	return furniture.Words(strings.Join(names[:last], ", ") + " and " + names[last])
}
