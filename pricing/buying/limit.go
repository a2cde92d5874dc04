package buying

import (
	"math"

	"askwright/pricing"
	"askwright/pricing/furniture"
	"askwright/pricing/refinish"
	"askwright/pricing/stats"
)

// Query asks for the most to pay for a piece.
type Query struct {
	furniture.Attributes         // in the state that it will be listed in, after the planned work
	Planned              bool    // the finish is planned, so that it must be possible on the material
	OwnPrice             float64 // what the buyer would ask for the finished piece; zero: not told

	Materials float64 // money, of the planned work
	Hours     float64 // of the planned work, pickup and selling; zero: unknown
	Pickup    float64 // money
	Other     float64 // money
	DaysOut   int     // days owned before it can be listed

	SellerAsk *float64 // nil: not known
	Target    Target
}

// Target is the profit wanted. At most one field is set; none: no profit is
// wanted beyond the hours at their rate and Settings.MinimumProfit.
type Target struct {
	MarginPercent float64 // profit as a share of the sale price after fees, in points
	PerHour       float64 // earned per hour of work, instead of Settings.HourValue
	Profit        float64
}

// Limit answers a Query. Money is in the group's unit; a limit may be negative:
// the piece is not worth its hours even for nothing.
type Limit struct {
	MostToPay    *float64 // nil where refused
	AtLikely     *float64 // what leaves the wanted profit on average; nil where no profit is stated
	BreakEven    *float64 // where the hours are just paid on average; nil likewise
	RuleOfThird  *float64 // a third of the likely sale price, less pickup and materials: common practice
	OpeningOffer *float64 // a price point; nil: there is none
	WalkAway     *float64 // the highest price point that is not above MostToPay

	AtMost      *Outcome // of paying MostToPay, or nothing where it is negative; nil where no profit is stated
	AtSellerAsk *Outcome // nil: not known, or no profit is stated

	SellerAsk   *float64 // as told
	PassBy      string   // PassByCash, PassByHours; empty: no reason to
	Net         float64  // at the likely value after fees and all costs: what prices asked are held against
	SaleCash    float64  // the same before those costs: what a purchase is judged by
	Variance    float64  // of the log of that value
	Usual       float64  // share of the net that is usually asked
	Caution     float64  // factor on the value, for what is asked and for what purchases brought; 1: none
	Ask         float64  // the first of Plan
	Plan        pricing.Plan
	LikelySale  float64
	Likely      *stats.Range // nil: too few sales
	Costs       Costs
	HourlyRate  float64       // zero: unknown
	Sensitivity []Sensitivity // what moves MostToPay most first
	Basis       pricing.Basis
	Labels      []string
	Refusal     *furniture.Refusal
}

// Why to pass at what is asked, or, where that is not known, even for nothing.
const (
	PassByCash  = "cash_left"        // cash is lost
	PassByHours = "left_after_hours" // the hours are not paid
)

// Labels of limits.
const (
	LabelPriceUntold  = "seller_ask_missing" // what is asked tells how far to trust a bargain
	LabelProfitUntold = "own_price_missing"  // too few sales to state a profit without it
)

// Outcome is what a price leads to on average: three figures, apart.
type Outcome struct {
	Price          float64
	CashLeft       float64  // after fees and all that is paid for: as the ledger counts
	CashPerHour    *float64 // nil: hours unknown
	LeftAfterHours *float64 // cash left less the hours at their rate; nil: the rate is unknown
	ChanceOfLoss   float64  // that no cash is left
}

// Costs are the costs between buying and the sale.
type Costs struct {
	Materials, Labor, Pickup, Other float64
	Holding                         float64 // before listing and expected until the sale
	Fees                            float64 // expected
}

const (
	limitShare    = 0.75 // of pieces that are worth at least what the limit rests on
	openingShare  = 0.90 // the same, of the opening offer
	middles       = 9    // mid-quantiles that a profit is averaged over
	profitSales   = 50   // below, no profit is stated without the buyer's own price
	lowestOpening = 0.5  // of the price to walk away at; common practice, no source
)

