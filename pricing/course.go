package pricing

import (
	"cmp"
	"math"
	"slices"

	"askwright/pricing/askplan"
)

// reviewing is a review in the making.
type reviewing struct {
	*Model
	*Review
	st Standing

	seen    evidence
	on      Date
	ask     float64
	s       Settings
	now     outlook
	cause   string
	flagged bool
}

// judge fills in what to do.
func (r *reviewing) judge() {
	c := r.now.course(r.st, r.ask, r.on, r.s)
	due := c.Lowers()
	if due && r.checksFirst() {
		c = r.deferred(c)
	}
	zs := r.now.frailties()
	leaving := priced{Remedy: Remedy{ExpectedNet: c.ForGood.Net}, nets: given(c.ForGood, zs, r.now.salvage)}
	r.Plan = r.now.dated(c.Plan)
	r.Gain, r.Due = c.Plan.Net-c.ForGood.Net, due
	r.WaitingCosts = 0
	if c.Lowers() {
		r.WaitingCosts = math.Max(0, c.Plan.Net-c.Hold.Net)
	}
	r.Money = r.s.money(r.now, c.AskAt)
	r.keep(c)
	r.odds(c, zs, leaving)
	moves := r.moves(c, zs, leaving)
	r.Action = ActionWait
	if c.Lowers() {
		r.Action = ActionReprice
	}
	decides := due || c.Cut != nil
	if best := bestOf(moves); decides && best.Action != r.Action && r.beats(best, moves) {
		r.Action, r.Due = best.Action, true
		r.Gain, r.Odds, r.OddsIfBack, r.OddsIfAway = best.Gain, best.ChanceBetterThanWaiting, nil, nil
		r.WaitingCosts = math.Max(0, best.ExpectedNet-c.Plan.Net)
	}
	r.arrange(moves)
	r.schedule(c)
	r.explain()
	r.flag()
}

// beats reports whether a move is so much better than the plan that it is the
// one to take.
func (r *reviewing) beats(best Remedy, moves []Remedy) bool {
	i := slices.IndexFunc(moves, func(x Remedy) bool { return x.Action == r.Action })
	return best.ExpectedNet-moves[i].ExpectedNet >= r.s.FlagGain*r.ask && best.ChanceBetterThanWaiting >= r.flagOdds()
}

// bestOf is the move with the greatest net; ties: the first.
func bestOf(moves []Remedy) Remedy {
	return slices.MaxFunc(moves, func(a, b Remedy) int { return cmp.Compare(a.ExpectedNet, b.ExpectedNet) })
}

// arrange puts the move to take first, the others behind it, the best first.
func (r *reviewing) arrange(moves []Remedy) {
	slices.SortStableFunc(moves, func(a, b Remedy) int { return cmp.Compare(b.ExpectedNet, a.ExpectedNet) })
	if i := slices.IndexFunc(moves, func(x Remedy) bool { return x.Action == r.Action }); i > 0 {
		taken := moves[i]
		copy(moves[1:], moves[:i])
		moves[0] = taken
	}
	r.Remedies = moves
}

// keep notes the next step, so that it falls due on its day.
func (r *reviewing) keep(c askplan.Course) {
	before := r.st.Kept
	r.Kept.Ask = r.ask
	switch next := c.Plan.Steps; {
	case c.Lowers():
		r.Kept.AtAge, r.Kept.NextAsk = r.now.age, next[0].Ask
		if before != nil && before.Ask == r.ask && before.NextAsk > 0 && before.AtAge < r.now.age {
			r.Kept.AtAge = before.AtAge // since when it is due
		}
	case len(next) > 1:
		r.Kept.AtAge, r.Kept.NextAsk = r.now.age+float64(next[1].FromDay), next[1].Ask
	}
	if before != nil && before.Ask == r.ask && !r.Kept.checking() {
		r.Kept.Checked = before.Checked
	}
}

// schedule tells when to act next, and with which ask the plan goes on.
func (r *reviewing) schedule(c askplan.Course) {
	steps := r.Plan.Steps
	switch {
	case c.Lowers():
		r.NextAsk = steps[0].Ask
		r.NextStepOn = r.on - Date(r.now.age-r.Kept.AtAge)
	case len(steps) > 1:
		r.NextAsk, r.NextStepOn = steps[1].Ask, r.on+Date(steps[1].FromDay)
	}
	if r.Due && !c.Lowers() {
		r.NextStepOn = r.on
	}
	if r.Kept.checking() && !c.Lowers() && r.openChecks() {
		r.Action, r.NextStepOn, r.Due = ActionCheck, r.Kept.Checked, true
	} else if r.Action == ActionWait {
		r.Due = false
	}
}

// flag says whether it is stale: a step is due, pays, and likely so. What was
// flagged is so until that is clearly over.
func (r *reviewing) flag() {
	gain, odds := r.s.FlagGain, r.flagOdds()
	if k := r.st.Kept; k != nil && k.Ask == r.ask && k.Flagged {
		gain, odds = 0.8*gain, odds-0.1
	}
	r.flagged = r.Refusal == nil && r.Due && r.Gain >= gain*r.ask && r.Odds >= odds
	r.Kept.Flagged = r.flagged
}

func (r *reviewing) flagOdds() float64 {
	if r.Quiet {
		return flagOddsQuiet
	}
	return flagOdds
}

// odds are those that the plan beats leaving the listing as it is. In a slow
// season the last weeks count by the pulse, and the odds are the mean of two:
// the days ahead are usual ones, or as slow.
func (r *reviewing) odds(c askplan.Course, zs []float64, leaving priced) {
	if !r.Quiet {
		r.Odds = shareAbove(given(c.Plan, zs, r.now.salvage), leaving.nets)
		return
	}
	o := r.now
	o.r = frailtyShape + r.seen.lull(r.GroupPulse)
	zs = o.frailties()
	at := func(pace float64) *float64 {
		scaled := make([]float64, len(zs))
		for i, z := range zs {
			scaled[i] = pace * z
		}
		return ref(shareAbove(given(c.Plan, scaled, o.salvage), given(c.ForGood, scaled, o.salvage)))
	}
	r.OddsIfBack, r.OddsIfAway = at(1), at(r.GroupPulse)
	r.Odds = (*r.OddsIfBack + *r.OddsIfAway) / 2
}

// given are the nets of a plan by frailty.
func given(p askplan.Plan, zs []float64, salvage float64) []float64 {
	nets := make([]float64, len(zs))
	for i, z := range zs {
		nets[i] = p.Given(z, salvage)
	}
	return nets
}
