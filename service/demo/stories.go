package demo

import (
	"math"
	"slices"

	"askwright/pricing"
)

// Refs of the pieces whose whole story is told by hand; the same in every demo.
const (
	QuickSale = "M-52" // sold at once
	Rescue    = "B-17" // painted, unwanted, stripped and sold: B-17, then B-17-2
	Regret    = "T-12" // should never have been bought
)

// stories returns the hand-written listings of that member, dated back from
// today.
func stories(member string, today pricing.Date) []*listing {
	var ls []*listing
	switch member {
	case "Maren":
		ls = quickSale(today)
	case "Brisa":
		ls = rescue(today)
	case "Tolliver":
		ls = regret(today)
	}
	for i, l := range ls {
		l.first = i == 0
		l.counted, l.area = true, "Otterford"
		l.listedOn = l.asks[0].On
	}
	return ls
}

func quickSale(today pricing.Date) []*listing {
	p := &piece{
		ref: QuickSale, category: categoryNamed("sideboard"), setSize: 1, ruler: true,
		width: 62.5, depth: 18, height: 32, material: "veneer", wood: "walnut",
		style: "mid_century", year: 1962, drawers: 3, doors: 2,
		boughtOn: today - 109, boughtFrom: "estate_sale", conditionFound: 3,
		purchase: 90, pickup: 15,
	}
	return []*listing{{
		ref: QuickSale, piece: p, estimate: 475, asks: asks(today, -96, 480),
		look:  look{finish: "waxed", color: "dark_wood", hardware: "polished", condition: 4},
		spent: spent{materials: 14.5, hours: 4.5, hoursOther: 2.5},
		views: 118, saves: 21, messages: 14, showings: 2,
		outcome: "sold", endedOn: today - 95, salePrice: 480,
		venue: "local classifieds; porch sale board", soldVenue: "local classifieds",
		notes: "Only cleaned, waxed and the pulls polished. Fourteen messages by the next day: should have asked more.",
	}}
}

func rescue(today pricing.Date) []*listing {
	p := &piece{
		ref: Rescue, category: categoryNamed("cabinet"), setSize: 1,
		width: 35.5, depth: 16, height: 42, material: "solid_wood", wood: "oak",
		style: "traditional", year: 1945, drawers: 1, doors: 2,
		boughtOn: today - 212, boughtFrom: "thrift", conditionFound: 2,
		purchase: 45, pickup: 10,
	}
	const venue = "local classifieds; porch sale board"
	return []*listing{{
		ref: Rescue, piece: p, estimate: 230, asks: asks(today, -190, 230, -166, 210, -146, 185),
		look: look{
			finish: "painted", color: "grey", topcoat: "water_clear", sheen: "satin",
			hardware: "painted", condition: 3,
		},
		spent: spent{materials: 27.8, hours: 6.5, hoursOther: 3},
		views: 402, saves: 9, messages: 4, showings: 1,
		outcome: "pulled", endedOn: today - 125, venue: venue,
		notes: "Grey like everything that spring. Four messages in two months.",
	}, {
		ref: Rescue + "-2", piece: p, estimate: 300, asks: asks(today, -111, 310),
		look: look{
			finish: "clear", color: "mid_wood", topcoat: "oil_clear", sheen: "satin",
			hardware: "replaced", condition: 4,
		},
		spent: spent{materials: 58.6, hours: 9, hoursOther: 2.5},
		views: 96, saves: 14, messages: 9, showings: 3,
		outcome: "sold", endedOn: today - 105, salePrice: 300, venue: venue, soldVenue: "porch sale board",
		notes: "Stripped back to the oak, clear coat, new brass pulls: gone in six days.",
	}}
}

func regret(today pricing.Date) []*listing {
	p := &piece{
		ref: Regret, category: categoryNamed("wardrobe"), setSize: 1, ruler: true,
		width: 45.5, depth: 23, height: 76, material: "veneer", wood: "mahogany",
		style: "art_deco", year: 1935, drawers: 1, doors: 2,
		flaws: "veneer lifting at the foot, one door binds", smell: "smoke smell, sealed twice",
		boughtOn: today - 352, boughtFrom: "auction", conditionFound: 2,
		purchase: 220, pickup: 60,
	}
	return []*listing{{
		ref: Regret, piece: p, estimate: 525,
		asks:   asks(today, -301, 525, -262, 450, -225, 390, -204, 330, -166, 270),
		look:   look{finish: "stained", color: "dark_wood", topcoat: "water_clear", sheen: "satin", hardware: "original", condition: 3},
		spent:  spent{materials: 94.75, other: 35, hours: 31, hoursOther: 9, deliveryCharged: 40, deliveryCost: 25},
		pauses: []pricing.Interval{{From: today - 183, To: today - 169}},
		views:  540, saves: 11, messages: 17, showings: 6,
		outcome: "sold", endedOn: today - 158, salePrice: 240,
		venue: "local classifieds; neighborhood group", soldVenue: "neighborhood group",
		notes: "Paid for the carving, not for the state. Smoke and lifting veneer ate a month; it does not fit most stairs. Never again above 60.",
	}}
}