// NewLimit returns the most to pay:
//
//	value = log of the likely value + min(0, κ (x − θ)) + log R,  spread = its spread · √(1 − κ)
//	κ = variance / (variance + τ²),  x = log(asked / net);  κ = 0 where nothing is asked
//	most to pay = cash at the lower quartile of that value − all costs, the hours at their rate
//
// A wanted profit replaces the quartile: then it is the mean cash over the value,
// less all costs and that profit. All is in cash, as the ledger will have it: the
// space is in the plan of asks, not in the limit. (Taken off there as well, it
// refused what paid, on top of the quartile; see docs/pricing.md.) Figures and
// chances are means over nine mid-quantiles of the value, at that plan.
func NewLimit(m *pricing.Model, q Query, on pricing.Date, s pricing.Settings, e Experience) Limit {
	b := newFind(m, q, on, s, e)
	out := Limit{
		Basis: b.worth.Basis, Likely: b.worth.Price, Refusal: b.worth.Refusal, Labels: b.worth.Labels, SellerAsk: q.SellerAsk,
		HourlyRate: b.hour,
	}
	if out.Refusal == nil && q.Planned {
		look := refinish.Look{Finish: q.Finish, Color: q.Color, SecondFinish: q.SecondFinish, SecondColor: q.SecondColor}
		out.Refusal = refinish.WhyNot(refinish.Look{}.On(q.Attributes), look)
	}
	if out.Refusal == nil {
		b.limit(&out)
	}
	return out
}

// find is a piece being worked out.
type find struct {
	m     *pricing.Model
	q     Query
	on    pricing.Date
	s     pricing.Settings
	hour  float64 // value of one; zero: unknown
	worth pricing.Worth
	e     Experience

	net, variance float64 // see Limit
	saleCash      float64
	kappa         float64
	value, spread float64 // of the log of the value, for the purchase

	lower, lowest float64          // quantiles of the standard t, for the limit and the opening
	points        [middles]float64 // mid-quantiles
}

func newFind(m *pricing.Model, q Query, on pricing.Date, s pricing.Settings, e Experience) find {
	b := find{m: m, q: q, on: on, s: s, hour: s.HourValue, e: e}
	if b.hour <= 0 {
		b.hour = q.Target.PerHour
	}
	ready := on + pricing.Date(min(q.DaysOut, mostDaysOut))
	b.worth = m.Worth(q.Attributes, q.OwnPrice, on, ready, s)
	if b.worth.Refusal != nil {
		return b
	}
	b.lower, b.lowest = b.worth.Quantile(1-limitShare), b.worth.Quantile(1-openingShare)
	for i := range b.points {
		b.points[i] = b.worth.Quantile((float64(i) + 0.5) / middles)
	}
	b.judge()
	return b
}

const mostDaysOut = 3660

// judge sets what is asked against what the piece should bring.
func (b *find) judge() {
	b.variance = b.worth.Variance
	b.saleCash = b.worth.AtValue(b.worth.Value).Cash
	b.net = math.Max(leastNetShare*b.worth.Negotiation*b.worth.Ask(), b.saleCash-b.costs())
	b.value = b.worth.Value + math.Log(b.e.Ratio())
	b.spread = math.Sqrt(b.variance)
	if b.q.SellerAsk != nil && *b.q.SellerAsk > 0 { // what is given away tells nothing of what is usual
		theta, tau2 := b.e.usual()
		b.kappa = b.variance / (b.variance + tau2)
		b.value += math.Min(0, b.kappa*(LogRatio(*b.q.SellerAsk, b.net)-theta))
		b.spread *= math.Sqrt(1 - b.kappa)
	}
}

// paid is what is paid for until it can be listed, the price aside.
func (b *find) paid() float64 { return b.q.Materials + b.q.Pickup + b.q.Other }

// labor is the hours at their rate.
func (b *find) labor() float64 { return b.q.Hours * b.hour }

// costs are both.
func (b *find) costs() float64 { return b.paid() + b.labor() }

// bears is what can be paid at a quantile of the value without a loss.
func (b *find) bears(quantile float64) float64 {
	return b.worth.AtValue(b.value+quantile*b.spread).Cash - b.costs()
}

// courses are what the plan leads to at nine mid-quantiles of the value.
func (b *find) courses() []pricing.Course {
	out := make([]pricing.Course, middles)
	for i, quantile := range b.points {
		out[i] = b.worth.AtValue(b.value + quantile*b.spread)
	}
	return out
}

func mean(all []pricing.Course, of func(pricing.Course) float64) float64 {
	sum := 0.0
	for _, c := range all {
		sum += of(c)
	}
	return sum / float64(len(all))
}

func cashOf(c pricing.Course) float64 { return c.Cash }

