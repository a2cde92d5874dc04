package pricing

import (
	"cmp"
	"math"
	"slices"

	"askwright/pricing/furniture"
	"askwright/pricing/refinish"
	"askwright/pricing/stats"
)

// PurchaseQuery asks for the most to pay for a piece.
type PurchaseQuery struct {
	furniture.Attributes         // in the state that it will be listed in, after the planned work
	Planned              bool    // the finish is planned, so that it must be possible on the material
	Estimate             float64 // the buyer's own idea of the ask; zero: none

	Materials float64 // money, of the planned work
	Hours     float64 // of the planned work, fetching and selling; zero: unknown
	Transport float64 // money: fetching the piece
	Other     float64 // money
	DaysOut   int     // days owned before it can be listed

	Price  *float64 // asked for the piece; nil: not known
	Target Target
}

// Target is the profit wanted. At most one field is set; none: the larger of
// half of what is left after all other costs and Settings.MinimumProfit.
type Target struct {
	MarginPercent float64 // profit as a share of the sale price after fees, in points
	Hourly        float64 // earned per hour of work, instead of Settings.HourValue
	Profit        float64
}

// PurchaseLimit answers a PurchaseQuery. Money is in the group's unit; a
// limit may be negative: the piece is not worth fetching at any price.
type PurchaseLimit struct {
	MostToPay   *float64 // cautious; nil where refused
	AtLikely    *float64
	BreakEven   *float64
	RuleOfThird *float64 // a third of the likely sale price, less transport and materials: common practice
	Offer       *float64 // to open with, a price point; nil: leave it, or refused
	WalkAway    *float64 // the highest price point that is not above MostToPay

	AtMost  *PurchaseOutcome // of paying MostToPay, or nothing where it is negative
	AtPrice *PurchaseOutcome // of paying PurchaseQuery.Price; nil: not known

	Ask         float64 // the balanced ask that the figures rest on
	LikelySale  float64
	SalePrice   *stats.Range
	Costs       PurchaseCosts
	Sensitivity []Sensitivity // what moves MostToPay most first
	Basis       Basis
	Labels      []string
	Refusal     *furniture.Refusal
}

// PurchaseOutcome is what a price leads to.
type PurchaseOutcome struct {
	Price          float64
	ExpectedProfit float64  // after all costs, the hours at their value among them
	ProfitPerHour  *float64 // earned on average by an hour of work; nil: hours unknown
	ChanceOfLoss   *float64 // nil: too few sales to tell
}

// PurchaseCosts are the costs between buying and the sale.
type PurchaseCosts struct {
	Materials, Labor, Transport, Other float64
	Holding                            float64 // before listing and expected until the sale
	Fees                               float64 // expected
}

// Sensitivity is what one changed input does to the most to pay.
type Sensitivity struct {
	Input      string // "condition", "sale_price", "size", "hours", "materials", "transport", "other", "days_out"
	Change     string // for people: "one grade lower"
	MostToPay  float64
	Difference float64
}

// PurchaseLimits returns the most to pay:
//
//	break-even = max_a net(a; c) − materials − hours × hourly value − c·D − transport − other
//	at likely  = break-even − wanted profit
//	most to pay: the same with f replaced by f − t_{0.75} s √(1 + h), without the estimate
//
// Pieces that look cheap are often cheap for a reason that the description
// leaves out (the winner's curse); hence the cautious figure. The offer to open
// with is the same limit at t_{0.90}, which nine in ten pieces bear, but at
// least half of the price to walk away at (common practice, no source), and
// less than what is asked by the group's usual haggling.
func (m *Model) PurchaseLimits(q PurchaseQuery, on Date, s Settings) PurchaseLimit {
	out := PurchaseLimit{Basis: m.basis(q.Category)}
	b := m.purchase(q, on, s)
	enough := m.value.sales >= s.MinSales
	if enough {
		out.SalePrice = ref(m.value.interval(b.p))
	}
	out.Refusal, out.Labels = m.doubts(out.SalePrice, b.q.Estimate > 0, s)
	if out.Refusal == nil && q.Planned {
		look := refinish.Look{Finish: q.Finish, Color: q.Color, SecondFinish: q.SecondFinish, SecondColor: q.SecondColor}
		out.Refusal = refinish.WhyNot(refinish.Look{}.On(q.Attributes), look)
	}
	switch {
	case out.Refusal != nil:
	case q.Hours > 0 && b.hour <= 0:
		out.Refusal = &furniture.Refusal{
			Reason: HourValueUnknown,
			Detail: "Set your hourly rate first, or ask for an hourly earning.",
		}
	default:
		b.limit(&out, enough)
	}
	return out
}