// asks builds a history from pairs of a day, counted from today, and an ask.
func asks(today pricing.Date, pairs ...float64) []pricing.Ask {
	var history []pricing.Ask
	for pair := range slices.Chunk(pairs, 2) {
		history = append(history, pricing.Ask{On: today + pricing.Date(pair[0]), Amount: pair[1]})
	}
	return history
}

// plight is an open listing that is stuck, or paused, for a reason known here.
type plight struct {
	seller          string
	age             pricing.Date // days since it was listed
	dear            float64      // log of the ask over what the seller thinks right
	views, messages float64      // against usual
	finish, color   string       // empty: whatever comes
	paused          pricing.Date // days since; zero: it is on show
	notes           string
}

var plights = []plight{
	{seller: "Tolliver", age: 95, dear: 0.26, views: 1, messages: 1.8, notes: "Trying it high."},
	{seller: "Tolliver", age: 57, dear: 0.20, views: 1.1, messages: 1.7, notes: "Everybody asks for the lowest price."},
	{seller: "Brisa", age: 58, views: 1.1, messages: 0.2, finish: "distressed", color: "grey"},
	{seller: "Junia", age: 46, views: 1, messages: 0.25, finish: "painted", color: "yellow"},
	{seller: "Oswin", age: 70, views: 0.25, messages: 0.3, notes: "Only on the board at the hall."},
	{seller: "Maren", age: 48, views: 0.3, messages: 0.25, notes: "Photos taken at dusk."},
	{seller: "Maren", age: 27, views: 1, messages: 0.7, finish: "painted", color: "white"},
	{seller: "Junia", age: 24, dear: -0.02, views: 0.9, messages: 0.75, finish: "painted", color: "navy"},
	{seller: "Oswin", age: 36, views: 1, messages: 1, paused: 9, notes: "Garage under water."},
	{seller: "Brisa", age: 26, views: 1, messages: 1.2, paused: 2, notes: "Held until the weekend."},
}

// stuck returns the seller's listings in trouble: usual pieces whose interest
// so far follows from the trouble, not from the dice.
func (m *market) stuck(s *seller) []*listing {
	var ls []*listing
	for _, t := range plights {
		if t.seller != s.name {
			continue
		}
		p := m.acquire()
		p.unseen, p.demand, p.flaws, p.smell, p.ruler = 0, 1, "", "", s.ruler
		k := m.dress(s, p)
		if t.finish != "" {
			k.finish, k.color, k.second, k.secondColor = t.finish, t.color, "", ""
		}
		l := m.list(s, p, k, m.today-t.age)
		l.first, l.counted, l.outcome = true, true, "open"
		right := m.worth(p, k, l.listedOn) * math.Exp(askPremium)
		l.estimate = 5 * math.Round(right/5)
		l.asks[0].Amount = roundAsk(right * math.Exp(t.dear))
		m.pay(l, right, l.listedOn)
		l.notes = t.notes
		m.suffer(l, s, t)
		ls = append(ls, l)
	}
	return ls
}

// suffer counts the interest of a listing in trouble until today.
func (m *market) suffer(l *listing, s *seller, t plight) {
	views, messages := 0.0, 0.0
	active := 0
	for day := l.listedOn; day <= m.today; day++ {
		if s.away(day, m.today) || (t.paused > 0 && day >= m.today-t.paused) {
			l.pause(day)
			continue
		}
		l.resume(day)
		rate := appeal(l.piece, look{}) * freshness(active) * season(day)
		views += viewsADay * rate
		messages += messagesADay * rate * math.Exp(-enquiries*t.dear)
		active++
	}
	l.messages = int(math.Round(messages * t.messages))
	l.views = int(math.Round(views*t.views)) + l.messages
	l.saves = l.views / 18
	l.showings = l.messages / 4
}

// yard returns what the seller has not offered yet: one piece just found, one
// bought, one or two in work.
func (m *market) yard(s *seller) []*listing {
	r := m.rng
	var ls []*listing
	for _, stage := range []string{"on_bench", "on_bench", "bought", "found"}[r.IntN(2):] {
		p := m.acquire()
		p.centimetres, p.ruler = chance(r, s.metric), s.ruler
		k := look{finish: "original", color: woodTones[p.wood], condition: p.conditionFound}
		l := &listing{piece: p, stage: stage, look: k, first: true}
		switch worth := m.worth(p, k, m.today); stage {
		case "found":
			l.notes = "They ask " + dollars(5*math.Round(worth*0.45/5)) + ", said there is room."
		case "bought":
			m.pay(l, worth, m.today)
			l.spent = spent{hoursOther: 1.5}
			l.look.condition = 0
		case "on_bench":
			m.pay(l, worth, m.today)
			l.hours = halfHour(between(r, 1, p.category.hours))
			l.look.condition = 0
		}
		ls = append(ls, l)
	}
	return ls
}
