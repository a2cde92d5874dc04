package pricing_test

import (
	"math"

	"askwright/pricing"
)

// What happens in a group's life beside sales: buyers that stay away for weeks,
// slips of the pen, rows twice, and stock that was there before anybody recorded.

// lull lets the buyers of some days up to a day stay away in part.
type lull struct {
	from, to pricing.Date
	share    float64 // of the buyers that still come
}

// within tells the share of the buyers that come on a day.
func (l lull) within(day pricing.Date) float64 {
	if l.from <= day && day < l.to {
		return l.share
	}
	return 1
}

// wildMarket is a market whose buyers agree much or little: the elasticity is
// steep or flat.
func wildMarket(seed uint64) *market {
	m := newMarket(seed)
	m.buyerSpread = 0.12 + 0.3*m.rng.Float64()
	m.deals = newDeals(m.buyerSpread)
	return m
}

// hasty makes the sellers judge at random.
func (m *market) hasty() *market {
	for i := range m.sellers {
		m.sellers[i].errorSD = 0.35
	}
	m.sellerSees = 0.1
	return m
}

// slipped makes ask and price of some sales ten times too high or low, alike.
func (m *market) slipped(h pricing.History, share float64) pricing.History {
	out := pricing.History{Listings: append([]pricing.Listing(nil), h.Listings...)}
	for i, l := range out.Listings {
		if l.Outcome == pricing.Sold && l.SalePrice > 0 && m.rng.Float64() < share {
			out.Listings[i] = tenTimes(l, []float64{0.1, 10}[m.rng.IntN(2)])
		}
	}
	return out
}

// tenTimes is a listing with all of its amounts off by a factor.
func tenTimes(l pricing.Listing, factor float64) pricing.Listing {
	l.SalePrice *= factor
	asks := append([]pricing.Ask(nil), l.Asks...)
	for i := range asks {
		asks[i].Amount = math.Max(1, asks[i].Amount*factor)
	}
	l.Asks = asks
	if l.Estimate > 0 {
		l.Estimate *= factor
	}
	return l
}

// twice lists a share of the listings a second time under another name.
func (m *market) twice(h pricing.History, share float64) pricing.History {
	out := pricing.History{Listings: append([]pricing.Listing(nil), h.Listings...)}
	for _, l := range h.Listings {
		if m.rng.Float64() < share {
			l.ID, l.Piece = l.ID+"-again", l.Piece+"-again"
			out.Listings = append(out.Listings, l)
		}
	}
	return out
}

// shelf plays n own listings that are open on a day, at any age, with the piece
// behind each: what a group has standing about when it begins to record.
func (m *market) shelf(name string, n int, day pricing.Date, span int) ([]pricing.Listing, map[string]*piece) {
	var open []pricing.Listing
	truth := map[string]*piece{}
	for round := 0; len(open) < n && round < 60; round++ {
		h, pieces := m.history(name+string(rune('a'+round%26))+string(rune('a'+round/26)), 4*n, day, span)
		for _, l := range pricing.Cut(h, day).Listings {
			if l.Outcome == pricing.Open && !l.Observed && len(open) < n && l.ListedOn < day {
				open, truth[l.ID] = append(open, l), pieces[l.ID]
			}
		}
	}
	return open, truth
}
