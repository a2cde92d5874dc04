package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"askwright/pricing"
)

// seller is a member's way of trading.
type seller struct {
	name   string
	letter string
	joined float64 // share of the time span before the first listing
	places int     // pieces on offer at once by the end

	bias    float64 // log, of the first ask over the worth
	scatter float64 // log sd of the judgement
	sees    float64 // share of the unseen worth that the seller notices

	cutAfter float64 // active days
	cut      float64 // share
	patience float64 // active days

	paint  float64 // share of pieces painted
	counts float64 // share of listings with interest counted
	metric float64 // share of pieces measured in centimetres
	ruler  bool    // writes 35 1/2, not 35.5

	trips []trip
}

// trip is time away from the garage: everything on offer is paused.
type trip struct {
	daysAgo, days int
}

var sellers = []seller{
	{
		name: "Maren", letter: "M", joined: 0, places: 8, bias: 0.17, scatter: 0.07, sees: 0.8,
		cutAfter: 26, cut: 0.07, patience: 80, paint: 0.40, counts: 0.95, ruler: true,
		trips: []trip{{598, 12}, {330, 9}, {69, 10}},
	},
	{ // asks high and cuts late
		name: "Tolliver", letter: "T", joined: 0, places: 6, bias: 0.29, scatter: 0.10, sees: 0.7,
		cutAfter: 36, cut: 0.07, patience: 110, paint: 0.45, counts: 0.85, ruler: true,
		trips: []trip{{520, 16}, {183, 14}},
	},
	{ // hasty: judges roughly, cuts soon
		name: "Junia", letter: "J", joined: 0.12, places: 6, bias: 0.13, scatter: 0.17, sees: 0.5,
		cutAfter: 12, cut: 0.10, patience: 46, paint: 0.60, counts: 0.80,
		trips: []trip{{402, 8}, {122, 7}},
	},
	{ // a woodworker who keeps few notes
		name: "Oswin", letter: "O", joined: 0.05, places: 6, bias: 0.19, scatter: 0.09, sees: 0.8,
		cutAfter: 28, cut: 0.07, patience: 92, paint: 0.10, counts: 0.45, metric: 0.25,
		trips: []trip{{455, 21}, {240, 6}, {44, 6}},
	},
	{ // joined last, paints
		name: "Brisa", letter: "B", joined: 0.45, places: 6, bias: 0.18, scatter: 0.13, sees: 0.6,
		cutAfter: 22, cut: 0.08, patience: 65, paint: 0.75, counts: 0.90,
		trips: []trip{{211, 9}},
	},
}

// stranger is whoever else sells in town.
var stranger = seller{bias: 0.24, scatter: 0.18, sees: 0.5, cutAfter: 25, cut: 0.09, patience: 70, paint: 0.4}

func (s *seller) refOf(n int) string { return fmt.Sprintf("%s-%d", s.letter, n) }

func (s *seller) away(day, today pricing.Date) bool {
	for _, t := range s.trips {
		if from := today - pricing.Date(t.daysAgo); from <= day && day < from+pricing.Date(t.days) {
			return true
		}
	}
	return false
}

func (s *seller) nextCut(r *rand.Rand) int { return int(s.cutAfter * between(r, 0.7, 1.4)) }

// home returns the first day from day on that the seller is not away.
func (s *seller) home(day, today pricing.Date) pricing.Date {
	for s.away(day, today) {
		day++
	}
	return day
}

// trade returns all that a seller offered. Each place in the garage takes the
// next piece some days after the last one went; places are added over time.
func (m *market) trade(s *seller) []*listing {
	var all []*listing
	span := float64(m.today - m.start)
	for i := range s.places {
		opened := s.joined + (0.85-s.joined)*float64(i)/float64(s.places)
		day := m.start + pricing.Date(opened*span) + pricing.Date(m.rng.IntN(20))
		for day <= m.today {
			ls := m.tenure(s, s.home(day, m.today))
			all = append(all, ls...)
			end := ls[len(ls)-1].endedOn
			if end.IsZero() {
				break
			}
			day = end + pricing.Date(2+int(7*m.rng.ExpFloat64()))
		}
	}
	return all
}

