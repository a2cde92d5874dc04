package pricing_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"askwright/pricing"
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
}

// seller misjudges: always by bias, each time by error.
type seller struct{ bias, errorSD float64 }

// piece is one piece with its truth.
type piece struct {
	pricing.Attributes
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
	for i, k := range []kind{
		{name: "dresser", width: 120, depth: 48, height: 85}, {name: "sideboard", width: 160, depth: 45, height: 80},
		{name: "nightstand", width: 45, depth: 40, height: 60}, {name: "coffee_table", width: 110, depth: 60, height: 45},
		{name: "bookcase", width: 90, depth: 30, height: 180}, {name: "desk", width: 120, depth: 60, height: 76},
		{name: "cabinet", width: 80, depth: 40, height: 120}, {name: "dining_table", width: 160, depth: 90, height: 75},
		{name: "console_table", width: 110, depth: 35, height: 80}, {name: "armchair", width: 70, depth: 75, height: 90},
	} {
		k.look = look{5.5 + 0.5*r.NormFloat64(), 0.3 * r.NormFloat64()}
		k.sizeSlope = 0.40 + 0.12*r.NormFloat64()
		k.share = 1 / float64(i+2)
		m.kinds = append(m.kinds, k)
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
	p.Attributes = pricing.Attributes{
		Category: p.kind.name, SetSize: 1,
		Width: size(p.kind.width), Depth: size(p.kind.depth), Height: size(p.kind.height),
		Material: pick("material"), Wood: pick("wood"), Condition: 2 + r.IntN(4),
		Finish: pick("finish"), Color: pick("color"), Hardware: pick("hardware"),
	}
	if p.Category == "nightstand" && r.Float64() < 0.5 {
		p.SetSize = 2
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
	v += 0.11*float64(a.Condition-3) + m.pairs[a.Finish+" "+a.Wood]
	v += m.levels["material"][a.Material].value + m.levels["wood"][a.Wood].value + m.levels["finish"][a.Finish].value
	v += m.levels["color"][a.Color].value + m.levels["hardware"][a.Hardware].value
	years := float64(day-pricing.NewDate(2026, 1, 1)) / 365.25
	return v + m.trend*years + 0.03*math.Cos(2*math.Pi*(years-0.3))
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
	switch date := day.Time(); {
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
	const horizon = 180
	chance, share := m.deals.at(math.Log(ask) - m.worth(p, day))
	var out prospect
	left := 1.0
	for t := range horizon {
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

// ending is why a listing ended.
type ending int

const (
	sold ending = iota
	gaveUp
	repost
	newLook
)

// course plays the listings of one piece under its seller's routine from a
// day on: cuts now and then, pauses, reposts, a new look, and giving up.
func (m *market) course(p *piece, from pricing.Date) []pricing.Listing {
	var out []pricing.Listing
	ask := pricing.PricePoint(m.opinion(p, from))
	for len(out) < 4 {
		l, end := m.listing(p, from, ask, len(out))
		out = append(out, l)
		if end == sold || end == gaveUp {
			break
		}
		from = l.EndedOn
		ask = l.Asks[len(l.Asks)-1].Amount
		if end == newLook {
			p.Finish, p.Color = marketLevels["finish"][m.rng.IntN(8)], marketLevels["color"][m.rng.IntN(8)]
			p.Condition = min(5, p.Condition+1)
			p.slip = p.seller.errorSD * m.rng.NormFloat64()
			from += pricing.Date(5 + m.rng.IntN(15))
			ask = pricing.PricePoint(m.opinion(p, from))
		}
	}
	return out
}

// listing plays one listing to its end.
func (m *market) listing(p *piece, from pricing.Date, ask float64, number int) (pricing.Listing, ending) {
	r := m.rng
	l := pricing.Listing{
		ID: fmt.Sprintf("%s-%d", p.id, number), Piece: p.id, Attributes: m.recorded(p),
		ListedOn: from, Asks: []pricing.Ask{{On: from, Amount: ask}}, Outcome: pricing.Withdrawn,
	}
	if number == 0 && r.Float64() < 0.8 {
		l.Estimate = m.opinion(p, from)
	}
	counts := r.Float64() < 0.85
	messages, views, atAsk, pausedTo := 0, 0, 0, pricing.Date(0)
	patience := 90 + r.IntN(110)
	note := func(day pricing.Date) {
		if counts {
			l.Messages = append(l.Messages, pricing.Reading{On: day, Count: messages})
			l.Views = append(l.Views, pricing.Reading{On: day, Count: views})
		}
	}
	for day, age := from, 0; ; day++ {
		if day < pausedTo {
			continue
		}
		if age > 0 && r.Float64() < 0.004 {
			pausedTo = day + pricing.Date(4+r.IntN(17))
			l.Pauses = append(l.Pauses, pricing.Interval{From: day, To: pausedTo})
			continue
		}
		price, wrote, seen := m.trade(p, day, age, ask)
		messages, views = messages+wrote, views+seen
		end, over := m.decide(age, patience, number)
		if price > 0 || over {
			if price > 0 {
				l.Outcome, l.SalePrice, end = pricing.Sold, price, sold
			}
			l.EndedOn = day
			note(day)
			return l, end
		}
		if age%10 == 9 {
			note(day)
		}
		age, atAsk = age+1, atAsk+1
		if atAsk >= 21 && r.Float64() < 0.04 {
			ask, atAsk = pricing.PricePoint(ask*(0.86+0.08*r.Float64())), 0
			l.Asks = append(l.Asks, pricing.Ask{On: day + 1, Amount: ask})
		}
	}
}

// trade plays one day: the price if a buyer takes the piece, else 0, and how
// many wrote and looked.
func (m *market) trade(p *piece, day pricing.Date, age int, ask float64) (price float64, wrote, seen int) {
	r := m.rng
	rate := m.buyers(p, day, age)
	middle := m.worth(p, day)
	seen = poisson(r, rate*viewsPerBuyer)
	for range poisson(r, rate) {
		wtp := math.Exp(middle + m.buyerSpread*r.NormFloat64())
		if wtp < ask*(1-writesWithin) {
			continue
		}
		wrote++
		paid := haggle(wtp, ask, r.Float64(), r.Float64())
		if paid > 0 && r.Float64() < dealCloses {
			return math.Max(1, math.Round(paid)), wrote, seen
		}
	}
	return 0, wrote, seen
}

// decide tells whether the seller ends the listing unsold at an age.
func (m *market) decide(age, patience, number int) (ending, bool) {
	switch luck := m.rng.Float64(); {
	case age >= patience:
		return gaveUp, true
	case age > 45 && number < 3 && luck < 0.003:
		return newLook, true
	case age > 45 && number < 3 && luck < 0.006:
		return repost, true
	}
	return gaveUp, false
}

// recorded is what the seller writes down of a piece.
func (m *market) recorded(p *piece) pricing.Attributes {
	a := p.Attributes
	forget := func(s *string) {
		if m.rng.Float64() < 0.1 {
			*s = ""
		}
	}
	forget(&a.Material)
	forget(&a.Wood)
	forget(&a.Hardware)
	if m.rng.Float64() < 0.1 {
		a.Height = 0
	}
	return a
}

// history plays n listings of pieces that were first listed in the days up to a
// day, so many, and returns them with all that came later, and the piece behind
// each.
func (m *market) history(name string, n int, day pricing.Date, span int) (pricing.History, map[string]*piece) {
	var h pricing.History
	pieces := map[string]*piece{}
	for i := 0; len(h.Listings) < n; i++ {
		p := m.newPiece(fmt.Sprintf("%s%05d", name, i))
		from := day - pricing.Date(m.rng.IntN(span))
		for _, l := range m.course(p, from) {
			if l.ListedOn > day || len(h.Listings) == n {
				break
			}
			copied := *p // the look may change in later listings
			copied.Finish, copied.Color, copied.Condition = l.Finish, l.Color, l.Condition
			pieces[l.ID] = &copied
			if len(h.Listings)%8 == 7 && l.ID == p.id+"-0" {
				l = m.observed(l)
			}
			h.Listings = append(h.Listings, l)
		}
	}
	m.rng.Shuffle(n, func(i, j int) { h.Listings[i], h.Listings[j] = h.Listings[j], h.Listings[i] })
	return h, pieces
}

// observed turns a listing into a stranger's: nobody knows the estimate or the
// messages, the end is often missed, and a price is seldom told.
func (m *market) observed(l pricing.Listing) pricing.Listing {
	l.Observed, l.Estimate, l.Messages, l.Views, l.Pauses = true, 0, nil, nil, nil
	switch luck := m.rng.Float64(); {
	case l.Outcome == pricing.Sold && luck < 0.25:
	case l.Outcome == pricing.Sold && luck < 0.5:
		l.SalePrice = 0
	default:
		l.LastSeenOn = max(l.ListedOn, l.EndedOn-pricing.Date(m.rng.IntN(5)))
		l.Outcome, l.EndedOn, l.SalePrice = pricing.Open, 0, 0
		l.Asks = slices.DeleteFunc(l.Asks, func(a pricing.Ask) bool { return a.On > l.LastSeenOn })
	}
	return l
}

// poisson draws a Poisson count by counting exponential gaps.
func poisson(r *rand.Rand, mean float64) int {
	n := 0
	for sum := r.ExpFloat64(); sum < mean; sum += r.ExpFloat64() {
		n++
	}
	return n
}
