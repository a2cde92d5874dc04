package pricing_test

import (
	"math"
	"math/rand/v2"

	"askwright/pricing"
	"askwright/pricing/askplan"
	"askwright/pricing/furniture"
)

// This file is a market with a known truth, which the engine never sees: it
// learns from listings alone. Buyers come and each would pay so much; sellers
// misjudge; pieces have a quality that no description holds and that sellers
// see in part. Nothing in it has the engine's own form: the pace at an ask, its
// elasticity and the haggling follow from the buyers. All figures are common
// practice or assumptions, no source; all names are invented or general.

const (
	haggleRoom    = 0.12 // share of the ask that sellers give way at most
	paysAsked     = 0.4  // share of the able buyers who do not haggle
	dealCloses    = 0.35 // share of the agreed deals that are not broken off
	writesWithin  = 0.15 // buyers write up to so much below the ask
	buyersPerDay  = 0.35
	viewsPerBuyer = 12
)

// look is what a level of an attribute does: to the log of the value, and to
// the log of the number of buyers who come.
type look struct{ value, traffic float64 }

// kind is a category of pieces.
type kind struct {
	name                 string
	look                 look
	sizeSlope            float64
	width, depth, height float64 // cm, typical
	share                float64 // of the pieces
}

// market is the truth. Markets differ in how far buyers agree, in how much the
// descriptions leave out, and in how well sellers know either.
type market struct {
	rng          *rand.Rand
	buyerSpread  float64 // of the log of what buyers would pay for one piece
	hiddenSpread float64 // of the log value that the description does not hold
	sellerSees   float64 // share of it that sellers allow for
	markup       float64 // of asks over what the middle buyer would pay, log
	deals        *deals

	kinds   []kind
	levels  map[string]map[string]look // by block and level
	pairs   map[string]float64         // of finish and wood, on the log value
	trend   float64                    // a year
	sellers []seller
	orphan  float64 // of one alone of what usually comes in pairs, on the log value
	lull    lull
	spells  [120]float64 // of the log of the number of buyers, by month from 2020: nobody foresees them
}

// seller misjudges: always by bias, each time by error.
type seller struct{ bias, errorSD float64 }

// piece is one piece with its truth.
type piece struct {
	furniture.Attributes
	id     string
	kind   kind
	hidden float64
	seller seller
	slip   float64 // the seller's error on this piece
}

var marketLevels = map[string][]string{
	"material": {"solid_wood", "veneer", "laminate", "mixed", "mdf"},
	"wood":     {"pine", "oak", "walnut", "mahogany", "maple", "cherry", "teak"},
	"finish":   {"original", "cleaned", "clear", "stained", "oiled", "painted", "distressed", "whitewashed"},
	"color":    {"white", "black", "grey", "navy", "green", "beige", "natural", "dark_wood"},
	"hardware": {"original", "polished", "painted", "replaced", "missing"},
}

// marketKinds are the categories, the most frequent first, in their typical sizes.
var marketKinds = []kind{
	{name: "dresser", width: 120, depth: 48, height: 85}, {name: "sideboard", width: 160, depth: 45, height: 80},
	{name: "nightstand", width: 45, depth: 40, height: 60}, {name: "coffee_table", width: 110, depth: 60, height: 45},
	{name: "bookcase", width: 90, depth: 30, height: 180}, {name: "desk", width: 120, depth: 60, height: 76},
	{name: "cabinet", width: 80, depth: 40, height: 120}, {name: "dining_table", width: 160, depth: 90, height: 75},
	{name: "console_table", width: 110, depth: 35, height: 80}, {name: "armchair", width: 70, depth: 75, height: 90},
	{name: "dining_chair", width: 45, depth: 45, height: 90},
}

