package pricing

import (
	"cmp"
	"math"
	"slices"
)

// exposure is one row of the rate models: a stretch of unpaused time at one
// ask within one age bin.
type exposure struct {
	stretch  Interval // on the calendar
	bin      int
	days     float64
	ask      float64
	messages float64 // counted in it
	sold     bool
	before   bool // before its owner began to record: see Listing.RecordedFrom
}

// entered marks the rows before the day on which recording began, cut there: a
// listing that was up already is on file because it had not sold by then, so
// that those days say nothing of the rates. False where it ended before.
func entered(rows []exposure, began Date) ([]exposure, bool) {
	out := make([]exposure, 0, len(rows)+1)
	for _, e := range rows {
		if e.stretch.From >= began {
			out = append(out, e)
			continue
		}
		share := overlap(e.stretch, Interval{e.stretch.From, began})
		if e.stretch.From == e.stretch.To {
			share = 1
		}
		early, late := e, e
		early.stretch.To, late.stretch.From = min(began, e.stretch.To), began
		early.days, late.days = share*e.days, (1-share)*e.days
		early.before, early.sold, early.messages, late.messages = true, false, 0, (1-share)*e.messages
		out = append(out, early)
		if share < 1 {
			out = append(out, late)
		} else if e.sold {
			return nil, false
		}
	}
	return out, true
}

// exposures cuts the unpaused life up to a day at every ask change and at the
// age edges. A listing without a usable ask has none. At least half a day is
// exposed in all, and a thousandth of a day in each row.
func (l Listing) exposures(on Date) []exposure {
	asks := l.asks()
	if len(asks) == 0 {
		return nil
	}
	end := l.until(on)
	var out []exposure
	age := 0.0
	for _, s := range l.active(end) {
		for i, a := range asks {
			from, to := s.From, s.To
			if i > 0 {
				from = max(from, a.On)
			}
			if i+1 < len(asks) {
				to = min(to, asks[i+1].On)
			}
			if from < to {
				out = appendBins(out, Interval{from, to}, age, a.Amount)
				age += days(from, to)
			}
		}
	}
	last, _ := l.askOn(end)
	sold := l.Outcome == Sold && !l.EndedOn.IsZero() && l.EndedOn <= on
	if n := len(out); n == 0 || (sold && out[n-1].ask != last) {
		out = append(out, exposure{stretch: Interval{end, end}, bin: ageBin(age), days: minRowExposure, ask: last})
	}
	final := &out[len(out)-1]
	final.days += math.Max(0, minExposure-age-final.days)
	final.sold = sold
	return out
}

// appendBins splits one stretch at the age edges.
func appendBins(out []exposure, s Interval, age, ask float64) []exposure {
	for s.From < s.To {
		bin := ageBin(age)
		to := s.To
		if bin+1 < ageBins {
			if edge := float64(s.From) + ageEdges[bin+1] - age; edge < float64(to) {
				to = Date(edge)
			}
		}
		n := days(s.From, to)
		out = append(out, exposure{stretch: Interval{s.From, to}, bin: bin, days: n, ask: ask})
		age += n
		s.From = to
	}
	return out
}

// ageBin is the bin of an age in active days.
func ageBin(age float64) int {
	bin := 0
	for bin+1 < ageBins && age >= ageEdges[bin+1] {
		bin++
	}
	return bin
}

// countMessages spreads the messages over the rows, each increment between two
// readings over the exposure between them in proportion; what arrived during a
// pause is left out, and so is the message of the buyer. It returns false
// where messages are unknown.
func (l Listing) countMessages(rows []exposure) bool {
	if len(l.Messages) == 0 || l.Observed || len(rows) == 0 {
		return false
	}
	readings := slices.Clone(l.Messages)
	final := rows[len(rows)-1].stretch.To
	for i, r := range readings {
		if r.On.IsZero() {
			readings[i].On = final
		}
	}
	slices.SortStableFunc(readings, func(a, b Reading) int { return cmp.Compare(a.On, b.On) })
	from, count := l.ListedOn, 0
	for _, r := range readings {
		to := r.On + 1 // a reading is taken at the end of its day
		if more := r.Count - count; more > 0 {
			l.spread(rows, Interval{from, to}, float64(more))
			count = r.Count
		}
		from = max(from, min(to, final))
	}
	if rows[len(rows)-1].sold {
		left := 1.0 // the buyer's
		for i := len(rows) - 1; i >= 0 && left > 0; i-- {
			take := math.Min(left, rows[i].messages)
			rows[i].messages -= take
			left -= take
		}
	}
	return true
}

// spread adds n messages to the rows in proportion to their days in a stretch.
func (l Listing) spread(rows []exposure, s Interval, n float64) {
	total := 0.0
	for _, r := range rows {
		total += days(max(r.stretch.From, s.From), min(r.stretch.To, s.To))
	}
	if total > 0 {
		for i, r := range rows {
			rows[i].messages += n * days(max(r.stretch.From, s.From), min(r.stretch.To, s.To)) / total
		}
		return
	}
	if paused, _ := l.pausedOn(s.To - 1); !paused {
		rows[len(rows)-1].messages += n
	}
}

// partsIn are the parts of rows that lie in a window.
func partsIn(rows []exposure, window Interval) []exposure {
	var out []exposure
	for _, e := range rows {
		if share := overlap(e.stretch, window); share > 0 {
			e.days, e.messages = share*e.days, share*e.messages
			e.stretch = Interval{max(e.stretch.From, window.From), min(e.stretch.To, window.To)}
			out = append(out, e)
		}
	}
	return out
}
