package pricing

import (
	"math"

	"askwright/pricing/stats"
)

// Prospects are what it takes to tell the chance of a sale at any ask without
// the model that it came from: what a suggestion promised can be judged years
// later at the ask that was really used. All of it can be stored as JSON.
type Prospects struct {
	Typical float64          `json:"typical"` // ask, in money
	Pace    float64          `json:"pace"`    // log of the sales a day at the typical ask, before the effect of age
	Gamma   float64          `json:"gamma"`   // elasticity
	Eta     [ageBins]float64 `json:"eta"`     // log of the pace by age band
	Season  [2]float64       `json:"season"`  // of cos and sin of the year's angle
	On      Date             `json:"on"`      // day of the suggestion
	Age     float64          `json:"age"`     // active days so far
	Shape   float64          `json:"shape"`   // of the frailty, given what was seen so far
	Rate    float64          `json:"rate"`

	Negotiation float64 `json:"negotiation"` // sale price over ask
	Fee         float64 `json:"fee"`         // share of the sale price
	Holding     float64 `json:"holding"`     // money a day
	Salvage     float64 `json:"salvage"`     // money, if never sold
	Horizon     float64 `json:"horizon"`     // active days after which it counts as unsold
}

// Outline is a suggestion in brief: what can be judged when the listing ends.
type Outline struct {
	SalePrice   *stats.Range // as in Suggestion; nil where refused
	RecordsOnly *stats.Range
	AskForGood  float64    // zero where refused
	Prospects   *Prospects // nil where no ask is given
	ask         func() float64
}

// Ask is the first one of the best plan; zero where refused.
func (o Outline) Ask() float64 {
	if o.ask == nil {
		return 0
	}
	return o.ask()
}

// Outline is Suggest without curve, drivers, comparables and words.
func (m *Model) Outline(q Query, on Date, s Settings) Outline {
	var out Outline
	q.Estimate = q.ownPrice()
	out.SalePrice, out.RecordsOnly = m.likely(q.Attributes, q.Estimate, on, s)
	if refusal, _ := m.doubts(out.SalePrice, q.Estimate > 0, s); refusal != nil {
		return out
	}
	o := m.position(q, on, s)
	asks := candidates(o.typical, o.estimate)
	out.AskForGood, _ = o.best(asks, o.holding)
	out.ask = func() float64 { return o.bestPlan(o.askPlanner(q, asks, on, s), q, on, s).Steps[0].Ask }
	out.Prospects = &Prospects{
		Typical:     o.typical,
		Pace:        math.Log(o.pace(o.typical)),
		Gamma:       o.rate.gamma(),
		Eta:         o.rate.Eta,
		Season:      o.rate.Season,
		On:          o.on,
		Age:         o.age,
		Shape:       o.k,
		Rate:        o.r,
		Negotiation: o.negotiation,
		Fee:         o.fee,
		Holding:     o.holding,
		Salvage:     o.salvage,
		Horizon:     o.horizon,
	}
	return out
}

// outlook is that of the prospects: the pace at the typical ask stands for
// category and estimate.
func (p Prospects) outlook() outlook {
	o := outlook{
		rate: RateFit{Alpha: p.Pace, Gamma: p.Gamma, Eta: p.Eta, Season: p.Season}, on: p.On, typical: p.Typical, k: p.Shape, r: p.Rate,
		fee: p.Fee, negotiation: p.Negotiation, holding: p.Holding, salvage: p.Salvage, horizon: p.Horizon,
	}
	return o.from(p.Age)
}

// ChanceSold is the chance of a sale within so many active days at an ask that
// begins at an active age.
func (p Prospects) ChanceSold(ask, age, within float64) float64 {
	if !validPrice(ask) || !validPrice(p.Typical) {
		return 0
	}
	return p.at(age).outlook().sold(ask, within)
}

// HalfSoldBy is the smallest number of active days within which half of those
// that begin at an ask are sold; nil: not within the horizon.
func (p Prospects) HalfSoldBy(ask float64) *int {
	if !validPrice(ask) || !validPrice(p.Typical) {
		return nil
	}
	return p.at(0).outlook().reached(ask, evenOdds)
}

// at are the prospects at another active age.
func (p Prospects) at(age float64) Prospects {
	if !p.On.IsZero() {
		p.On += Date(clamp(age-p.Age, -maxCalendar, maxCalendar))
	}
	p.Age = age
	return p
}

// Left is what an ended listing left after fees and holding, the purchase and
// the work not counted.
func (p Prospects) Left(l Listing) float64 {
	left := p.Salvage - p.Holding*float64(l.ActiveDays(l.EndedOn))
	if l.Outcome == Sold {
		left += (1-p.Fee)*l.SalePrice - p.Salvage
	}
	return left
}

// Hindsight is what an ended listing would have left on average, had it begun
// and stayed at an ask, given what came of it: a sale tells of demand, time
// without one of its lack, as the frailty's posterior. One that was taken down
// would have been taken down on that day again. On average over listings the
// difference to Left is what the other asks would have been worth, if the
// elasticity is right.
func (p Prospects) Hindsight(l Listing, ask float64) float64 {
	if !validPrice(ask) || !validPrice(p.Typical) || l.EndedOn.IsZero() {
		return 0
	}
	o := p.outlook()
	p.Age, p.On = 0, l.ListedOn
	p.Rate += o.rate.hazard(rateLevels{}, l.exposures(l.EndedOn), math.Log(p.Typical), 0)
	if l.Outcome == Sold {
		p.Shape++
	} else {
		p.Horizon = clamp(float64(l.ActiveDays(l.EndedOn)), 1, p.Horizon)
	}
	return p.outlook().net(ask, p.Holding)
}

// OwnEstimate is the seller's own judgement: the estimate, or the first ask of
// a listing that was not priced from a suggestion; false where there is none.
func (l Listing) OwnEstimate() (float64, bool) { return l.estimate() }
