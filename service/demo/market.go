package demo

import (
	"math"
	"math/rand/v2"
	"time"

	"askwright/pricing"
)

// The market's constants: common practice, no published source.
const (
	setExponent  = 0.85 // like items sold together are worth q^0.85
	orphan       = -0.3 // log, for one of what comes in pairs or sets
	perGrade     = 0.12 // log, for a grade of condition
	trend        = 0.02 // log, for a year
	seasonSwing  = 0.03 // log, highest at the end of April
	elasticity   = 5.0  // of the pace of sale in the ask
	enquiries    = 2.5  // elasticity of the messages
	askPremium   = 0.17 // log, of a usual ask over the worth
	saleInterval = 78.0 // days at the usual ask, before age and season
	messagesADay = 0.24
	viewsADay    = 7.0
)

// market is the making of one demo: the dice and the calendar.
type market struct {
	rng          *rand.Rand
	start, today pricing.Date
}

// listing is one stretch of offering a piece. Money is in dollars.
type listing struct {
	ref      string
	piece    *piece
	look     look
	first    bool // of its piece
	observed bool
	stage    string

	listedOn, endedOn, lastSeen pricing.Date
	asks                        []pricing.Ask
	pauses                      []pricing.Interval
	estimate                    float64
	outcome                     string
	salePrice                   float64
	venue, soldVenue, area      string

	views, saves, messages, showings int
	counted                          bool // the seller kept count

	spent
	notes string

	visibility float64 // multiplies views, messages and sales; 1 is usual
}

func (l *listing) ask() float64 { return l.asks[len(l.asks)-1].Amount }

// worth is what buyers pay for the piece in that look on that day, in dollars.
func (m *market) worth(p *piece, k look, day pricing.Date) float64 {
	c := p.category
	set := setExponent * math.Log(float64(p.setSize))
	if c.sets != nil && p.setSize == 1 {
		set = orphan
	}
	volume := math.Log(p.width * p.depth * p.height / (c.width * c.depth * c.height))
	// 24 April, so that the swing is highest in spring.
	angle := 2 * math.Pi * float64(day-pricing.NewDate(2020, time.April, 24)) / 365.25
	log := math.Log(c.worth*math.Exp(set)+p.extra) + c.size*volume +
		perGrade*float64(k.condition-3) +
		materials.of(p.material).worth + woods.of(p.wood).worth +
		finishOf(k).worth + paints.of(k.color).worth + fittings.of(k.hardware).worth +
		finishOnWood(k.finish, p.wood, p.material) +
		trend*float64(day-m.today)/365.25 + seasonSwing*math.Cos(angle) + p.unseen
	return math.Exp(log)
}

func finishOf(k look) trait {
	if painted[k.finish] {
		return paintFinishes.of(k.finish)
	}
	return woodFinishes.of(k.finish)
}

// appeal is how much faster than usual a piece in that look sells.
func appeal(p *piece, k look) float64 {
	return math.Exp(p.category.pace + materials.of(p.material).pace + woods.of(p.wood).pace +
		finishOf(k).pace + paints.of(k.color).pace + fittings.of(k.hardware).pace)
}

// season is the pace of the whole market: slow from mid-November to New Year,
// quick in spring and late summer.
func season(day pricing.Date) float64 {
	t := day.Time()
	switch month := t.Month(); {
	case month == time.December, month == time.November && t.Day() >= 15:
		return 0.6
	case month >= time.March && month <= time.May, month == time.August, month == time.September:
		return 1.12
	}
	return 1
}

// freshness is how a post sinks with the days it was on show.
func freshness(active int) float64 {
	switch {
	case active < 7:
		return math.Exp(0.4)
	case active < 21:
		return math.Exp(0.1)
	case active < 60:
		return 1
	}
	return math.Exp(-0.2)
}

// offer simulates a listing day by day from its first day to its end or to the
// day until, whichever is first. It is not sold, cut or pulled while paused.
func (m *market) offer(l *listing, s *seller, until pricing.Date) {
	r := m.rng
	pace := appeal(l.piece, l.look) * l.visibility
	patience := int(s.patience * between(r, 0.8, 1.4))
	nextCut := s.nextCut(r)
	var held pricing.Date // until then
	active := 0
	for day := l.listedOn; day <= until; day++ {
		if day < held || s.away(day, m.today) {
			l.pause(day)
			continue
		}
		l.resume(day)
		if active >= nextCut && len(l.asks) < 5 {
			l.cut(day, s.cut*between(r, 0.7, 1.3))
			nextCut = active + s.nextCut(r)
		}
		worth := m.worth(l.piece, l.look, day)
		dear := math.Log(l.ask()/worth) - askPremium
		rate := pace * freshness(active) * season(day)
		if m.interest(l, rate, dear) && chance(r, 0.05) {
			held = day + pricing.Date(3+r.IntN(4)) // for a buyer who did not come
		}
		hazard := rate * l.piece.demand * math.Exp(-elasticity*dear) / saleInterval
		if chance(r, 1-math.Exp(-hazard)) {
			m.sell(l, day, dear, active)
			return
		}
		if active++; active >= patience {
			l.outcome, l.endedOn = "pulled", day
			return
		}
	}
	l.outcome = "open"
}

// interest adds a day's views and messages, and reports whether anybody wrote.
func (m *market) interest(l *listing, rate, dear float64) bool {
	r := m.rng
	views := poisson(r, math.Min(20, viewsADay*rate))
	messages := poisson(r, math.Min(10, messagesADay*rate*math.Sqrt(l.piece.demand)*math.Exp(-enquiries*dear)))
	l.views += views + messages
	l.messages += messages
	for range views {
		if chance(r, 0.06) {
			l.saves++
		}
	}
	for range messages {
		if chance(r, 0.3) {
			l.showings++
		}
	}
	return messages > 0
}

// sell ends the listing with a haggled price: the dearer the ask, the more
// comes off; what goes in the first days goes at the ask.
func (m *market) sell(l *listing, day pricing.Date, dear float64, active int) {
	l.outcome, l.endedOn = "sold", day
	l.views, l.messages, l.showings = l.views+1, l.messages+1, l.showings+1
	ratio := math.Exp(-0.105 - 0.25*dear + 0.05*m.rng.NormFloat64())
	if active < 2 {
		ratio = 1
	}
	ratio = math.Max(0.7, math.Min(1, ratio))
	step := 5.0
	if l.ask() < 50 {
		step = 1
	}
	l.salePrice = math.Min(l.ask(), step*math.Round(l.ask()*ratio/step))
}

func (l *listing) pause(day pricing.Date) {
	if n := len(l.pauses); n == 0 || !l.pauses[n-1].To.IsZero() {
		l.pauses = append(l.pauses, pricing.Interval{From: day})
	}
}

func (l *listing) resume(day pricing.Date) {
	if n := len(l.pauses); n > 0 && l.pauses[n-1].To.IsZero() {
		l.pauses[n-1].To = day
	}
}

// cut lowers the ask by about the share, by one step at least.
func (l *listing) cut(day pricing.Date, share float64) {
	if lower := roundAsk(l.ask() * (1 - share)); lower < l.ask() {
		l.asks = append(l.asks, pricing.Ask{On: day, Amount: lower})
	}
}

// roundAsk returns the price point nearest to x: the trade asks in steps of 1
// below 50, 5 below 200, 10 below 500, 25 above.
func roundAsk(x float64) float64 {
	step := 25.0
	switch {
	case x < 50:
		step = 1
	case x < 200:
		step = 5
	case x < 500:
		step = 10
	}
	return step * math.Round(x/step)
}
