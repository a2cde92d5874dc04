package pricing

import (
	"cmp"
	"slices"

	"askwright/pricing/furniture"
)

// Review is the state of one open listing and what could be done about it.
type Review struct {
	ID              string
	State           string // "fresh", "slow", "stale", "paused"
	Clear           bool   // of a stale one: the best remedy beats waiting in at least 3 of 4 cases
	ActiveDays      int
	DaysOnMarket    int
	DaysAtAsk       int // active days
	ChanceSoldByNow float64
	MessagesSeen    *int
	MessagesUsual   float64 // expected by now
	Demand          float64 // posterior mean of the frailty: 1 is what the description promises
	GroupPulse      float64 // messages of all in the last weeks against usual; zero: too few to tell
	Reason          string  // "price", "look", "exposure", "season", "luck"
	Checks          []string
	Remedies        []Remedy           // best first
	Gain            float64            // of the best over waiting
	Refusal         *furniture.Refusal // of the flag: too few sales
}

// States of an open listing.
const (
	StateFresh  = "fresh"
	StateSlow   = "slow"
	StateStale  = "stale"
	StatePaused = "paused"
)

// Review judges one open listing on a day: where it stands, and every remedy
// by the net over a fresh horizon from now. It is stale when the best remedy is
// not to wait and gains at least Settings.FlagGain of the ask.
func (m *Model) Review(st Standing, on Date, s Settings) Review {
	l := st.Listing.cut(on)
	st.Listing = l
	seen := m.evidence(st, on, s)
	paused, resumed := l.pausedOn(on)
	ask, priced := l.askOn(on)
	out := Review{
		ID: l.ID, ActiveDays: l.ActiveDays(on), DaysOnMarket: l.DaysOnMarket(on), DaysAtAsk: l.daysAtAsk(on),
		ChanceSoldByNow: soldBy(seen.hazard, frailtyShape, frailtyShape),
		MessagesSeen:    l.messagesSeen(), MessagesUsual: seen.ownExpected,
		Demand: seen.k() / seen.r(), GroupPulse: m.rates.Pulse,
	}
	if enough := m.value.sales >= s.MinSales; !enough {
		out.Refusal = tooFewSales(m.value.sales, s.MinSales)
	} else if priced {
		out.Remedies = m.remedies(l, on, ask, seen, s)
		out.Gain = out.Remedies[0].Gain
	}
	ripe := out.ActiveDays >= minReviewDays && out.DaysAtAsk >= minDaysAtAsk && days(resumed, on) >= minDaysAtAsk
	stale := ripe && len(out.Remedies) > 0 && out.Remedies[0].Action != ActionWait && out.Gain >= s.FlagGain*ask
	switch {
	case paused:
		out.State = StatePaused
	case stale:
		out.State = StateStale
		out.Clear = out.Remedies[0].ChanceBetterThanWaiting >= s.ClearOdds
	case out.ChanceSoldByNow >= evenOdds:
		out.State = StateSlow
	default:
		out.State = StateFresh
	}
	out.Reason = m.reason(l, seen, out.ChanceSoldByNow, on)
	if stale && out.Reason == "luck" && out.Remedies[0].Action == ActionReprice {
		out.Reason = "price" // what would cure it says what it is
	}
	out.Checks = checks(out.State, out.Reason)
	return out
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

// messagesSeen is the newest count; nil where messages are unknown.
func (l Listing) messagesSeen() *int {
	if len(l.Messages) == 0 {
		return nil
	}
	most := 0
	for _, r := range l.Messages {
		most = max(most, r.Count)
	}
	return &most
}

// remedies are all things to do, best first; ties: the least trouble first.
func (m *Model) remedies(l Listing, on Date, ask float64, seen evidence, s Settings) []Remedy {
	estimate, _ := l.estimate()
	f := m.fitFor(l.Attributes, estimate, l.ListedOn, s)
	now := m.outlook(l.Attributes, on, f, estimate, s)
	now.k, now.r = seen.k(), seen.r()
	fresh := now.from(0)
	now = now.from(seen.age)

	zs := now.frailties()
	waiting := now.remedy(ActionWait, ask, 0, zs, nil)
	out := []Remedy{
		waiting.Remedy,
		fresh.remedy(ActionRenew, ask, renewHours*s.HourValue, zs, waiting.nets).Remedy,
	}
	out[1].Hours = renewHours
	if asks := pricePoints(repriceLow*ask, repriceHigh*ask); len(asks) > 0 {
		best, _ := now.best(asks, now.holding)
		out = append(out, now.remedy(ActionReprice, best, 0, zs, waiting.nets).Remedy)
	}
	for _, r := range m.reviewed(staying{l.Attributes, l.ListedOn, fresh, zs, waiting}, s) {
		out = append(out, r.Remedy)
	}
	out = append(out, now.withdrawal(waiting.nets))
	for i := range out {
		out[i].Gain = out[i].ExpectedNet - waiting.ExpectedNet
	}
	slices.SortStableFunc(out, func(a, b Remedy) int { return cmp.Compare(b.ExpectedNet, a.ExpectedNet) })
	return out
}

// reason is the likeliest cause of no sale so far, read from the funnel: views,
// messages, sale. While the whole group is quiet, a piece that draws at least
// half of what the others do is not the trouble.
func (m *Model) reason(l Listing, e evidence, soldByNow float64, on Date) string {
	switch {
	case e.known && e.expected >= 3 && e.counted >= e.expected:
		return "price"
	case m.rates.quiet() && (e.expected < 3 || e.counted >= m.rates.Pulse*e.expected/2):
		return "season"
	case e.known && e.expected >= 3 && e.counted < e.expected/2:
		views, known := l.viewsPerDay(on)
		if known && m.rates.ViewsPerDay > 0 && views < m.rates.ViewsPerDay/2 {
			return "exposure"
		}
		return "look"
	case soldByNow >= evenOdds:
		return "price"
	}
	return "luck"
}

// checks are the cheap things to try before anything else.
func checks(state, reason string) []string {
	if state == StatePaused {
		return []string{"answer_messages", "renew_on_resuming"}
	}
	switch reason {
	case "exposure":
		return []string{"title", "photos", "another_venue"}
	case "look":
		return []string{"photos", "title", "another_venue"}
	case "price":
		return []string{"answer_messages", "offer_delivery", "flaws_disclosed"}
	}
	return nil
}
