package pricing

import (
	"cmp"
	"math"
	"slices"

	"askwright/pricing/furniture"
)

// Outcome is what became of a listing.
type Outcome uint8

// The outcomes.
const (
	Open Outcome = iota
	Sold
	Withdrawn
)

// Listing holds the facts of one stretch of offering one piece. Money is in
// the group's unit, a float64 only inside this package.
type Listing struct {
	ID    string // opaque
	Piece string // opaque; the listings of one piece share it

	furniture.Attributes
	Observed bool // a stranger's listing, noted on the market

	ListedOn   Date
	Asks       []Ask      // by date, the first on ListedOn; never empty
	Pauses     []Interval // disjoint, by date, inside the listing
	Outcome    Outcome
	EndedOn    Date // zero while open
	LastSeenOn Date // of an observed listing

	// RecordedFrom is the day from which its owner's record holds what sold and
	// what did not; zero: from the beginning. Of what was on offer before, only
	// the unsold came on file.
	RecordedFrom Date

	SalePrice float64 // zero: unknown (an observed listing may be sold without one)

	// Estimate is the seller's own judgement where it counts (recorded before
	// any suggestion was shown and before the end); zero where there is none.
	Estimate             float64
	PricedFromSuggestion bool // the first ask followed a suggestion

	Messages []Reading // cumulative counts by date; nil: unknown, not zero
	Views    []Reading
}

// Ask is an asking price that held from a day on.
type Ask struct {
	On     Date
	Amount float64
}

// Interval is half-open, [From, To); a zero To means "still going on".
type Interval struct {
	From, To Date
}

// Reading is a cumulative count as seen on a day.
type Reading struct {
	On    Date
	Count int
}

// History is what a group knows: all its listings, in any order.
type History struct {
	Listings []Listing
}

// Cut returns the facts dated on or before day, with later ends hidden: a sale
// after it is an open listing again, a pause that ends after it still goes on.
// A count without a date is prorated by exposure.
func Cut(h History, day Date) History {
	out := History{Listings: make([]Listing, 0, len(h.Listings))}
	for _, l := range h.Listings {
		if l.ListedOn <= day {
			out.Listings = append(out.Listings, l.cut(day))
		}
	}
	return out
}

func (l Listing) cut(day Date) Listing {
	whole := max(l.lastRecord(), day)
	if !l.EndedOn.IsZero() {
		whole = l.EndedOn
	}
	full := l.exposedDays(whole)
	l.Asks = before(l.Asks, func(a Ask) bool { return a.On <= day })
	l.Pauses = slices.Clone(before(l.Pauses, func(p Interval) bool { return p.From <= day }))
	for i, p := range l.Pauses {
		if p.To > day {
			l.Pauses[i].To = 0
		}
	}
	if l.EndedOn > day {
		l.Outcome, l.EndedOn, l.SalePrice = Open, 0, 0
	}
	l.LastSeenOn = min(l.LastSeenOn, day)
	share := 1.0
	if full > 0 {
		share = clamp(l.exposedDays(l.until(day))/full, 0, 1)
	}
	l.Messages = cutReadings(l.Messages, day, share)
	l.Views = cutReadings(l.Views, day, share)
	return l
}

// before keeps the facts that pass, without a copy where all do.
func before[T any](facts []T, keep func(T) bool) []T {
	for i, f := range facts {
		if !keep(f) {
			out := slices.Clone(facts[:i])
			for _, f := range facts[i+1:] {
				if keep(f) {
					out = append(out, f)
				}
			}
			return out
		}
	}
	return facts
}

// cutReadings drops later readings; undated ones keep their share.
func cutReadings(r []Reading, day Date, share float64) []Reading {
	r = before(r, func(x Reading) bool { return x.On <= day })
	if len(r) == 0 {
		return nil
	}
	if share < 1 && slices.ContainsFunc(r, func(x Reading) bool { return x.On.IsZero() }) {
		r = slices.Clone(r)
		for i, x := range r {
			if x.On.IsZero() {
				r[i].Count = int(math.Round(float64(x.Count) * share))
			}
		}
	}
	return r
}

