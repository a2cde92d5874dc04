package pricing

import (
	"gonum.org/v1/gonum/stat/distuv"

	"askwright/pricing/askplan"
)

// Remedy is one thing to do about a listing.
type Remedy struct {
	Action                  string // "wait", "renew", "reprice", "refinish", "withdraw"
	Ask                     float64
	Finish, Color           string
	ExpectedNet             float64 // of the best plan that begins so
	Gain                    float64 // over leaving it as it is for good
	ChanceBetterThanWaiting float64 // than leaving it so
	Chance30                float64
	Cost                    float64
	Hours                   float64
	DaysOut                 int
}

// Actions of remedies; ActionCheck is none: it comes before them.
const (
	ActionWait     = "wait"
	ActionRenew    = "renew"
	ActionReprice  = "reprice"
	ActionRefinish = "refinish"
	ActionWithdraw = "withdraw"
	ActionCheck    = "check"
)

// priced is a remedy with its net at every frailty of the mid-quantiles.
type priced struct {
	Remedy
	nets []float64
}

// frailties are the 40 mid-quantiles (i − ½)/40 of Gamma(k', r').
func (o outlook) frailties() []float64 {
	z := make([]float64, midQuantiles)
	g := distuv.Gamma{Alpha: o.k, Beta: o.r}
	for i := range z {
		z[i] = g.Quantile((float64(i) + 0.5) / midQuantiles)
	}
	return z
}

// planned is a remedy that begins a plan, less a cost.
func (o outlook) planned(action string, p askplan.Plan, cost float64, zs []float64) priced {
	ask := p.Steps[0].Ask
	out := priced{Remedy{Action: action, Ask: ask, Cost: cost, ExpectedNet: p.Net - cost, Chance30: o.sold(ask, 30)}, given(p, zs, o.salvage)}
	for i := range out.nets {
		out.nets[i] -= cost
	}
	return out
}

// against holds it against another way: by net, and by chance.
func (p priced) against(other priced) Remedy {
	p.Gain = p.ExpectedNet - other.ExpectedNet
	p.ChanceBetterThanWaiting = shareAbove(p.nets, other.nets)
	return p.Remedy
}

// shareAbove is the share of pairs in which a is above b.
func shareAbove(a, b []float64) float64 {
	if len(b) == 0 {
		return 0
	}
	n := 0
	for i := range b {
		if a[i] > b[i] {
			n++
		}
	}
	return float64(n) / float64(len(b))
}

// moves are the ways to go on: with the plan, and where it is time to decide, or
// the listing is slow, all others, held against leaving it as it is for good.
func (r *reviewing) moves(c askplan.Course, zs []float64, leaving priced) []Remedy {
	var out []Remedy
	add := func(p priced) { out = append(out, p.against(leaving)) }
	if c.Lowers() {
		add(r.now.planned(ActionReprice, c.Plan, 0, zs))
		add(r.now.planned(ActionWait, c.Hold, 0, zs))
	} else {
		add(r.now.planned(ActionWait, c.Plan, 0, zs))
		if c.Cut != nil {
			add(r.now.planned(ActionReprice, *c.Cut, 0, zs))
		}
	}
	if c.Cut == nil && r.Kept.Checked == 0 && r.ChanceSoldByNow < evenOdds {
		return out
	}
	anew := r.now.from(0)
	again := anew.planner(append(thinned(anew.downwards(r.ask), renewAsks), r.ask), r.s)
	renewed := anew.planned(ActionRenew, again.Plan(anew.holding, r.ask, r.ask), renewHours*r.s.HourValue, zs)
	renewed.Hours = renewHours
	add(renewed)
	for _, look := range r.reviewed(staying{r.st.Listing.Attributes, r.st.Listing.ListedOn, anew, zs, leaving}, r.s) {
		add(priced{look.Remedy, look.nets})
	}
	add(r.now.withdrawal(len(zs)))
	return out
}

// withdrawal takes the salvage now.
func (o outlook) withdrawal(frailties int) priced {
	p := priced{Remedy{Action: ActionWithdraw, ExpectedNet: o.salvage}, make([]float64, frailties)}
	for i := range p.nets {
		p.nets[i] = o.salvage
	}
	return p
}