// newMarket draws the truth of a market.
func newMarket(seed uint64) *market {
	r := rand.New(rand.NewPCG(seed, 17))
	m := &market{
		rng: r, buyerSpread: 0.18 + 0.16*r.Float64(), hiddenSpread: 0.10 + 0.10*r.Float64(),
		sellerSees: 0.4 + 0.5*r.Float64(), markup: 0.12 + 0.16*r.Float64(), trend: 0.03 * r.NormFloat64(),
		levels: map[string]map[string]look{}, pairs: map[string]float64{},
	}
	m.deals = newDeals(m.buyerSpread)
	spreads := map[string]look{
		"material": {0.15, 0}, "wood": {0.12, 0}, "finish": {0.08, 0.20}, "color": {0.06, 0.15}, "hardware": {0.05, 0},
	}
	for _, block := range []string{"material", "wood", "finish", "color", "hardware"} {
		m.levels[block] = map[string]look{}
		for _, level := range marketLevels[block] {
			m.levels[block][level] = look{spreads[block].value * r.NormFloat64(), spreads[block].traffic * r.NormFloat64()}
		}
	}
	for _, finish := range marketLevels["finish"] {
		for _, wood := range marketLevels["wood"] {
			m.pairs[finish+" "+wood] = 0.05 * r.NormFloat64()
		}
	}
	for i, k := range marketKinds {
		k.look = look{5.5 + 0.5*r.NormFloat64(), 0.3 * r.NormFloat64()}
		if k.name == "dining_chair" {
			k.look.value -= 1.5
		}
		k.sizeSlope = 0.40 + 0.12*r.NormFloat64()
		k.share = 1 / float64(i+2)
		m.kinds = append(m.kinds, k)
	}
	m.orphan = -0.2 + 0.1*r.NormFloat64()
	spell := 0.0
	for i := range m.spells {
		spell = 0.6*spell + 0.2*r.NormFloat64()
		m.spells[i] = spell
	}
	for range 5 {
		m.sellers = append(m.sellers, seller{bias: 0.08 * r.NormFloat64(), errorSD: 0.10 + 0.12*r.Float64()})
	}
	return m
}

// newPiece draws a piece.
func (m *market) newPiece(id string) *piece {
	r := m.rng
	p := &piece{id: id, kind: m.drawKind(), hidden: m.hiddenSpread * r.NormFloat64(), seller: m.sellers[r.IntN(len(m.sellers))]}
	p.slip = p.seller.errorSD * r.NormFloat64()
	size := func(typical float64) float64 { return math.Round(typical * math.Exp(0.15*r.NormFloat64())) }
	pick := func(block string) string { return marketLevels[block][r.IntN(len(marketLevels[block]))] }
	p.Attributes = furniture.Attributes{
		Category: p.kind.name, SetSize: 1,
		Width: size(p.kind.width), Depth: size(p.kind.depth), Height: size(p.kind.height),
		Material: pick("material"), Wood: pick("wood"), Condition: 2 + r.IntN(4),
		Finish: pick("finish"), Color: pick("color"), Hardware: pick("hardware"),
	}
	switch luck := r.Float64(); {
	case p.Category == "nightstand" && luck < 0.5:
		p.SetSize = 2
	case p.Category == "dining_chair" && luck < 0.8:
		p.SetSize = 2 * (1 + r.IntN(3))
	case p.Category == "dining_table" && luck < 0.5:
		p.Items = []furniture.Item{{Category: p.Category, Count: 1}, {Category: "dining_chair", Count: 2 + 2*r.IntN(3)}}
	case p.Category == "dresser" && luck < 0.12:
		p.Items = []furniture.Item{{Category: p.Category, Count: 1}, {Category: "nightstand", Count: 1 + r.IntN(2)}}
	}
	return p
}

func (m *market) drawKind() kind {
	total := 0.0
	for _, k := range m.kinds {
		total += k.share
	}
	at := m.rng.Float64() * total
	for _, k := range m.kinds {
		if at -= k.share; at < 0 {
			return k
		}
	}
	return m.kinds[len(m.kinds)-1]
}

// described is the log of what the middle buyer pays, as far as the
// description goes.
func (m *market) described(p *piece, day pricing.Date) float64 {
	a := p.Attributes
	volume := a.Width * a.Depth * a.Height / (p.kind.width * p.kind.depth * p.kind.height)
	v := p.kind.look.value + p.kind.sizeSlope*math.Log(volume) + 0.85*math.Log(float64(a.SetSize))
	switch {
	case len(a.Items) > 0:
		v += m.together(a.Items, v)
	case p.special() == "orphan":
		v += m.orphan
	}
	v += 0.11*float64(a.Condition-3) + m.pairs[a.Finish+" "+a.Wood]
	v += m.levels["material"][a.Material].value + m.levels["wood"][a.Wood].value + m.levels["finish"][a.Finish].value
	v += m.levels["color"][a.Color].value + m.levels["hardware"][a.Hardware].value
	years := float64(day-pricing.NewDate(2026, 1, 1)) / 365.25
	return v + m.trend*years + 0.03*math.Cos(2*math.Pi*(years-0.3))
}

// special tells what the description must say beyond the main item.
func (p *piece) special() string {
	switch {
	case len(p.Items) > 0:
		return "mixed set"
	case p.SetSize == 1 && (p.Category == "nightstand" || p.Category == "dining_chair"):
		return "orphan"
	}
	return "other"
}

// together is what the other items add to the log of the value of the main one:
// a mixed set brings a tenth less than its parts would.
func (m *market) together(items []furniture.Item, main float64) float64 {
	sum := 1.0
	for _, i := range items[1:] {
		for _, k := range m.kinds {
			if k.name == i.Category {
				sum += math.Exp(k.look.value + 0.85*math.Log(float64(i.Count)) - main)
			}
		}
	}
	return math.Log(0.9 * sum)
}