// sorted returns the listings in an order that does not depend on theirs, so
// that sums come out the same to the last bit.
func sorted(h History) []Listing {
	out := slices.Clone(h.Listings)
	slices.SortStableFunc(out, func(a, b Listing) int {
		return cmp.Or(cmp.Compare(a.ID, b.ID), cmp.Compare(a.ListedOn, b.ListedOn),
			cmp.Compare(a.EndedOn, b.EndedOn), cmp.Compare(a.SalePrice, b.SalePrice))
	})
	return out
}

// until is the day up to which the listing was exposed, as known on a day.
func (l Listing) until(on Date) Date {
	end := on
	switch {
	case !l.EndedOn.IsZero():
		end = min(on, l.EndedOn)
	case l.Observed && !l.LastSeenOn.IsZero():
		end = min(on, l.LastSeenOn)
	case l.Observed:
		end = min(on, l.lastRecord())
	}
	return max(end, l.ListedOn)
}

// lastRecord is the newest day on which anything was noted.
func (l Listing) lastRecord() Date {
	last := l.ListedOn
	for _, a := range l.Asks {
		last = max(last, a.On)
	}
	for _, r := range l.Messages {
		last = max(last, r.On)
	}
	for _, r := range l.Views {
		last = max(last, r.On)
	}
	return last
}

// ActiveDays counts the days on market less the paused ones, up to on.
func (l Listing) ActiveDays(on Date) int { return int(l.exposedDays(l.until(on))) }

// DaysOnMarket counts the days from listed to ended, or to on while open.
func (l Listing) DaysOnMarket(on Date) int {
	return int(days(l.ListedOn, l.until(on)))
}

// exposedDays is the number of unpaused days from listed to end.
func (l Listing) exposedDays(end Date) float64 {
	sum := 0.0
	for _, s := range l.active(end) {
		sum += days(s.From, s.To)
	}
	return sum
}

// active returns the stretches of [ListedOn, end) outside the pauses.
func (l Listing) active(end Date) []Interval {
	var out []Interval
	at := l.ListedOn
	pauses := slices.Clone(l.Pauses)
	slices.SortFunc(pauses, func(a, b Interval) int { return cmp.Compare(a.From, b.From) })
	for _, p := range pauses {
		to := p.To
		if to.IsZero() {
			to = max(end, p.From)
		}
		if to <= p.From || p.From >= end {
			continue
		}
		if p.From > at {
			out = append(out, Interval{at, p.From})
		}
		at = max(at, to)
	}
	if at < end {
		out = append(out, Interval{at, end})
	}
	return out
}

// pausedOn reports whether a pause covers the day, and when the last pause
// before it ended.
func (l Listing) pausedOn(day Date) (paused bool, resumed Date) {
	for _, p := range l.Pauses {
		if p.From > day {
			continue
		}
		if p.To.IsZero() || day < p.To {
			paused = true
		} else if p.To > p.From {
			resumed = max(resumed, p.To)
		}
	}
	return paused, resumed
}

// askOn returns the ask that held on a day; false without any usable ask.
func (l Listing) askOn(day Date) (float64, bool) {
	asks := l.asks()
	if len(asks) == 0 {
		return 0, false
	}
	amount := asks[0].Amount
	for _, a := range asks {
		if a.On <= day {
			amount = a.Amount
		}
	}
	return amount, true
}

// asks returns the usable asks by date.
func (l Listing) asks() []Ask {
	out := before(l.Asks, func(a Ask) bool { return validPrice(a.Amount) })
	byDate := func(a, b Ask) int { return cmp.Compare(a.On, b.On) }
	if !slices.IsSortedFunc(out, byDate) {
		out = slices.Clone(out)
		slices.SortStableFunc(out, byDate)
	}
	return out
}

// estimate returns the seller's own judgement. The first ask stands in for a
// missing one, unless it followed a suggestion or is a stranger's.
func (l Listing) estimate() (float64, bool) {
	if validPrice(l.Estimate) {
		return l.Estimate, true
	}
	if l.PricedFromSuggestion || l.Observed {
		return 0, false
	}
	asks := l.asks()
	if len(asks) == 0 {
		return 0, false
	}
	return asks[0].Amount, true
}
