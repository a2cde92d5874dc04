package pricing

import (
	"math"

	"askwright/pricing/askplan"
	"askwright/pricing/furniture"
	"askwright/pricing/stats"
)

// Suggestion answers a Query. Money is in the group's unit, unrounded except
// for asks, which are price points.
type Suggestion struct {
	SalePrice   *stats.Range // likely, with the own price where there is one; nil where refused
	RecordsOnly *stats.Range // the same by the records alone
	Ask         float64      // the first one of Plan; zero where refused
	Plan        Plan         // balanced: the best path of asks
	AskForGood  float64      // the best one for who will not change it; zero where refused
	ChanceSold  *Chance      // at Ask
	MedianDays  *int         // at Ask; nil: not within the horizon
	P80Days     *int
	HorizonDays int
	OwnPrice    *OwnPrice // that counts beside the sales; nil: none
	Demand      float64   // of a listing on offer, so far: 1 is what the description promises; zero: not on offer
	WithinAsk   float64   // highest ask that sells within Query.WithinDays at even odds, or the lowest candidate
	WithinProb  float64   // its chance

	Choices     []Choice // quick, balanced, patient; empty where refused
	Curve       []Point  // candidates in rising order
	Drivers     []Driver
	Comparables []Comparable
	Basis       Basis
	Money       Money
	Labels      []string // "low_confidence", "from_your_estimate", ...
	Unseen      []string // attributes whose level no sale has: "hardware"
	NeverSold   bool     // nor the category
	Refusal     *furniture.Refusal
}

// Choice is one of the three plans offered.
type Choice struct {
	Name  string // "quick", "balanced", "patient"
	Point        // at its first ask, ExpectedNet that of the plan
	Plan  Plan
}

// Plan is a falling path of asks.
type Plan struct {
	Steps []Step
	Net   float64 // expected
}

// Step is an ask of a plan and when it begins.
type Step struct {
	askplan.Step      // days are active ones from now
	On           Date // if there is no pause; zero where today is not known
}

// Next is the first change of the plan; nil: there is none.
func (p Plan) Next() *Step {
	if len(p.Steps) < 2 {
		return nil
	}
	return &p.Steps[1]
}

// Driver is one reason for the price: the effect of an attribute against the
// group's typical piece of that category.
type Driver struct {
	Term            string  // "finish painted", "size", ...
	Percent         float64 // points
	Low, High       float64 // 80 % interval of Percent
	Money           float64 // of the likely sale price
	Sales           int     // that the effect rests on
	Distinguishable bool    // the interval leaves out zero
}

// Suggest answers q on a day, with the comparables among candidates.
func (m *Model) Suggest(q Query, on Date, s Settings, candidates []Listing) Suggestion {
	out := Suggestion{HorizonDays: s.HorizonDays, Basis: m.basis(q.Category)}
	out.Comparables = m.Comparables(q.Attributes, on, soldOnly(candidates), ComparableRows)
	q.Estimate = q.ownPrice()
	out.SalePrice, out.RecordsOnly = m.likely(q.Attributes, q.Estimate, on, s)
	if out.SalePrice != nil {
		out.Unseen, out.NeverSold = m.unseen(q.Attributes), out.Basis.SameCategory == 0
		out.Drivers = m.drivers(q.Attributes, m.value.describe(q.Attributes, on), out.SalePrice.Likely)
	}
	out.Refusal, out.Labels = m.doubts(out.SalePrice, q.Estimate > 0, s)
	if out.Refusal == nil {
		out.OwnPrice = m.ownPrice(q, on, s)
		m.ask(&out, q, on, s)
	}
	return out
}

const tooWide = "No price yet: similar pieces sell over too wide a range. " +
	"Add more of the description, or your own price."

// doubts says whether an ask can be given, and with which labels.
func (m *Model) doubts(price *stats.Range, estimate bool, s Settings) (*furniture.Refusal, []string) {
	if price == nil {
		if estimate {
			return nil, []string{LabelFromEstimate}
		}
		return tooFewSales(m.value.sales, s.MinSales), nil
	}
	ratio := price.High / price.Low
	if ratio > wideRatio && !estimate {
		return &furniture.Refusal{Reason: IntervalTooWide, Have: ratio, Need: wideRatio, Detail: tooWide}, nil
	}
	if ratio > warnRatio {
		return nil, []string{LabelLowConfidence}
	}
	return nil, nil
}

