package pricing

import (
	"math"
	"slices"
)

// Plan is a falling path of asks. Nothing is learned on the way but that the
// piece has not sold, so all of it can be settled on the first day.
type Plan struct {
	Steps []Step
	Net   float64 // expected, as of an ask
}

// Step is an ask of a plan and when it begins.
type Step struct {
	FromDay         int  // active days from now
	On              Date // that day if there is no pause; zero where today is not known
	Ask             float64
	ChanceStillHere float64 // that the piece has not sold by then
}

// Next is the first change of the plan; nil: there is none.
func (p Plan) Next() *Step {
	if len(p.Steps) < 2 {
		return nil
	}
	return &p.Steps[1]
}

// planner finds the best plan from an outlook on, by dynamic programming
// backwards over decision day, ask and hazard so far:
//
//	V_j(a, H) = (1−φ) ρ a (1−q) − c ∫ q(t) dt + q V_{j+1}(a', H')   best over a'
//	q(t) = S(H + λ0(a) (B(t) − B_j)) / S(H),  S(H) = (1 + H/r)^−k,  V at the horizon = salvage
//
// H lies on points that are even in log(1 + H/r), with V linear between.
type planner struct {
	outlook
	asks   []float64 // price points, rising
	paces  []float64 // λ0 of each
	days   []float64 // decision days, and the horizon last
	bases  []float64 // B at the nodes of each stretch, one after another
	width  float64   // between two points of H
	ranges [][2]int  // points of H that can be reached on each decision day
	cells  []cell    // by day, ask and point
	values []float64 // V, the same
	best   []float64 // V of the best ask to go on with, by ask and point
}

// cell is what asking so much does from one decision day to the next.
type cell struct {
	stays float64 // chance to be still there
	area  float64 // ∫ of the chance over the days
	to    float64 // place among the points of H afterwards
}

const (
	planPoints = 60 // of H
	planPanels = 3  // of Simpson's rule between two decision days
	planNodes  = 2*planPanels + 1
	planAsks   = 40 // considered at most
	leastStep  = 0.08
	widestStep = 0.25
	sameAsk    = 1e-9 // relative: asks that differ by less are one
)

// planner prepares the plans over some rising asks: decision days are first,
// then step days apart.
func (o outlook) planner(asks []float64, first, step float64) *planner {
	p := &planner{outlook: o, asks: thinned(asks, planAsks), days: []float64{0}}
	for t := first; t < o.horizon; t += step {
		if t > 0 {
			p.days = append(p.days, t)
		}
	}
	p.days = append(p.days, o.horizon)
	for j := range p.stretches() {
		for i := range planNodes {
			p.bases = append(p.bases, o.ahead(p.days[j]+(p.days[j+1]-p.days[j])*float64(i)/(planNodes-1)))
		}
	}
	for _, a := range p.asks {
		p.paces = append(p.paces, o.pace(a))
	}
	p.tabulate()
	return p
}

func (p *planner) stretches() int { return len(p.days) - 1 }

// at is the place of a hazard among the points of H.
func (p *planner) at(hazard float64) float64 { return math.Log1p(hazard/p.r) / p.width }

// tabulate works out all cells that can be reached, their areas from three nodes.
func (p *planner) tabulate() {
	n, last := len(p.asks), p.stretches()
	slow, fast := p.paces[n-1], p.paces[0]
	p.width = math.Max(1e-12, math.Log1p(fast*p.bases[len(p.bases)-1]/p.r)/(planPoints-1))
	p.cells = make([]cell, last*n*planPoints)
	p.values = make([]float64, len(p.cells))
	p.best = make([]float64, n*planPoints)
	for j := range last {
		bases := p.basesOf(j)
		low := min(int(p.at(slow*bases[0])), planPoints-1)
		high := min(int(math.Ceil(p.at(fast*bases[0]))), planPoints-1)
		p.ranges = append(p.ranges, [2]int{low, high})
		middle, all := bases[planPanels]-bases[0], bases[2*planPanels]-bases[0]
		for h := low; h <= high; h++ {
			behind := p.r * math.Exp(float64(h)*p.width)
			for i, pace := range p.paces {
				c := &p.cells[(j*n+i)*planPoints+h]
				gone := pace * all / behind
				c.stays = p.left(gone)
				c.area = (p.days[j+1] - p.days[j]) / 6 * (1 + 4*p.left(pace*middle/behind) + c.stays)
				c.to = math.Min(float64(h)+math.Log1p(gone)/p.width, planPoints-1)
			}
		}
	}
}

// basesOf are B at the nodes of a stretch.
func (p *planner) basesOf(j int) []float64 { return p.bases[j*planNodes : (j+1)*planNodes] }

