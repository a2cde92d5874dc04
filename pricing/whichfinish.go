package pricing

import (
	"cmp"
	"math"
	"slices"

	"askwright/pricing/askplan"
	"askwright/pricing/furniture"
	"askwright/pricing/refinish"
	"askwright/pricing/stats"
)

// RefinishQuery asks which finish pays on a piece, and what one takes.
type RefinishQuery struct {
	refinish.Job           // an empty Look.Finish: none is planned
	Estimate     float64   // the seller's own, where it counts; zero: none
	Standing     *Standing // the open listing that the piece is on; nil before it is listed
}

// RefinishAnswer answers a RefinishQuery.
type RefinishAnswer struct {
	Planned  *Refinish  // of the look asked for
	Finishes []Refinish // the best by NetPerHour first; unranked without sales enough
	Refused  []Refused  // finishes with evidence that the piece does not take
	AsItIs   *Remedy    // the best plan without a change of look; nil where refused
	Proven   int        // sales in the finish that it has: below ProvenSales, AsItIs is a guess
	LetGo    float64    // what the piece is worth when it never sells
	Compared int        // looks that were ranked

	Basis   Basis
	Labels  []string           // "low_confidence", LabelHourValueUnknown
	Refusal *furniture.Refusal // of what follows from a look; the work is told all the same
}

// Refused is a look with the reason why it cannot be.
type Refused struct {
	Look    refinish.Look
	Refusal furniture.Refusal
}

// LabelHourValueUnknown says that labor is not in the costs.
const LabelHourValueUnknown = "hour_value_unknown"

// Refinishes reckons the work of every look that the group has evidence for or
// offers itself, and what would follow from it, as a review does: value, pace,
// ask and net, held against leaving the piece as it is. They are ranked by
//
//	net per hour = (expected net before labor − net of leaving the piece) / hours.
func (m *Model) Refinishes(q RefinishQuery, on Date, s Settings) RefinishAnswer {
	out := RefinishAnswer{Basis: m.basis(q.Category)}
	if !validPrice(q.Estimate) {
		q.Estimate = 0
	}
	if q.Estimate == 0 && q.Standing != nil {
		q.Estimate, _ = q.Standing.Listing.estimate()
	}
	var price *stats.Range
	if m.value.sales >= s.MinSales {
		price = ref(m.value.interval(m.value.predict(m.value.describe(q.Attributes, on))))
	} else {
		out.Refusal = tooFewSales(m.value.sales, s.MinSales) // also with an estimate: no effect of a look is known
	}
	if out.Refusal == nil {
		out.Refusal, out.Labels = m.doubts(price, q.Estimate > 0, s)
	}
	if s.HourValue <= 0 {
		out.Labels = append(out.Labels, LabelHourValueUnknown)
	}
	var c *staying
	if out.Refusal == nil {
		c = ref(m.staying(q, on, s))
		out.AsItIs, out.LetGo, out.Proven = &c.leaving.Remedy, c.fresh.salvage, m.sold("finish:"+q.Finish)
	}
	out.compare(m, q, c, s)
	return out
}

// staying is the piece of a query as it is.
func (m *Model) staying(q RefinishQuery, on Date, s Settings) staying {
	o := m.position(Query{Attributes: q.Attributes, Estimate: q.Estimate, Standing: q.Standing}, on, s)
	c := staying{Attributes: q.Attributes, on: on, fresh: o.from(0), zs: o.frailties()}
	if q.Standing != nil {
		c.on = q.Standing.Listing.ListedOn
	}
	var plan askplan.Plan
	if ask, open := q.Standing.askOn(on); open {
		plan = o.course(*q.Standing, ask, on, s).Plan
	} else {
		plan = o.planner(thinned(candidates(o.typical, o.estimate), planAsks), s).Plan(o.holding, 0, math.Inf(1))
	}
	c.leaving = o.planned(ActionWait, plan, 0, c.zs)
	return c
}

// compare fills in the planned look and the ranking. Without c the work alone
// is told.
func (out *RefinishAnswer) compare(m *Model, q RefinishQuery, c *staying, s Settings) {
	if q.Look.Finish != "" {
		out.Planned = ref(m.reckon(q.Job, c, s))
	}
	looks := plainLooks
	if c != nil {
		looks = m.looks(q.Attributes)
	}
	for _, o := range s.RefinishOptions {
		if look := (refinish.Look{Finish: o.Finish, Color: o.Color}); !slices.Contains(looks, look) {
			looks = append(slices.Clone(looks), look)
		}
	}
	var refused []string
	for _, look := range looks {
		j := q.Job
		j.Look = look.Planned(q.Look)
		r := m.reckon(j, c, s)
		why := r.Work.Refusal
		switch {
		case why == nil && (c == nil || r.Priced):
			out.Finishes = append(out.Finishes, r)
		case why != nil && why.Reason != refinish.SameLook && !slices.Contains(refused, look.Finish):
			refused = append(refused, look.Finish)
			out.Refused = append(out.Refused, Refused{look, *why})
		}
	}
	if c == nil {
		return
	}
	out.Compared = len(out.Finishes)
	slices.SortStableFunc(out.Finishes, func(a, b Refinish) int {
		return cmp.Or(cmp.Compare(b.perHour(), a.perHour()), cmp.Compare(b.Gain, a.Gain))
	})
}

// Pays tells whether a look earns more by its hours than one is worth.
func (r Refinish) Pays(hour float64) bool { return r.perHour() > hour && r.Gain > 0 }

// perHour ranks; what takes no hours ranks by the sign of its gain.
func (r Refinish) perHour() float64 {
	if r.NetPerHour != nil {
		return *r.NetPerHour
	}
	return math.Copysign(math.MaxFloat64, r.Gain)
}

// Reckon says what a look takes: the work, and its price as the group quotes it
// itself, else as it was reckoned. A quote does without a plan and without
// prices of materials.
func (s Settings) Reckon(j refinish.Job) (w refinish.Work, price refinish.Option, quoted bool) {
	w = s.Workshop.Estimate(j)
	price, quoted = s.quoted(j.Look)
	if !quoted {
		return w, w.Option(), false
	}
	if w.Refusal != nil && (w.Refusal.Reason == refinish.NoSuchFinish || w.Refusal.Reason == refinish.PriceUnknown) {
		w.Refusal = nil
	}
	return w, price, true
}

// reckon tells the work of a look and, with c, what follows from it.
func (m *Model) reckon(j refinish.Job, c *staying, s Settings) Refinish {
	w, price, quoted := s.Reckon(j)
	out := Refinish{Look: j.Look}
	if c != nil && w.Refusal == nil {
		if r, ok := m.refinish(*c, j.Look, price, s); ok {
			out = r
		}
	}
	out.Action, out.Finish, out.Color = ActionRefinish, j.Look.Finish, j.Look.Color
	out.Materials, out.Hours, out.DaysOut = price.Materials, price.Hours, price.DaysOut
	out.Work, out.Quoted = w, quoted
	return out
}
