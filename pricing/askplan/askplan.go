// Package askplan finds the best path of asks for a piece whose ask may be
// lowered while it is unsold. It is pure, and knows of furniture nothing.
package askplan

import (
	"math"
	"slices"
)

// Market is what a piece meets from now on. Money is in any unit, time in days.
type Market struct {
	Asks  []float64 // price points, rising
	Paces []float64 // of sale at each, before age and season
	Sales []float64 // what a sale at each leaves after haggling and fees

	Ahead       func(t float64) float64 // days of the usual pace in the next t, by age and season
	Shape, Rate float64                 // k and r of the gamma demand

	Holding float64 // a day
	Salvage float64 // if it is never sold
	Horizon float64 // when it counts as that
	First   float64 // from now to the next decision on the ask
	Step    float64 // from one decision to the next
}

// Plan is a falling path of asks. Nothing is learned on the way but that the
// piece has not sold, so all of it can be settled on the first day.
type Plan struct {
	Steps []Step
	Net   float64 // expected
	path  []int   // the ask from each decision day to the next
	on    *Planner
}

// Step is an ask of a plan and when it begins.
type Step struct {
	FromDay         int // from now
	Ask             float64
	ChanceStillHere float64 // that the piece has not sold by then
}

// Planner finds the best plan on a market by dynamic programming backwards over
// decision day, ask and hazard so far:
//
//	V_j(a, H) = sale(a) (1−q) − c ∫ q(t) dt + q V_{j+1}(a', H')   best over a'
//	q(t) = S(H + pace(a) (B(t) − B_j)) / S(H),  S(H) = (1 + H/r)^−k,  V at the horizon = salvage
//
// H lies on points that are even in log(1 + H/r), with V linear between.
type Planner struct {
	Market
	days   []float64 // decision days, and the horizon last
	bases  []float64 // B at the nodes of each stretch, one after another
	width  float64   // between two points of H
	ranges [][2]int  // points of H that can be reached on each decision day
	cells  []cell    // by day, ask and point
	values []float64 // V, the same
	best   []float64 // V of the best ask to go on with, by ask and point
	solved float64   // holding cost that values are of
}

// cell is what asking so much does from one decision day to the next.
type cell struct {
	stays float64 // chance to be still there
	area  float64 // ∫ of the chance over the days
	to    float64 // place among the points of H afterwards
}

const (
	points     = 60 // of H
	panels     = 3  // of Simpson's rule between two decision days
	nodes      = 2*panels + 1
	leastStep  = 0.08
	widestStep = 0.25
	sameAsk    = 1e-9 // relative: asks that differ by less are one
	nearBest   = 0.01 // of the dearest sale: so near to the best V a path is worked out without the points
)

// New prepares the plans on a market.
func New(m Market) *Planner {
	p := &Planner{Market: m, days: []float64{0}, solved: math.NaN()}
	for t := m.First; t < m.Horizon; t += m.Step {
		if t > 0 {
			p.days = append(p.days, t)
		}
	}
	p.days = append(p.days, m.Horizon)
	for j := range p.stretches() {
		for i := range nodes {
			p.bases = append(p.bases, m.Ahead(p.days[j]+(p.days[j+1]-p.days[j])*float64(i)/(nodes-1)))
		}
	}
	p.tabulate()
	return p
}

func (p *Planner) stretches() int { return len(p.days) - 1 }

// at is the place of a hazard among the points of H.
func (p *Planner) at(hazard float64) float64 { return math.Log1p(hazard/p.Rate) / p.width }

