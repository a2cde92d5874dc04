package pricing_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"askwright/pricing"
	"askwright/pricing/furniture"
)

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
func (m *market) recorded(p *piece) furniture.Attributes {
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
