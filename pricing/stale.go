package pricing

import (
	"askwright/pricing/furniture"
	"askwright/pricing/stats"
)

// Review is what the best plan from today does with one open listing, why, and
// what else could be done.
type Review struct {
	ID              string
	State           string // "fresh", "slow", "stale", "paused"
	Clear           bool   // of a stale one: the move beats leaving it in at least 3 of 4 cases
	ActiveDays      int
	DaysOnMarket    int
	DaysAtAsk       int     // active days
	TypicalDays     *int    // within which half of those like it sell at the present ask; nil: not within the horizon
	ChanceSoldByNow float64 // of one like it, in the present listing
	Listings        int     // of the piece so far, this one among them
	DaysInAll       int     // active days of all of them
	MessagesSeen    *int
	MessagesUsual   float64 // expected by now
	ViewsSeen       *int
	ViewsUsual      float64      // zero: nobody's are known
	Demand          float64      // posterior mean of the frailty: 1 is what the description promises
	GroupPulse      float64      // messages of all in the last weeks against usual; zero: too few to tell
	Quiet           bool         // the whole group is slow
	SalePrice       *stats.Range // what it should sell for; nil: too few sales

	Action       string // what to do next: that of the first of Remedies, or ActionCheck
	Due          bool   // it is to be done today
	Reason       string // see the causes
	Checks       []Check
	Plan         Plan     // from today; without steps where there is none
	NextStepOn   Date     // when to act next; zero: nothing is planned
	NextAsk      float64  // that the plan goes on with; zero: it stays
	WaitingCosts float64  // lost by acting only on the next decision day
	Gain         float64  // of the plan, or of what beats it, over leaving it as it is for good
	Odds         float64  // that it does
	OddsIfBack   *float64 // in a slow season: if buyers come back soon; nil: none
	OddsIfAway   *float64 // if they stay away
	Remedies     []Remedy // the one to take first, then the best first; none while it is fresh
	Money        Money
	Kept         Kept               // what to keep, so that the next review goes on with it
	Refusal      *furniture.Refusal // of the flag: too few sales
}

// States of an open listing.
const (
	StateFresh  = "fresh"
	StateSlow   = "slow"
	StateStale  = "stale"
	StatePaused = "paused"
)

// Kept is what was told of a listing's next step before.
type Kept struct {
	Ask     float64 // then; another one now ends it
	AtAge   float64 // active days at which the step falls due
	NextAsk float64 // zero: the ask stays
	Checked Date    // since when the cheap checks come first; zero: they do not
	Flagged bool    // it was stale
}

// Review judges one open listing on a day by the best plan from then on: where
// it stands, what to do next and when, and every other move by its net over a
// fresh horizon.
func (m *Model) Review(st Standing, on Date, s Settings) Review {
	l := st.Listing.cut(on)
	st.Listing = l
	seen := m.evidence(st, on, s)
	paused, _ := l.pausedOn(on)
	ask, priced := l.askOn(on)
	out := Review{
		ID: l.ID, ActiveDays: l.ActiveDays(on), DaysOnMarket: l.DaysOnMarket(on), DaysAtAsk: l.daysAtAsk(on),
		ChanceSoldByNow: soldBy(seen.own, frailtyShape, frailtyShape), Listings: 1 + len(st.Earlier),
		MessagesSeen: newestCount(l.Messages), MessagesUsual: seen.ownExpected, ViewsSeen: newestCount(l.Views),
		Demand: seen.k() / seen.r(), GroupPulse: m.rates.Pulse, Quiet: m.rates.Quiet, Action: ActionWait,
	}
	out.DaysInAll = out.ActiveDays
	for _, e := range st.Earlier {
		out.DaysInAll += e.ActiveDays(on)
	}
	out.ViewsUsual = m.rates.ViewsPerDay * float64(out.ActiveDays)
	estimate, known := l.estimate()
	enough := m.value.sales >= s.MinSales
	if enough {
		out.SalePrice, _ = m.likely(l.Attributes, estimate, on, s)
	} else {
		out.Refusal = tooFewSales(m.value.sales, s.MinSales)
	}
	r := reviewing{Model: m, Review: &out, st: st, seen: seen, on: on, ask: ask, s: s}
	r.cause = r.diagnosis()
	if priced && (enough || known) {
		r.now = m.outlook(l.Attributes, on, m.fitFor(l.Attributes, estimate, l.ListedOn, s), estimate, s)
		out.TypicalDays = r.now.reached(ask, evenOdds)
		r.now.k, r.now.r = seen.k(), seen.r()
		r.now = r.now.from(seen.age)
		r.judge()
	}
	switch {
	case paused:
		out.State = StatePaused
		out.rest()
		r.cause = r.diagnosis()
	case r.flagged:
		out.State = StateStale
		out.Clear = out.Odds >= s.ClearOdds
	case out.ChanceSoldByNow >= evenOdds:
		out.State = StateSlow
	default:
		out.State = StateFresh
	}
	if out.State == StateFresh {
		out.Remedies = nil
	}
	out.Reason = r.cause
	out.Checks = st.checks(&out)
	return out
}

// rest leaves a listing that nobody can collect alone.
func (r *Review) rest() {
	r.Action, r.Due, r.NextStepOn, r.NextAsk = ActionWait, false, 0, 0
	r.Plan, r.Gain, r.Odds, r.OddsIfBack, r.OddsIfAway, r.WaitingCosts = Plan{}, 0, 0, nil, nil, 0
	r.Remedies, r.Kept.Checked, r.Kept.Flagged = nil, 0, false
}

// daysAtAsk counts the active days since the last change of the ask.
func (l Listing) daysAtAsk(on Date) int {
	from := l.ListedOn
	asks := l.asks()
	for i := 1; i < len(asks); i++ {
		if asks[i].Amount != asks[i-1].Amount && asks[i].On <= on {
			from = max(from, asks[i].On)
		}
	}
	sum := 0.0
	for _, s := range l.active(l.until(on)) {
		sum += days(max(s.From, from), s.To)
	}
	return int(sum)
}

// newestCount is the greatest reading; nil where none is known.
func newestCount(readings []Reading) *int {
	if len(readings) == 0 {
		return nil
	}
	most := 0
	for _, r := range readings {
		most = max(most, r.Count)
	}
	return &most
}