// purchase is a query being worked out.
type purchase struct {
	m     *Model
	q     PurchaseQuery
	on    Date
	s     Settings
	p     prediction // of the value
	hour  float64    // value of one
	shift float64    // of the log of the value, to try
}

func (m *Model) purchase(q PurchaseQuery, on Date, s Settings) purchase {
	if !validPrice(q.Estimate) {
		q.Estimate = 0
	}
	b := purchase{m: m, q: q, on: on, s: s, p: m.value.predict(m.value.describe(q.Attributes, on)), hour: s.HourValue}
	if b.hour <= 0 {
		b.hour = q.Target.Hourly
	}
	return b
}

// stake is a purchase at one value of the piece.
type stake struct {
	outlook
	ask, left float64 // left after all costs but the price of the piece
	outlay    float64 // before it is listed, that price aside
	wanted    float64
}

// limit is the most to pay at that value.
func (x stake) limit() float64 { return x.left - x.wanted }

// at works the purchase out for a log value and an estimate (zero: none).
func (b purchase) at(f, estimate float64) stake {
	ready := b.on + Date(min(b.q.DaysOut, maxCalendar))
	x := stake{outlook: b.m.outlook(b.q.Attributes, ready, f+b.shift, estimate, b.s)}
	var net float64
	x.ask, net = x.best(candidates(x.typical, estimate), x.holding)
	x.outlay = b.q.Materials + b.q.Hours*b.hour + b.q.Transport + b.q.Other + x.holding*float64(b.q.DaysOut)
	x.left = net - x.outlay
	x.wanted = b.q.Target.wanted(x.outlook, x.ask, x.left, b.q.Hours, b.hour, b.s)
	return x
}

// likely is the purchase at the likely value.
func (b purchase) likely() stake {
	estimate := b.q.Estimate * math.Exp(b.shift)
	return b.at(b.m.fitFor(b.q.Attributes, b.q.Estimate, b.on, b.s), estimate)
}

// cautious is the purchase at a low quantile of the value, without the estimate.
func (b purchase) cautious(share float64) stake {
	return b.at(b.p.f-b.m.value.Quantile(share)*b.p.scale, 0)
}

// most is the cautious limit.
func (b purchase) most() float64 {
	return math.Min(b.likely().limit(), b.cautious(cautiousShare).limit())
}

// limit fills in the figures.
func (b purchase) limit(out *PurchaseLimit, enough bool) {
	x := b.likely()
	out.Costs = PurchaseCosts{
		Materials: b.q.Materials, Labor: b.q.Hours * b.hour, Transport: b.q.Transport, Other: b.q.Other,
		Holding: x.holding * (float64(b.q.DaysOut) + x.waiting(x.ask)),
		Fees:    x.fee * x.negotiation * x.ask * x.sold(x.ask, x.horizon),
	}
	out.Ask, out.LikelySale = x.ask, x.negotiation*x.ask
	out.BreakEven, out.AtLikely = ref(x.left), ref(x.limit())
	out.RuleOfThird = ref(out.LikelySale/3 - b.q.Transport - b.q.Materials)
	if enough {
		most := math.Min(x.limit(), b.cautious(cautiousShare).limit())
		out.MostToPay = &most
		out.AtMost = b.outcome(x, math.Max(0, most), enough)
		if most >= 1 {
			out.WalkAway = ref(pointAtOrBelow(most))
			out.Offer = ref(b.opening(*out.WalkAway, x.negotiation))
		}
		out.Sensitivity = b.sensitivity(most)
	} else {
		out.Refusal = tooFewSales(b.m.value.sales, b.s.MinSales) // of the cautious figure
	}
	if b.q.Price != nil {
		out.AtPrice = b.outcome(x, *b.q.Price, enough)
	}
}

// outcome is what paying a price leads to.
func (b purchase) outcome(x stake, price float64, enough bool) *PurchaseOutcome {
	out := &PurchaseOutcome{Price: price, ExpectedProfit: x.left - price}
	if b.q.Hours > 0 {
		out.ProfitPerHour = ref(out.ExpectedProfit/b.q.Hours + b.hour)
	}
	if enough {
		out.ChanceOfLoss = ref(b.m.chanceOfLoss(x.outlook, x.ask, b.p, x.outlay+price))
	}
	return out
}

