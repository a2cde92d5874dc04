package askplan

import "slices"

// Kept is what was told of the next step of a plan before.
type Kept struct {
	Ask float64 // then: another one now ends it
	In  float64 // days from now to the step; below zero: it is overdue
	To  float64 // the ask of the step; zero: the ask stays for good
}

// Course is how to go on with a piece that is on offer already.
type Course struct {
	Plan    Plan  // from now on
	Hold    Plan  // the best that keeps the present ask until the next decision
	Cut     *Plan // the best that lowers it today; nil: it may not, or cannot
	ForGood Plan  // the present ask, whatever comes
	Changed bool  // what was kept holds no more
}

// Lowers reports whether the plan lowers the ask today.
func (c *Course) Lowers() bool { return c.Plan.Steps[0].Ask != c.ForGood.Steps[0].Ask }

// AskAt is the ask to go on with today at another holding cost, if it may change.
func (c *Course) AskAt(holding float64) float64 {
	p := c.Hold.on
	ask := p.Asks[len(p.Asks)-1]
	return p.Plan(holding, (1-widestStep)*ask*(1-sameAsk), ask).Steps[0].Ask
}

// Continue plans from the highest of the market's asks, the present one, which
// may change after some days, today if they are not above zero. What is kept
// holds until another plan brings more by the inertia.
func Continue(m Market, ready float64, kept *Kept, inertia float64) Course {
	ask := m.Asks[len(m.Asks)-1]
	if kept != nil && kept.Ask != ask {
		kept = nil
	}
	m.First = ready
	if kept != nil && kept.To > 0 && kept.In > m.First {
		m.First = kept.In
	}
	if m.First <= 0 {
		m.First = m.Step
	}
	p := New(m)
	c := Course{Hold: p.Plan(m.Holding, ask, ask), ForGood: p.told(p.flat(len(m.Asks) - 1))}
	best := c.Hold
	if ready <= 0 {
		cut, ok := p.cut()
		if ok && m.First != m.Step && cut.Net > best.Net { // the steps after it count from today
			m.First = m.Step
			cut, ok = New(m).cut()
		}
		if ok {
			c.Cut = &cut
		}
		if ok && cut.Net > best.Net {
			best = cut
		}
	}
	c.Plan = best
	if kept != nil {
		before := p.kept(*kept, ready)
		if c.Changed = best.Net >= before.Net+inertia; !c.Changed {
			c.Plan = before
		}
	}
	return c
}

// kept is the plan that was told before.
func (p *Planner) kept(k Kept, ready float64) Plan {
	switch {
	case k.To == 0 || !slices.Contains(p.Asks, k.To):
		return p.told(p.flat(len(p.Asks) - 1))
	case k.In <= 0 && ready <= 0:
		return p.Plan(p.Holding, k.To, k.To)
	}
	return p.Step(p.Holding, k.Ask, k.To)
}

// cut is the best plan that lowers the highest ask today.
func (p *Planner) cut() (Plan, bool) {
	ask := p.Asks[len(p.Asks)-1]
	low, high := (1-widestStep)*ask*(1-sameAsk), (1-leastStep)*ask*(1+sameAsk)
	if !slices.ContainsFunc(p.Asks, func(a float64) bool { return a >= low && a <= high }) {
		return Plan{}, false
	}
	return p.Plan(p.Holding, low, high), true
}