// tabulate works out all cells that can be reached, their areas from three nodes.
// On points that are even in the log, what a stretch adds to the hazard so far is
// a shift along one curve, so that no cell takes a logarithm.
func (p *Planner) tabulate() {
	n, last := len(p.Asks), p.stretches()
	slow, fast := p.Paces[n-1], p.Paces[0]
	p.width = math.Max(1e-12, math.Log1p(fast*p.bases[len(p.bases)-1]/p.Rate)/(points-1))
	p.cells = make([]cell, last*n*points)
	p.values = make([]float64, len(p.cells))
	p.best = make([]float64, n*points)
	curve := newDecline(p.Shape)
	for j := range last {
		bases := p.basesOf(j)
		low := min(int(p.at(slow*bases[0])), points-1)
		high := min(int(math.Ceil(p.at(fast*bases[0]))), points-1)
		p.ranges = append(p.ranges, [2]int{low, high})
		middle, all := bases[panels]-bases[0], bases[2*panels]-bases[0]
		length := (p.days[j+1] - p.days[j]) / 6
		for i, pace := range p.Paces {
			before, after := math.Log(pace*middle/p.Rate), math.Log(pace*all/p.Rate)
			for h := low; h <= high; h++ {
				c := &p.cells[(j*n+i)*points+h]
				var rise float64
				c.stays, rise = curve.at(after - float64(h)*p.width)
				half, _ := curve.at(before - float64(h)*p.width)
				c.area = length * (1 + 4*half + c.stays)
				c.to = math.Min(float64(h)+rise/p.width, points-1)
			}
		}
	}
}

// basesOf are B at the nodes of a stretch.
func (p *Planner) basesOf(j int) []float64 { return p.bases[j*nodes : (j+1)*nodes] }

// stretch is what a pace does from one decision day to the next after a hazard,
// and the hazard then.
func (p *Planner) stretch(j int, pace, before float64) (c cell, after float64) {
	bases := p.basesOf(j)
	scale := pace / (p.Rate + before)
	for i, b := range bases {
		c.stays = p.left(scale * (b - bases[0]))
		switch {
		case i == 0 || i == nodes-1:
			c.area += c.stays
		case i%2 == 1:
			c.area += 4 * c.stays
		default:
			c.area += 2 * c.stays
		}
	}
	c.area *= (p.days[j+1] - p.days[j]) / (6 * panels)
	return c, before + pace*(bases[nodes-1]-bases[0])
}

// left is (1 + x)^−k.
func (p *Planner) left(x float64) float64 {
	if p.Shape == 2 {
		return 1 / ((1 + x) * (1 + x))
	}
	return math.Exp(-p.Shape * math.Log1p(x))
}

// follows reports whether a plan may go on from an ask with another: the same,
// or a step down that is neither too small to be seen nor a shock.
func follows(ask, next float64) bool {
	return next == ask || next <= (1-leastStep)*ask*(1+sameAsk) && next >= (1-widestStep)*ask*(1-sameAsk)
}

// solve works out V at a holding cost.
func (p *Planner) solve(holding float64) {
	if holding == p.solved {
		return
	}
	p.solved = holding
	n := len(p.Asks)
	for h := range p.best {
		p.best[h] = p.Salvage
	}
	for j := p.stretches() - 1; j >= 0; j-- {
		low, high := p.ranges[j][0], p.ranges[j][1]
		for i, sale := range p.Sales {
			row := (j*n + i) * points
			ahead := p.best[i*points : (i+1)*points]
			for h := low; h <= high; h++ {
				c := &p.cells[row+h]
				p.values[row+h] = sale*(1-c.stays) - holding*c.area + c.stays*between(ahead, c.to)
			}
		}
		p.choose(j)
	}
}

// choose fills in the best way to go on from each ask on a decision day.
func (p *Planner) choose(j int) {
	n := len(p.Asks)
	low, high := p.ranges[j][0], p.ranges[j][1]
	for i, ask := range p.Asks {
		best := p.best[i*points : (i+1)*points]
		copy(best, p.values[(j*n+i)*points:(j*n+i+1)*points])
		for next := i - 1; next >= 0 && p.Asks[next] >= (1-widestStep)*ask*(1-sameAsk); next-- {
			if !follows(ask, p.Asks[next]) {
				continue
			}
			values := p.values[(j*n+next)*points : (j*n+next+1)*points]
			for h := low; h <= high; h++ {
				if v := values[h]; v > best[h] {
					best[h] = v
				}
			}
		}
	}
}

// between is the value at a place between two points.
func between(values []float64, at float64) float64 {
	i := min(int(at), len(values)-2)
	w := at - float64(i)
	if w <= 0 {
		return values[i]
	}
	return values[i] + w*(values[i+1]-values[i])
}