// ask fills in the asks and what they lead to.
func (m *Model) ask(out *Suggestion, q Query, on Date, s Settings) {
	within := q.WithinDays
	if within <= 0 {
		within = 30
	}
	o := m.position(q, on, s)
	if q.Standing != nil {
		out.Demand = o.k / o.r
	}
	asks := candidates(o.typical, o.estimate)
	for _, a := range asks {
		p := o.point(a, within)
		out.Curve = append(out.Curve, p)
		if p.ChanceSold >= evenOdds || out.WithinAsk == 0 {
			out.WithinAsk, out.WithinProb = a, p.ChanceSold
		}
	}
	out.AskForGood, _ = o.best(asks, o.holding)
	p := o.askPlanner(q, asks, on, s)
	best := o.bestPlan(p, q, on, s)
	out.Plan, out.Ask = o.dated(best), best.Steps[0].Ask
	out.Money = s.money(o, func(holding float64) float64 { return p.Plan(holding, 0, math.Inf(1)).Steps[0].Ask })
	plan := func(holding, from, to float64) Plan { return o.dated(p.Plan(holding, from, to)) }
	for _, c := range []struct {
		name string
		plan Plan
	}{
		{"quick", plan(quickFactor*o.holding, 0, out.Ask)},
		{"balanced", out.Plan},
		{"patient", plan(o.holding/quickFactor, out.Ask, math.Inf(1))},
	} {
		choice := Choice{Name: c.name, Point: o.point(c.plan.Steps[0].Ask, within), Plan: c.plan}
		choice.ExpectedNet = c.plan.Net
		out.Choices = append(out.Choices, choice)
	}
	balanced := out.Choices[1]
	out.ChanceSold = &Chance{WithinDays: within, Probability: balanced.ChanceSold}
	out.MedianDays, out.P80Days = balanced.MedianDays, balanced.P80Days
}

// askPlanner plans over the asks that a piece may be offered at from today, its
// present one among them.
func (o outlook) askPlanner(q Query, asks []float64, on Date, s Settings) *askplan.Planner {
	asks = thinned(asks, planAsks)
	if ask, open := q.Standing.askOn(on); open {
		asks = withAsk(asks, ask)
		if k := q.Standing.Kept; k != nil && k.Ask == ask && k.NextAsk > 0 {
			asks = withAsk(asks, k.NextAsk)
		}
	}
	return o.planner(asks, s)
}

// askOn is the ask of a listing on offer.
func (st *Standing) askOn(on Date) (ask float64, open bool) {
	if st == nil {
		return 0, false
	}
	return st.Listing.askOn(on)
}

// bestPlan is that of a review where the piece is on offer. One that was asked
// too little for since it came up, and never cut, may be asked more for, where
// that gains as much as a flag must.
func (o outlook) bestPlan(p *askplan.Planner, q Query, on Date, s Settings) askplan.Plan {
	ask, open := q.Standing.askOn(on)
	if !open {
		return p.Plan(o.holding, 0, math.Inf(1))
	}
	best := o.course(*q.Standing, ask, on, s).Plan
	if o.age < s.step() && len(q.Standing.Listing.Asks) == 1 && p.Asks[len(p.Asks)-1] > ask {
		if more := p.Plan(o.holding, math.Nextafter(ask, math.Inf(1)), math.Inf(1)); more.Net >= best.Net+s.FlagGain*ask {
			return more
		}
	}
	return best
}

// position is the outlook of a query: of an open listing at its age with the
// demand seen so far, of another one as new.
func (m *Model) position(q Query, on Date, s Settings) outlook {
	if q.Standing == nil {
		return m.outlook(q.Attributes, on, m.fitFor(q.Attributes, q.Estimate, on, s), q.Estimate, s)
	}
	listed := q.Standing.Listing.ListedOn
	o := m.outlook(q.Attributes, on, m.fitFor(q.Attributes, q.Estimate, listed, s), q.Estimate, s)
	seen := m.evidence(*q.Standing, on, s)
	o.k, o.r = seen.k(), seen.r()
	return o.from(seen.age)
}

// planner prepares the plans over some rising asks; a new ask begins today.
func (o outlook) planner(asks []float64, s Settings) *askplan.Planner {
	return askplan.New(o.market(asks, s))
}

// market is what a piece meets from now on at some rising asks.
func (o outlook) market(asks []float64, s Settings) askplan.Market {
	step := s.step()
	m := askplan.Market{
		Asks: asks, Ahead: o.ahead, Shape: o.k, Rate: o.r,
		Holding: o.holding, Salvage: o.salvage, Horizon: o.horizon, First: step, Step: step,
	}
	for _, a := range m.Asks {
		m.Paces, m.Sales = append(m.Paces, o.pace(a)), append(m.Sales, (1-o.fee)*o.negotiation*a)
	}
	return m
}

// dated is a plan with its days.
func (o outlook) dated(p askplan.Plan) Plan {
	out := Plan{Net: p.Net, Steps: make([]Step, len(p.Steps))}
	for i, s := range p.Steps {
		out.Steps[i].Step = s
		if !o.on.IsZero() {
			out.Steps[i].On = o.on + Date(s.FromDay)
		}
	}
	return out
}

func soldOnly(listings []Listing) []Listing {
	return before(listings, func(l Listing) bool { return l.Outcome == Sold && validPrice(l.SalePrice) })
}