// most is the limit of the find.
func (b *find) most(courses []pricing.Course) float64 {
	if b.q.Target == (Target{}) {
		cautious := b.bears(b.lower)
		if b.s.MinimumProfit > 0 {
			return math.Min(cautious, mean(courses, cashOf)-b.costs()-b.s.MinimumProfit)
		}
		return cautious
	}
	return mean(courses, cashOf) - b.costs() - b.wanted()
}

// wanted is the profit asked for, beyond the hours at their rate.
func (b *find) wanted() float64 {
	switch t := b.q.Target; {
	case t.Profit > 0:
		return t.Profit
	case t.MarginPercent > 0:
		return t.MarginPercent / 100 * (1 - b.worth.Fee) * b.worth.Negotiation * b.worth.Ask()
	case t.PerHour > 0:
		return b.q.Hours * (t.PerHour - b.hour)
	}
	return b.s.MinimumProfit
}

// limit fills in the figures.
func (b *find) limit(out *Limit) {
	courses := b.courses()
	out.Net, out.SaleCash, out.Variance, out.Caution = b.net, b.saleCash, b.variance, math.Exp(b.value-b.worth.Value)
	out.Usual = b.e.UsualShare()
	out.Plan, out.Ask, out.LikelySale = b.worth.Plan, b.worth.Ask(), b.worth.Negotiation*b.worth.Ask()
	out.RuleOfThird = new(out.LikelySale/3 - b.q.Pickup - b.q.Materials)
	days := mean(courses, func(c pricing.Course) float64 { return c.Days })
	out.Costs = Costs{
		Materials: b.q.Materials, Labor: b.labor(), Pickup: b.q.Pickup, Other: b.q.Other,
		Holding: b.worth.Holding * (float64(b.q.DaysOut) + days),
		Fees:    mean(courses, func(c pricing.Course) float64 { return c.Fees }),
	}
	stated := b.q.OwnPrice > 0 || b.worth.Sales >= profitSales
	if !stated {
		out.Labels = append(out.Labels, LabelProfitUntold)
	}
	asked := 0.0
	if b.q.SellerAsk == nil {
		out.Labels = append(out.Labels, LabelPriceUntold)
	} else {
		asked = *b.q.SellerAsk
	}
	if at := b.outcome(courses, asked); stated {
		out.PassBy = at.passBy()
		if b.q.SellerAsk != nil {
			out.AtSellerAsk = at
		}
	}
	if b.q.Hours > 0 && b.hour <= 0 {
		out.Refusal = &furniture.Refusal{
			Reason: pricing.HourValueUnknown,
			Detail: "Set your hourly rate first, or ask for an hourly earning.",
		}
		return
	}
	most := b.most(courses)
	out.MostToPay = &most
	if stated {
		breakEven := mean(courses, cashOf) - b.costs()
		out.BreakEven, out.AtLikely = &breakEven, new(breakEven-b.wanted())
		out.AtMost = b.outcome(courses, math.Max(0, most))
	}
	if most >= 1 {
		out.WalkAway = new(pricing.PointAtOrBelow(most))
		out.OpeningOffer = new(b.opening(*out.WalkAway))
	}
	out.Sensitivity = b.sensitivity(most)
}

// outcome is what paying a price leads to.
func (b *find) outcome(courses []pricing.Course, price float64) *Outcome {
	paid := price + b.paid()
	out := &Outcome{Price: price}
	out.CashLeft = mean(courses, cashOf) - paid
	out.ChanceOfLoss = mean(courses, func(c pricing.Course) float64 { return c.Loss(paid) })
	if b.q.Hours > 0 {
		out.CashPerHour = new(out.CashLeft / b.q.Hours)
	}
	if b.q.Hours <= 0 || b.hour > 0 {
		out.LeftAfterHours = new(out.CashLeft - b.labor())
	}
	return out
}

// passBy is the figure that is negative.
func (o *Outcome) passBy() string {
	switch {
	case o.CashLeft < 0:
		return PassByCash
	case o.LeftAfterHours != nil && *o.LeftAfterHours < 0:
		return PassByHours
	}
	return ""
}

// opening is the price point to offer first: what nine in ten such pieces bear,
// less than what is asked by the group's usual haggling.
func (b *find) opening(walkAway float64) float64 {
	offer := b.bears(b.lowest)
	offer = math.Max(lowestOpening*walkAway, math.Min(offer, walkAway))
	if b.q.SellerAsk == nil {
		return pricing.PointAtOrBelow(offer)
	}
	asked := *b.q.SellerAsk
	return math.Min(pricing.PointAtOrBelow(math.Min(offer, b.worth.Negotiation*asked)), asked)
}