// Plan is the best one at a holding cost whose first ask lies between two. The
// paths are found on the points of H, and the best of them judged without, beside
// each ask for good; ties: the lower ask, no change. Net is that at the market's cost.
func (p *Planner) Plan(holding, from, to float64) Plan {
	p.solve(holding)
	path, best := p.flat(0), math.Inf(-1)
	take := func(found []int) {
		if net := p.net(found, holding); net > best {
			path, best = found, net
		}
	}
	within := func(i int) bool { return p.Asks[i] >= from && p.Asks[i] <= to }
	most := math.Inf(-1)
	for i := range p.Asks {
		if within(i) {
			most = math.Max(most, p.values[i*points])
		}
	}
	for i := range p.Asks {
		if within(i) && p.values[i*points] >= most-nearBest*p.Sales[len(p.Sales)-1] {
			take(p.flat(i))
			take(p.follow(i))
		}
	}
	return p.told(path)
}

// Step is the best plan at a holding cost that begins with one ask and goes on
// with a lower one at the next decision; without such asks the one for good.
func (p *Planner) Step(holding, ask, next float64) Plan {
	p.solve(holding)
	first, second := slices.Index(p.Asks, ask), slices.Index(p.Asks, next)
	switch {
	case first < 0:
		return p.told(p.flat(0))
	case second < 0 || p.stretches() < 2:
		return p.told(p.flat(first))
	}
	return p.told(p.follow(first, second))
}

// Given is what the plan brings where the demand is known, with a salvage.
func (a Plan) Given(demand, salvage float64) float64 {
	p, left, sum := a.on, 1.0, 0.0
	for j, i := range a.path {
		bases, pace := p.basesOf(j), demand*p.Paces[i]
		middle := math.Exp(-pace * (bases[panels] - bases[0]))
		stays := math.Exp(-pace * (bases[2*panels] - bases[0]))
		area := (p.days[j+1] - p.days[j]) / 6 * (1 + 4*middle + stays)
		sum += left * (p.Sales[i]*(1-stays) - p.Holding*area)
		left *= stays
	}
	return sum + left*salvage
}

// follow is the best path that begins with some asks, after solve.
func (p *Planner) follow(begin ...int) []int {
	n := len(p.Asks)
	path, hazard := slices.Clone(begin[:1]), 0.0
	for j := 1; j < p.stretches(); j++ {
		now := path[j-1]
		_, hazard = p.stretch(j-1, p.Paces[now], hazard)
		if j < len(begin) {
			path = append(path, begin[j])
			continue
		}
		at := math.Min(p.at(hazard), points-1)
		value := func(i int) float64 { return between(p.values[(j*n+i)*points:(j*n+i+1)*points], at) }
		next, best := now, value(now)
		for i := now - 1; i >= 0; i-- {
			if v := value(i); follows(p.Asks[now], p.Asks[i]) && v > best {
				next, best = i, v
			}
		}
		path = append(path, next)
	}
	return path
}

// flat is the path of one ask for good.
func (p *Planner) flat(i int) []int { return slices.Repeat([]int{i}, p.stretches()) }

// net is what a path brings at a holding cost.
func (p *Planner) net(path []int, holding float64) float64 {
	hazard, left, sum := 0.0, 1.0, 0.0
	for j, i := range path {
		var c cell
		c, hazard = p.stretch(j, p.Paces[i], hazard)
		sum += left * (p.Sales[i]*(1-c.stays) - holding*c.area)
		left *= c.stays
	}
	return sum + left*p.Salvage
}

// told is a path as a plan.
func (p *Planner) told(path []int) Plan {
	out := Plan{Net: p.net(path, p.Holding), path: path, on: p}
	hazard := 0.0
	for j, i := range path {
		if j == 0 || i != path[j-1] {
			out.Steps = append(out.Steps, Step{
				FromDay: int(math.Round(p.days[j])), Ask: p.Asks[i], ChanceStillHere: p.left(hazard / p.Rate),
			})
		}
		_, hazard = p.stretch(j, p.Paces[i], hazard)
	}
	return out
}
