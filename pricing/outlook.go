package pricing

import (
	"math"
	"sort"

	"askwright/pricing/furniture"
)

// outlook is how one piece stands on the market: what an ask leads to.
type outlook struct {
	rate   RateFit
	levels rateLevels
	on     Date // today; zero: the year's mean pace

	fit      float64 // f, log of the likely sale price
	typical  float64 // A
	estimate float64 // e, as far as it is plausible; zero: none
	premium  float64 // u (d − d̄)

	age  float64 // active days so far
	k, r float64 // of the frailty, given what was seen so far

	fee, negotiation float64
	holding, salvage float64 // a day; if never sold
	horizon          float64

	stages      []stage   // the season ahead
	times, base []float64 // the time grid and B(age, t) on it
}

// terms of trade of a piece with the fit f and the estimate e (zero: none).
func (m *Model) outlook(a furniture.Attributes, on Date, f, estimate float64, s Settings) outlook {
	o := outlook{
		rate: m.rates.Sale, levels: levelsOf(a), on: on, fit: f,
		typical: bounded(f + m.rates.Opening), estimate: estimate,
		k: frailtyShape, r: frailtyShape,
		fee: s.FeeRate, negotiation: m.rates.Negotiation,
		horizon: math.Max(1, float64(s.HorizonDays)),
	}
	if estimate > 0 {
		o.premium = m.plausible(a, estimate, on, s) * (math.Log(estimate) - f - m.rates.Opening)
		o.estimate = bounded(f + m.rates.Opening + o.premium)
	}
	o.holding = s.HoldingRate * o.typical
	if floor, ok := a.Footprint(); ok && s.SpacePrice > 0 {
		o.holding = 2 * floor * s.SpacePrice // the aisle takes as much again
	}
	o.salvage = s.SalvageRate * o.typical
	return o.from(0)
}

// from returns the outlook at an age.
func (o outlook) from(age float64) outlook {
	o.age = age
	o.times = timeGrid(o.horizon)
	o.stages = o.rate.stages(o.on, o.horizon)
	o.base = make([]float64, len(o.times))
	for i, t := range o.times {
		o.base[i] = o.ahead(t)
	}
	return o
}

// pace is λ0, the rate at an ask before the age effects.
func (o outlook) pace(ask float64) float64 {
	x := o.rate.base(o.levels, math.Log(ask), math.Log(o.typical), o.premium)
	return math.Exp(clamp(x, -14, 5))
}

// fair is the likely sale price.
func (o outlook) fair() float64 { return bounded(o.fit) }

// sold is the chance of a sale within t active days from now.
func (o outlook) sold(ask, t float64) float64 {
	return soldBy(o.pace(ask)*o.ahead(t), o.k, o.r)
}

// net is what an ask brings on average, after fees and holding cost at so much
// a day:
//
//	net(a; c) = (1 − φ) ρ a (1 − S(T)) + salvage·S(T) − c ∫₀ᵀ S(t) dt
func (o outlook) net(ask, holding float64) float64 {
	pace := o.pace(ask)
	area, before := 0.0, 1.0
	for i := 1; i < len(o.times); i++ {
		s := survivalAt(pace*o.base[i], o.k, o.r)
		area += (o.times[i] - o.times[i-1]) * (s + before) / 2
		before = s
	}
	return (1-o.fee)*o.negotiation*ask*(1-before) + o.salvage*before - holding*area
}

// best is the ask with the greatest net at a holding cost; ties: the lowest.
func (o outlook) best(asks []float64, holding float64) (ask, net float64) {
	net = math.Inf(-1)
	for _, a := range asks {
		if n := o.net(a, holding); n > net {
			ask, net = a, n
		}
	}
	return ask, net
}

// reached is the smallest whole number of days after which a share is sold;
// nil: not within the horizon.
func (o outlook) reached(ask, share float64) *int { return o.reachedAt(o.pace(ask), share) }

// reachedAt is reached at a pace. It looks at the grid first, whose B is known.
func (o outlook) reachedAt(pace, share float64) *int {
	chance := func(base float64) float64 { return soldBy(pace*base, o.k, o.r) }
	if chance(o.ahead(o.horizon)) < share {
		return nil
	}
	low, high := 0, int(math.Ceil(o.horizon))
	if at := sort.Search(len(o.base), func(i int) bool { return chance(o.base[i]) >= share }); at > 0 {
		low = int(o.times[at-1])
		if at < len(o.times) {
			high = min(high, int(math.Ceil(o.times[at])))
		}
	}
	for high-low > 1 {
		if middle := (low + high) / 2; chance(o.ahead(float64(middle))) >= share {
			high = middle
		} else {
			low = middle
		}
	}
	return &high
}

// point is what an ask leads to.
func (o outlook) point(ask float64, within int) Point {
	pace := o.pace(ask)
	sold := func(days float64) float64 { return soldBy(pace*o.ahead(days), o.k, o.r) }
	return Point{
		Ask:         ask,
		LikelySale:  o.negotiation * ask,
		ChanceSold:  sold(float64(within)),
		Chance14:    sold(14),
		Chance30:    sold(30),
		Chance60:    sold(60),
		MedianDays:  o.reachedAt(pace, evenOdds),
		P80Days:     o.reachedAt(pace, 0.8),
		ExpectedNet: o.net(ask, o.holding),
	}
}

// Point is what an ask leads to.
type Point struct {
	Ask         float64
	LikelySale  float64
	ChanceSold  float64 // within the query's days
	Chance14    float64
	Chance30    float64
	Chance60    float64
	MedianDays  *int // nil: not within the horizon
	P80Days     *int
	ExpectedNet float64
}

// ahead is the cumulative baseline over t days from now, by age and season.
func (o outlook) ahead(t float64) float64 {
	if len(o.stages) == 0 {
		return o.rate.cumulative(o.age, t)
	}
	sum, done := 0.0, 0.0
	for _, s := range o.stages {
		if s.from >= t {
			return sum
		}
		done = math.Min(s.to, t)
		sum += s.pace * o.rate.cumulative(o.age+s.from, done-s.from)
	}
	if t > done {
		sum += o.rate.cumulative(o.age+done, t-done)
	}
	return sum
}