// worth is the log of what the middle buyer pays.
func (m *market) worth(p *piece, day pricing.Date) float64 { return m.described(p, day) + p.hidden }

// opinion is what the seller would ask.
func (m *market) opinion(p *piece, day pricing.Date) float64 {
	return math.Exp(m.described(p, day) + m.sellerSees*p.hidden + m.markup + p.seller.bias + p.slip)
}

// buyers is the number of buyers to expect on a day for a piece of that active
// age: slow from mid-November to New Year, fast in spring and August, and most
// look at what is new.
func (m *market) buyers(p *piece, day pricing.Date, age int) float64 {
	rate := buyersPerDay * math.Exp(p.kind.look.traffic+m.levels["finish"][p.Finish].traffic+m.levels["color"][p.Color].traffic)
	date := day.Time()
	rate *= m.lull.within(day) * math.Exp(m.spells[12*(date.Year()-2020)+int(date.Month())-1])
	switch {
	case date.Month() == 12 || date.Month() == 11 && date.Day() > 15:
		rate *= 0.6
	case date.Month() >= 3 && date.Month() <= 5 || date.Month() == 8:
		rate *= 1.2
	}
	switch {
	case age < 7:
		return rate * 1.5
	case age < 21:
		return rate * 1.1
	case age < 60:
		return rate
	}
	return rate * 0.8
}

// haggle returns what a buyer who would pay wtp pays at an ask; 0: no deal.
// luck1 and luck2 are uniform on (0, 1).
func haggle(wtp, ask, luck1, luck2 float64) float64 {
	floor := ask * (1 - haggleRoom)
	switch {
	case wtp < floor:
		return 0
	case wtp < ask:
		return floor + luck2*(wtp-floor)
	case luck1 < paysAsked:
		return ask
	}
	return floor + luck2*(ask-floor)
}

// deal returns the chance that one buyer buys at an ask that lies gap above
// what the middle buyer pays, log, and the mean share of the ask paid then.
func deal(gap, spread float64) (chance, share float64) {
	const steps = 400
	paid := 0.0
	for i := range steps { // mid-quantiles of the buyers
		z := math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/steps-1)
		wtp := math.Exp(spread*z - gap) // over the ask
		if price := haggle(wtp, 1, 1, 0.5); price > 0 {
			if wtp >= 1 {
				price = paysAsked + (1-paysAsked)*price
			}
			chance += dealCloses / steps
			paid += dealCloses * price / steps
		}
	}
	if chance == 0 {
		return 0, 1
	}
	return chance, paid / chance
}

// deals tabulates deal by hundredths of the gap, from −2 to 2.
type deals [401][2]float64

func newDeals(spread float64) *deals {
	var d deals
	for i := range d {
		d[i][0], d[i][1] = deal(float64(i-200)/100, spread)
	}
	return &d
}

func (d *deals) at(gap float64) (chance, share float64) {
	x := math.Min(math.Max(gap*100+200, 0), 399.999)
	i := int(x)
	w := x - float64(i)
	return (1-w)*d[i][0] + w*d[i+1][0], (1-w)*d[i][1] + w*d[i+1][1]
}

// prospect is what asking so much for a piece truly leads to.
type prospect struct {
	net    float64 // sale less fees and holding, or salvage at the horizon
	sold30 float64
}

// costs are those of holding and of failing.
type costs struct{ fee, day, salvage float64 }

// prospects follows a piece at one ask over the horizon, from a day and age on.
func (m *market) prospects(p *piece, day pricing.Date, age int, ask float64, c costs) prospect {
	return m.follow(p, day, age, []pricing.Step{{Step: askplan.Step{Ask: ask}}}, c)
}

// follow does so with the steps of a plan, each on its day.
func (m *market) follow(p *piece, day pricing.Date, age int, steps []pricing.Step, c costs) prospect {
	const horizon = 180
	var out prospect
	var ask, chance, share float64
	left := 1.0
	for t := range horizon {
		if len(steps) > 0 && steps[0].FromDay <= t {
			ask, steps = steps[0].Ask, steps[1:]
			chance, share = m.deals.at(math.Log(ask) - m.worth(p, day))
		}
		sells := left * -math.Expm1(-m.buyers(p, day+pricing.Date(t), age+t)*chance)
		out.net += sells*share*ask*(1-c.fee) - c.day*left
		left -= sells
		if t == 29 {
			out.sold30 = 1 - left
		}
	}
	out.net += left * c.salvage
	return out
}