// tenure returns the listings of one piece from its first to its last: some of
// those that nobody took are relisted as they are, some after a refinish.
func (m *market) tenure(s *seller, day pricing.Date) []*listing {
	r := m.rng
	l := m.list(s, m.acquire(), look{}, day)
	p := l.piece
	p.centimetres, p.ruler = chance(r, s.metric), s.ruler
	m.pay(l, m.worth(p, l.look, day), day)
	l.first = true
	m.offer(l, s, m.today)
	ls := []*listing{l}
	if l.outcome == "pulled" {
		if again := m.retry(s, l); again != nil {
			ls = append(ls, again)
		}
	}
	end := ls[len(ls)-1]
	m.settle(end)
	return ls
}

// retry lists a pulled piece again, or returns nil if it is given up.
func (m *market) retry(s *seller, l *listing) *listing {
	r := m.rng
	refinish, relist := chance(r, 0.42), chance(r, 0.40)
	if !refinish && !relist {
		return nil
	}
	out := 1 + r.IntN(4)
	if refinish {
		out = 6 + r.IntN(12)
	}
	day := s.home(l.endedOn+pricing.Date(out), m.today)
	if day > m.today {
		return nil
	}
	k := l.look
	if refinish {
		k = m.redo(l)
	}
	again := m.list(s, l.piece, k, day)
	again.venue, again.counted = l.venue, l.counted
	if refinish {
		m.work(again)
	} else {
		// Nothing changes: the only difference is a fresh post.
		again.estimate, again.asks[0].Amount = l.estimate, l.ask()
		again.visibility = l.visibility
	}
	m.offer(again, s, m.today)
	return again
}

// redo draws another look for the same piece.
func (m *market) redo(l *listing) look {
	k := l.look
	// What was once worked over cannot become original again.
	for k.finish == "original" || k.finish == "cleaned" || (k.finish == l.look.finish && k.color == l.look.color) {
		m.surface(&k, l.piece, !painted[l.look.finish] || boards[l.piece.material])
	}
	k.condition = min(5, k.condition+m.rng.IntN(2))
	if k.hardware != "none" && chance(m.rng, 0.6) {
		k.hardware = "replaced"
	}
	return k
}

// list puts a piece on offer: the seller judges it, and asks about that much.
// Without a look the seller gives it one.
func (m *market) list(s *seller, p *piece, k look, day pricing.Date) *listing {
	r := m.rng
	if k == (look{}) {
		k = m.dress(s, p)
	}
	l := &listing{
		piece: p, look: k, listedOn: day, venue: oneOf(r, venues), area: oneOf(r, areas),
		visibility: math.Exp(0.2 * r.NormFloat64()), counted: chance(r, s.counts),
	}
	judged := m.worth(p, k, day) * math.Exp(s.bias-(1-s.sees)*p.unseen+s.scatter*r.NormFloat64())
	l.asks = []pricing.Ask{{On: day, Amount: roundAsk(judged)}}
	if chance(r, 0.88) {
		l.estimate = 5 * math.Max(1, math.Round(judged/5))
	}
	return l
}

// Where a sale costs a fee: common practice, no published source.
const (
	checkout    = "online checkout"
	checkoutFee = 0.12 // share of the sale price
)

// settle books what the sale itself cost and brought beside the price.
func (m *market) settle(l *listing) {
	if l.outcome != "sold" {
		return
	}
	r := m.rng
	l.soldVenue, _, _ = strings.Cut(l.venue, ";")
	if chance(r, 0.1) {
		l.soldVenue = checkout
		l.fees = cents(checkoutFee * l.salePrice)
	}
	if chance(r, 0.25) {
		l.deliveryCharged = 5 * math.Round(between(r, 20, 60)/5)
		l.deliveryCost = 5 * math.Round(between(r, 5, 25)/5)
		l.hoursOther++
	}
}

// watch returns a stranger's listing as a member noted it down: what became of
// it after it was last seen stays unknown, and often the price as well.
func (m *market) watch() *listing {
	r := m.rng
	day := m.start + pricing.Date(r.IntN(int(m.today-m.start)-5))
	l := m.list(&stranger, m.acquire(), look{}, day)
	l.observed, l.estimate, l.counted = true, 0, false
	l.lastSeen = min(m.today, day+pricing.Date(14+r.IntN(80)))
	m.offer(l, &stranger, l.lastSeen)
	l.pauses = nil // a stranger's are not known
	if l.outcome != "open" {
		l.lastSeen = l.endedOn
	}
	if chance(r, 0.5) {
		l.salePrice = 0
	}
	if chance(r, 0.3) {
		l.piece.width, l.piece.depth, l.piece.height = 0, 0, 0
	}
	return l
}
