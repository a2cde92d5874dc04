package pricing

import "math"

// PurchaseQuery asks for the most to pay for a piece.
type PurchaseQuery struct {
	Attributes         // in the state that it will be listed in, after the planned work
	Estimate   float64 // the buyer's own idea of the ask; zero: none

	Materials float64 // money, of the planned work
	Hours     float64 // of the planned work, fetching and selling
	Transport float64 // money: fetching the piece
	Other     float64 // money
	DaysOut   int     // days owned before it can be listed

	Price  float64 // asked for the piece, if known: ChanceOfLoss and ExpectedProfit are at this price
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
	MostToPay      *float64 // cautious; nil where refused
	AtLikely       *float64
	BreakEven      *float64
	ExpectedProfit *float64 // at PurchaseQuery.Price, else at MostToPay
	ChanceOfLoss   *float64 // at the same price
	RuleOfThird    *float64 // a third of the likely sale price, less transport and materials: common practice

	Ask        float64 // the balanced ask that the figures rest on
	LikelySale float64
	SalePrice  *Range
	Costs      PurchaseCosts
	Basis      Basis
	Labels     []string
	Refusal    *Refusal
	Sentences  []string
}

// PurchaseCosts are the costs between buying and the sale.
type PurchaseCosts struct {
	Materials, Labor, Transport, Other float64
	Holding                            float64 // before listing and expected until the sale
	Fees                               float64 // expected
}

// PurchaseLimits returns the most to pay:
//
//	break-even = max_a net(a; c) − materials − hours × hourly value − c·D − transport − other
//	at likely  = break-even − wanted profit
//	most to pay: the same with f replaced by f − t_{0.75} s √(1 + h), without the estimate
//
// Pieces that look cheap are often cheap for a reason that the description
// leaves out (the winner's curse); hence the cautious figure.
func (m *Model) PurchaseLimits(q PurchaseQuery, on Date, s Settings) PurchaseLimit {
	out := PurchaseLimit{Basis: m.basis(q.Category)}
	if !validPrice(q.Estimate) {
		q.Estimate = 0
	}
	p := m.value.predict(m.value.describe(q.Attributes, on))
	enough := m.value.sales >= s.MinSales
	if enough {
		out.SalePrice = ref(m.value.interval(p))
	}
	out.Refusal, out.Labels = m.doubts(out.SalePrice, q.Estimate > 0, s)
	hour := s.HourValue
	if hour <= 0 {
		hour = q.Target.Hourly
	}
	if out.Refusal == nil && q.Hours > 0 && hour <= 0 {
		out.Refusal = &Refusal{Reason: HourValueUnknown, Detail: "An hour of work has no value yet: set the group's hourly value, or ask for an hourly earning."}
	}
	if out.Refusal == nil {
		m.limit(&out, q, on, s, hour, enough, p)
	}
	out.Sentences = out.explain()
	return out
}

// limit fills in the figures.
func (m *Model) limit(out *PurchaseLimit, q PurchaseQuery, on Date, s Settings, hour float64, enough bool, p prediction) {
	ready := on + Date(min(q.DaysOut, maxCalendar))
	o := m.outlook(q.Attributes, ready, m.fitFor(q.Attributes, q.Estimate, on, s), q.Estimate, s)
	ask, net := o.best(candidates(o.typical, q.Estimate), o.holding)
	costs := PurchaseCosts{Materials: q.Materials, Labor: q.Hours * hour, Transport: q.Transport, Other: q.Other}
	before := costs.Materials + costs.Labor + costs.Transport + costs.Other + o.holding*float64(q.DaysOut)
	breakEven := net - before
	atLikely := breakEven - q.Target.wanted(o, ask, breakEven, q.Hours, hour, s)

	costs.Holding = o.holding * (float64(q.DaysOut) + o.waiting(ask))
	costs.Fees = o.fee * o.negotiation * ask * o.sold(ask, o.horizon)
	out.Costs = costs
	out.Ask, out.LikelySale = ask, o.negotiation*ask
	out.BreakEven, out.AtLikely = &breakEven, &atLikely
	out.RuleOfThird = ref(out.LikelySale/3 - q.Transport - q.Materials)
	if !enough {
		out.Refusal = tooFewSales(m.value.sales, s.MinSales) // of the cautious figure
		return
	}
	low := m.outlook(q.Attributes, ready, p.f-m.value.quantile(0.75)*p.scale, 0, s)
	lowAsk, lowNet := low.best(candidates(low.typical, 0), low.holding)
	left := lowNet - before - (low.holding-o.holding)*float64(q.DaysOut)
	most := math.Min(atLikely, left-q.Target.wanted(low, lowAsk, left, q.Hours, hour, s))
	out.MostToPay = &most

	price := q.Price
	if price <= 0 {
		price = math.Max(0, most)
	}
	out.ExpectedProfit = ref(breakEven - price)
	out.ChanceOfLoss = ref(m.chanceOfLoss(o, ask, p, before+price))
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
		f := p.f + p.scale*m.value.quantile((float64(i)+0.5)/midQuantiles)
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