// stretch is what a pace does from one decision day to the next after a hazard,
// and the hazard then.
func (p *planner) stretch(j int, pace, before float64) (c cell, after float64) {
	bases := p.basesOf(j)
	scale := pace / (p.r + before)
	for i, b := range bases {
		c.stays = p.left(scale * (b - bases[0]))
		switch {
		case i == 0 || i == planNodes-1:
			c.area += c.stays
		case i%2 == 1:
			c.area += 4 * c.stays
		default:
			c.area += 2 * c.stays
		}
	}
	c.area *= (p.days[j+1] - p.days[j]) / (6 * planPanels)
	return c, before + pace*(bases[planNodes-1]-bases[0])
}

// left is (1 + x)^−k.
func (p *planner) left(x float64) float64 {
	if p.k == frailtyShape {
		return 1 / ((1 + x) * (1 + x))
	}
	return math.Exp(-p.k * math.Log1p(x))
}

// follows reports whether a plan may go on from an ask with another: the same,
// or a step down that is neither too small to be seen nor a shock.
func follows(ask, next float64) bool {
	return next == ask || next <= (1-leastStep)*ask*(1+sameAsk) && next >= (1-widestStep)*ask*(1-sameAsk)
}

// solve works out V at a holding cost.
func (p *planner) solve(holding float64) {
	n := len(p.asks)
	for h := range p.best {
		p.best[h] = p.salvage
	}
	for j := p.stretches() - 1; j >= 0; j-- {
		low, high := p.ranges[j][0], p.ranges[j][1]
		for i, ask := range p.asks {
			sale := (1 - p.fee) * p.negotiation * ask
			row := (j*n + i) * planPoints
			ahead := p.best[i*planPoints : (i+1)*planPoints]
			for h := low; h <= high; h++ {
				c := &p.cells[row+h]
				p.values[row+h] = sale*(1-c.stays) - holding*c.area + c.stays*between(ahead, c.to)
			}
		}
		p.choose(j)
	}
}

// choose fills in the best way to go on from each ask on a decision day.
func (p *planner) choose(j int) {
	n := len(p.asks)
	low, high := p.ranges[j][0], p.ranges[j][1]
	for i, ask := range p.asks {
		best := p.best[i*planPoints : (i+1)*planPoints]
		copy(best, p.values[(j*n+i)*planPoints:(j*n+i+1)*planPoints])
		for next := i - 1; next >= 0 && p.asks[next] >= (1-widestStep)*ask*(1-sameAsk); next-- {
			if !follows(ask, p.asks[next]) {
				continue
			}
			values := p.values[(j*n+next)*planPoints : (j*n+next+1)*planPoints]
			for h := low; h <= high; h++ {
				best[h] = math.Max(best[h], values[h])
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

// plan is the best one at a holding cost whose first ask lies between two. The
// paths are found on the points of H and judged without them, beside each ask
// for good; ties: the lower ask, no change. Net is that at the outlook's cost.
func (p *planner) plan(holding, from, to float64) Plan {
	p.solve(holding)
	path, best := p.flat(0), math.Inf(-1)
	take := func(found []int) {
		if net := p.net(found, holding); net > best {
			path, best = found, net
		}
	}
	for i, a := range p.asks {
		if a >= from && a <= to {
			take(p.flat(i))
			take(p.follow(i))
		}
	}
	return p.told(path)
}

// follow is the best path from a first ask, after solve.
func (p *planner) follow(first int) []int {
	n := len(p.asks)
	path, hazard := []int{first}, 0.0
	for j := 1; j < p.stretches(); j++ {
		now := path[j-1]
		_, hazard = p.stretch(j-1, p.paces[now], hazard)
		at := math.Min(p.at(hazard), planPoints-1)
		value := func(i int) float64 { return between(p.values[(j*n+i)*planPoints:(j*n+i+1)*planPoints], at) }
		next, best := now, value(now)
		for i := now - 1; i >= 0; i-- {
			if v := value(i); follows(p.asks[now], p.asks[i]) && v > best {
				next, best = i, v
			}
		}
		path = append(path, next)
	}
	return path
}

// flat is the path of one ask for good.
func (p *planner) flat(i int) []int { return slices.Repeat([]int{i}, p.stretches()) }

// net is what a path brings at a holding cost.
func (p *planner) net(path []int, holding float64) float64 {
	hazard, left, sum := 0.0, 1.0, 0.0
	for j, i := range path {
		var c cell
		c, hazard = p.stretch(j, p.paces[i], hazard)
		sum += left * ((1-p.fee)*p.negotiation*p.asks[i]*(1-c.stays) - holding*c.area)
		left *= c.stays
	}
	return sum + left*p.salvage
}

// told is a path as a plan.
func (p *planner) told(path []int) Plan {
	out := Plan{Net: p.net(path, p.holding)}
	hazard := 0.0
	for j, i := range path {
		if j == 0 || i != path[j-1] {
			s := Step{FromDay: int(math.Round(p.days[j])), Ask: p.asks[i], ChanceStillHere: survivalAt(hazard, p.k, p.r)}
			if !p.on.IsZero() {
				s.On = p.on + Date(s.FromDay)
			}
			out.Steps = append(out.Steps, s)
		}
		_, hazard = p.stretch(j, p.paces[i], hazard)
	}
	return out
}
