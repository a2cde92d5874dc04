package pricing

import (
	"math"
	"time"
)

// month is the part of a stretch of days that lies in one month of the year.
type month struct {
	month time.Month
	from  Date    // its first day in the stretch
	share float64 // of the stretch
}

// maxCalendar is the longest stretch that has a season, in days: longer ones
// are slips of the pen.
const maxCalendar = 3660

// monthsOf cuts a stretch at month ends. One without a length lies in the
// month of its day. One that is too long or outside the years 1 to 9999 is one
// part without a month, at the year's mean pace.
func monthsOf(s Interval) []month {
	if s.From < 1 || days(s.From, s.To) > maxCalendar || max(s.From, s.To) > NewDate(9999, time.December, 1) {
		return []month{{from: s.From, share: 1}}
	}
	var out []month
	whole := days(s.From, s.To)
	for at := s.From; ; {
		end := nextMonth(at)
		m := month{month: at.Time().Month(), from: at, share: 1}
		if end >= s.To {
			if whole > 0 {
				m.share = days(at, s.To) / whole
			}
			return append(out, m)
		}
		m.share = days(at, end) / whole
		out = append(out, m)
		at = end
	}
}

// nextMonth is the first day of the month after.
func nextMonth(d Date) Date {
	t := d.Time()
	return NewDate(t.Year(), t.Month()+1, 1)
}

// angle returns cos and sin of the year's angle in the middle of the month;
// zeros without one.
func (m month) angle() (cos, sin float64) {
	if m.month == 0 {
		return 0, 0
	}
	sin, cos = math.Sincos(2 * math.Pi * (float64(m.month) - 0.5) / 12)
	return cos, sin
}

// seasonal is the pace in a month against the year's.
func (f RateFit) seasonal(m month) float64 {
	cos, sin := m.angle()
	return math.Exp(clamp(f.Season[0]*cos+f.Season[1]*sin, -2, 2))
}

// season is the mean pace over a stretch against the year's.
func (f RateFit) season(s Interval) float64 {
	if f.Season == [2]float64{} {
		return 1
	}
	sum := 0.0
	for _, m := range monthsOf(s) {
		sum += m.share * f.seasonal(m)
	}
	return sum
}

// stage is a stretch of the days ahead with one pace of the season.
type stage struct{ from, to, pace float64 }

// stages are the months of the days ahead; none without a day or a season,
// that is, the year's mean.
func (f RateFit) stages(on Date, horizon float64) []stage {
	if on.IsZero() || f.Season == [2]float64{} {
		return nil
	}
	var out []stage
	if on > math.MaxInt32-maxCalendar {
		return nil
	}
	for _, m := range monthsOf(Interval{on, on + Date(math.Min(horizon, maxCalendar))}) {
		if m.month == 0 {
			return nil
		}
		from := days(on, m.from)
		out = append(out, stage{from, days(on, nextMonth(m.from)), f.seasonal(m)})
	}
	return out
}
