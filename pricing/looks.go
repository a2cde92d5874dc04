package pricing

import (
	"cmp"
	"math"
	"slices"

	"askwright/pricing/furniture"
	"askwright/pricing/hedonic"
	"askwright/pricing/pricepoint"
	"askwright/pricing/refinish"
)

// ProvenSales is how many sales of a finish, or of a color, make it a candidate.
const ProvenSales = 5

const (
	reviewedLooks  = 6 // priced in full for a review: the likeliest
	reviewRemedies = 3 // of them told, at most
)

// Refinish is one change of look: what it takes and what it would bring.
type Refinish struct {
	Look            refinish.Look
	Remedy          // ActionRefinish; Cost: materials, labor, and holding meanwhile
	Materials       float64
	Quoted          bool          // hours, materials and days are the group's own
	Work            refinish.Work // as reckoned
	Priced          bool          // the group has sales enough to say what follows, and the ask and nets of Remedy
	Percent         float64       // of the likely sale price, in points
	Low, High       float64       // 80 % interval of Percent
	Sales           int           // of the finish
	ColorSales      int           // of the color
	Pace            float64       // of sale at its typical ask, against the present look
	NetPerHour      *float64
	Distinguishable bool // the interval leaves out zero

	nets []float64 // by frailty
}

// staying is a piece as it is: what a change of look is held against.
type staying struct {
	furniture.Attributes
	on      Date    // of the description
	fresh   outlook // anew on the market, with the demand seen so far
	zs      []float64
	leaving priced // going on as it is, or offering it so
}

// change is what a look does to the log of the price: its location and the
// scale of its t distribution, levels without a sale included.
func (m *Model) change(a, b furniture.Attributes, on Date) (at, scale float64) {
	v := m.value
	difference := map[string]float64{}
	var order []string
	for i, piece := range []furniture.Attributes{b, a} {
		for _, t := range hedonic.Terms(piece, on) {
			if _, ok := difference[t.Name]; !ok {
				order = append(order, t.Name)
			}
			difference[t.Name] += t.Value * float64(1-2*i)
		}
	}
	var changed []Term
	for _, name := range order {
		if x := difference[name]; x != 0 {
			changed = append(changed, Term{Name: name, Value: x})
		}
	}
	d := v.Row(changed)
	return v.Location(d.X), v.Spread() * math.Sqrt(v.Leverage(d.X)+d.Unseen)
}

// refinish prices one other look: the fit with the new levels, the estimate
// moved along with it so that the premium stays, a fresh age, but the same
// frailty, for a new finish does not forgive a slow piece. The chance that it
// beats leaving the piece goes over 40 frailties, each with another of the 40
// mid-quantiles of the look's effect: what is not known of the look counts,
// too. It is false where no ask is in reach.
func (m *Model) refinish(c staying, look refinish.Look, opt refinish.Option, s Settings) (Refinish, bool) {
	after := look.On(c.Attributes)
	at, scale := m.change(c.Attributes, after, c.on)
	o := c.fresh
	o.levels = levelsOf(after)
	o.on += Date(min(opt.DaysOut, maxCalendar))
	o = o.from(0)
	o.fit = c.fresh.fit + at
	o.typical = bounded(o.fit + m.rates.Opening)
	e := o.typical
	if o.estimate > 0 {
		e = o.estimate * math.Exp(at)
	}
	asks := pricepoint.Between(repriceLow*e, askCap*e)
	if len(asks) == 0 {
		return Refinish{}, false
	}
	plan := o.planner(thinned(asks, refinishAsks), s).Plan(o.holding, 0, math.Inf(1))
	cost := opt.Materials + opt.Hours*s.HourValue + o.holding*float64(opt.DaysOut)
	r := Refinish{
		Look: look, Remedy: o.planned(ActionRefinish, plan, cost, nil).Remedy, Materials: opt.Materials, Priced: true,
		Percent: percent(at), Low: percent(at - m.value.t80*scale), High: percent(at + m.value.t80*scale),
		Distinguishable: math.Abs(at) > m.value.t80*scale,
		Sales:           m.sold("finish:" + look.Finish), ColorSales: m.sold("color:" + look.Color),
		Pace: math.Exp(o.rate.base(o.levels, 0, 0, 0) - o.rate.base(levelsOf(c.Attributes), 0, 0, 0)),
	}
	r.nets = make([]float64, len(c.zs))
	for i, z := range c.zs {
		// 17 and 40 have no common factor: every quantile once, in an order unrelated to z.
		e := scale * m.value.middles[i*17%midQuantiles]
		faster, dearer := math.Exp(clamp(o.rate.gamma()*e, -20, 20)), math.Exp(clamp(e, -20, 20))
		r.nets[i] = plan.Given(z*faster, o.salvage*dearer) - cost
	}
	r.ChanceBetterThanWaiting = shareAbove(r.nets, c.leaving.nets)
	r.Finish, r.Color, r.Hours, r.DaysOut = look.Finish, look.Color, opt.Hours, opt.DaysOut
	r.Gain = r.ExpectedNet - c.leaving.ExpectedNet
	if opt.Hours > 0 {
		r.NetPerHour = ref((r.Gain + opt.Hours*s.HourValue) / opt.Hours)
	}
	return r, true
}

