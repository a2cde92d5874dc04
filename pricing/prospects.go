package pricing

import "math"

// Prospects are what it takes to tell the chance of a sale at any ask without
// the model that it came from: what a suggestion promised can be judged years
// later at the ask that was really used. All of it can be stored as JSON.
type Prospects struct {
	Typical float64          `json:"typical"` // ask, in money
	Pace    float64          `json:"pace"`    // log of the sales a day at the typical ask, before the effect of age
	Gamma   float64          `json:"gamma"`   // elasticity
	Eta     [ageBins]float64 `json:"eta"`     // log of the pace by age band
	Age     float64          `json:"age"`     // active days so far
	Shape   float64          `json:"shape"`   // of the frailty, given what was seen so far
	Rate    float64          `json:"rate"`
}

// Outline is a suggestion in brief: what can be judged when the listing ends.
type Outline struct {
	SalePrice *Range     // nil where refused
	Ask       float64    // the balanced choice; zero where refused
	Prospects *Prospects // nil where no ask is given
}

// Outline is Suggest without curve, drivers, comparables and words.
func (m *Model) Outline(q Query, on Date, s Settings) Outline {
	var out Outline
	if m.value.sales >= s.MinSales {
		out.SalePrice = ref(m.value.interval(m.value.predict(m.value.describe(q.Attributes, on))))
	}
	if !validPrice(q.Estimate) {
		q.Estimate = 0
	}
	if q.Estimate == 0 && q.Standing != nil {
		q.Estimate, _ = q.Standing.Listing.estimate()
	}
	if refusal, _ := m.doubts(out.SalePrice, q.Estimate > 0, s); refusal != nil {
		return out
	}
	o := m.position(q, on, s)
	out.Ask, _ = o.best(candidates(o.typical, q.Estimate), o.holding)
	out.Prospects = &Prospects{
		Typical: o.typical, Pace: math.Log(o.pace(o.typical)), Gamma: o.rate.gamma(), Eta: o.rate.Eta,
		Age: o.age, Shape: o.k, Rate: o.r,
	}
	return out
}

// ChanceSold is the chance of a sale within so many active days at an ask that
// begins at an active age.
func (p Prospects) ChanceSold(ask, age, within float64) float64 {
	if !validPrice(ask) || !validPrice(p.Typical) {
		return 0
	}
	pace := math.Exp(clamp(p.Pace-p.Gamma*math.Log(ask/p.Typical), -14, 5))
	return soldBy(pace*RateFit{Eta: p.Eta}.cumulative(age, within), p.Shape, p.Rate)
}