// opening is the price point to offer first.
func (b purchase) opening(walkAway, negotiation float64) float64 {
	offer := clamp(b.cautious(openingShare).limit(), walkAway/2, walkAway)
	if b.q.Price == nil {
		return pointAtOrBelow(offer)
	}
	return math.Min(pointAtOrBelow(math.Min(offer, negotiation**b.q.Price)), *b.q.Price)
}

// sensitivity works the purchase out again with each input changed alone.
func (b purchase) sensitivity(most float64) []Sensitivity {
	var out []Sensitivity
	try := func(input, change string, alter func(q *PurchaseQuery)) {
		q := b.q
		alter(&q)
		now := b.m.purchase(q, b.on, b.s).most()
		out = append(out, Sensitivity{Input: input, Change: change, MostToPay: now, Difference: now - most})
	}
	dearer := func(input string, amount func(q *PurchaseQuery) *float64) {
		if *amount(&b.q) > 0 {
			try(input, "a quarter more", func(q *PurchaseQuery) { *amount(q) *= 1.25 })
		}
	}
	lower := b
	lower.shift = math.Log(0.9)
	out = append(out, Sensitivity{Input: "sale_price", Change: "10 % lower", MostToPay: lower.most()})
	out[0].Difference = out[0].MostToPay - most
	switch c := b.q.Condition; {
	case c > 1:
		try("condition", "one grade lower", func(q *PurchaseQuery) { q.Condition-- })
	case c == 1:
		try("condition", "one grade higher", func(q *PurchaseQuery) { q.Condition++ })
	default:
		try("condition", "fair instead of unknown", func(q *PurchaseQuery) { q.Condition = 2 })
	}
	if _, known := b.q.LogVolume(); known {
		try("size", "10 % less wide", func(q *PurchaseQuery) { q.Width *= 0.9 })
	}
	dearer("hours", func(q *PurchaseQuery) *float64 { return &q.Hours })
	dearer("materials", func(q *PurchaseQuery) *float64 { return &q.Materials })
	dearer("transport", func(q *PurchaseQuery) *float64 { return &q.Transport })
	dearer("other", func(q *PurchaseQuery) *float64 { return &q.Other })
	try("days_out", "a week more", func(q *PurchaseQuery) { q.DaysOut += 7 })
	slices.SortStableFunc(out, func(x, y Sensitivity) int {
		return cmp.Compare(math.Abs(y.Difference), math.Abs(x.Difference))
	})
	return out
}

// wanted is the profit asked for; without a target the larger of half of what
// is left after all other costs and the group's minimum per piece.
func (t Target) wanted(o outlook, ask, left, hours, hour float64, s Settings) float64 {
	switch {
	case t.Profit > 0:
		return t.Profit
	case t.MarginPercent > 0:
		return t.MarginPercent / 100 * (1 - o.fee) * o.negotiation * ask
	case t.Hourly > 0:
		return hours * (t.Hourly - hour)
	}
	return math.Max(left/2, s.MinimumProfit)
}

// waiting is the expected number of active days until the sale or the horizon.
func (o outlook) waiting(ask float64) float64 {
	y := make([]float64, len(o.times))
	for i, b := range o.base {
		y[i] = survivalAt(o.pace(ask)*b, o.k, o.r)
	}
	return trapezoid(o.times, y)
}

// chanceOfLoss is the share of cases in which the piece has not sold by the
// day on which holding it has eaten the profit,
//
//	(1−φ) ρ a − c·t − outlay = 0,
//
// over 40 mid-quantiles of the t predictive of its value.
func (m *Model) chanceOfLoss(o outlook, ask float64, p prediction, outlay float64) float64 {
	margin := (1-o.fee)*o.negotiation*ask - outlay
	if margin <= 0 {
		return 1
	}
	t := o.horizon
	if o.holding > 0 {
		t = math.Min(t, margin/o.holding)
	}
	sum := 0.0
	for i := range midQuantiles {
		f := p.f + p.scale*m.value.middles[i]
		c := o
		c.typical = bounded(f + m.rates.Opening)
		c.premium = 0
		if o.estimate > 0 {
			c.premium = math.Log(o.estimate) - f - m.rates.Opening
		}
		sum += 1 - c.sold(ask, t)
	}
	return sum / midQuantiles
}