// sold is the number of sales that have a term.
func (m *Model) sold(term string) int {
	if j, ok := m.value.Index[term]; ok {
		return m.value.Counts[j]
	}
	return 0
}

// levelsSold are the levels of a block with sales enough to be candidates.
func (m *Model) levelsSold(block string) []string {
	var out []string
	for j, name := range m.value.Names { // sorted
		if hedonic.BlockOf(name) == block && m.value.Counts[j] >= ProvenSales {
			out = append(out, hedonic.LevelOf(name))
		}
	}
	return out
}

// looks are the finishes and colors that the group has evidence for. The best
// of many is partly the luckiest: few sales make no candidate, and the effects
// of those that are stay drawn towards nothing by their prior.
func (m *Model) looks(a furniture.Attributes) []refinish.Look {
	var paints, tones []string
	for _, color := range m.levelsSold("color") {
		if refinish.IsWoodTone(color) {
			tones = append(tones, color)
		} else {
			paints = append(paints, color)
		}
	}
	own := ""
	if refinish.IsWoodTone(a.Color) {
		own = a.Color
	}
	var out []refinish.Look
	for _, finish := range m.levelsSold("finish") {
		colors := []string{own}
		switch {
		case finish == "original":
			continue
		case finish == "cleaned":
			colors = []string{a.Color}
		case finish == "whitewashed":
			colors = []string{"white"}
		case refinish.IsPaint(finish):
			colors = paints
		case finish == "stained" && len(tones) > 0:
			colors = tones
		}
		for _, color := range colors {
			out = append(out, refinish.Look{Finish: finish, Color: color})
		}
	}
	return out
}

// plainLooks are told, unranked, while there is no evidence.
var plainLooks = []refinish.Look{
	{Finish: "cleaned"}, {Finish: "clear"}, {Finish: "oiled"}, {Finish: "painted"}, {Finish: "stained"},
	{Finish: "two_tone"}, {Finish: "waxed"},
}

// quoted finds the group's own price of a look: in its color, else in any.
func (s Settings) quoted(look refinish.Look) (refinish.Option, bool) {
	for _, fits := range []func(refinish.Option) bool{
		func(o refinish.Option) bool { return o.Color == look.Color },
		func(o refinish.Option) bool { return o.Color == "" || look.Color == "" },
	} {
		for _, o := range s.RefinishOptions {
			if o.Finish == look.Finish && fits(o) {
				return o, true
			}
		}
	}
	return refinish.Option{}, false
}

// reviewed are the changes of look for a review, the best few: of the options
// that the group quotes, or where it quotes none, of the looks with evidence.
func (m *Model) reviewed(c staying, s Settings) []Refinish {
	var options []refinish.Option
	if len(s.RefinishOptions) > 0 {
		for _, o := range s.RefinishOptions {
			if refinish.WhyNot(c.Attributes, refinish.Look{Finish: o.Finish, Color: o.Color}) == nil {
				options = append(options, o)
			}
		}
	} else if s.HourValue > 0 && len(s.Workshop.Prices) > 0 {
		options = m.likeliest(c, s)
	}
	var out []Refinish
	for _, o := range options {
		if o.Hours > 0 && s.HourValue <= 0 {
			continue
		}
		if r, ok := m.refinish(c, refinish.Look{Finish: o.Finish, Color: o.Color}, o, s); ok {
			out = append(out, r)
		}
	}
	if len(s.RefinishOptions) == 0 {
		slices.SortStableFunc(out, func(a, b Refinish) int { return cmp.Compare(b.ExpectedNet, a.ExpectedNet) })
		n := 1 // the best is told in any case, more where they beat leaving it
		for n < min(len(out), reviewRemedies) && out[n].Gain > 0 {
			n++
		}
		out = out[:min(len(out), n)]
	}
	return out
}

// likeliest are the few estimated looks worth pricing in full: by the sale
// price with what a faster pace lets one ask more, less the cost.
func (m *Model) likeliest(c staying, s Settings) []refinish.Option {
	type scored struct {
		refinish.Option
		score float64
	}
	var all []scored
	for _, look := range m.looks(c.Attributes) {
		w := s.Workshop.Estimate(refinish.Job{Attributes: c.Attributes, Look: look})
		if w.Refusal != nil {
			continue
		}
		after := look.On(c.Attributes)
		at, _ := m.change(c.Attributes, after, c.on)
		rate := c.fresh.rate
		faster := rate.base(levelsOf(after), 0, 0, 0) - rate.base(levelsOf(c.Attributes), 0, 0, 0)
		o := w.Option()
		all = append(all, scored{o, (1-s.FeeRate)*m.rates.Negotiation*c.fresh.typical*math.Exp(at+faster/rate.gamma()) -
			o.Materials - o.Hours*s.HourValue - c.fresh.holding*float64(o.DaysOut)})
	}
	slices.SortStableFunc(all, func(a, b scored) int { return cmp.Compare(b.score, a.score) })
	out := make([]refinish.Option, 0, reviewedLooks)
	for _, one := range all[:min(len(all), reviewedLooks)] {
		out = append(out, one.Option)
	}
	return out
}
