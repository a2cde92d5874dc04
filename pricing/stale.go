package pricing

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
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
	Remedies        []Remedy // best first
	Gain            float64  // of the best over waiting
	Refusal         *Refusal // of the flag: too few sales
	Sentences       []string
}

// Remedy is one thing to do about a slow listing.
type Remedy struct {
	Action                  string // "wait", "renew", "reprice", "refinish", "withdraw"
	Ask                     float64
	Finish, Color           string
	ExpectedNet             float64
	Gain                    float64 // over waiting
	ChanceBetterThanWaiting float64
	Chance30                float64
	Cost                    float64
	Hours                   float64
	DaysOut                 int
}

// States of an open listing.
const (
	StateFresh  = "fresh"
	StateSlow   = "slow"
	StateStale  = "stale"
	StatePaused = "paused"
)

// Actions of remedies.
const (
	ActionWait     = "wait"
	ActionRenew    = "renew"
	ActionReprice  = "reprice"
	ActionRefinish = "refinish"
	ActionWithdraw = "withdraw"
)

// evidence is what the listings of one piece have shown so far.
type evidence struct {
	age      float64 // active days of the present listing
	hazard   float64 // H: expected sales
	expected float64 // M: expected messages, where they are known
	counted  float64 // C
	sales    float64 // of earlier listings

	ownExpected float64 // of the present listing
	known       bool    // its messages are
}

// k and r are the parameters of the frailty posterior
//
//	Z ~ Gamma(k + sales + ω C, k + H + ω M).
func (e evidence) k() float64 { return frailtyShape + e.sales + messageWeight*e.counted }

func (e evidence) r() float64 { return frailtyShape + e.hazard + messageWeight*e.expected }

// evidence sums over the listings of a piece, each with its own look, fit and
// estimate. Listings with unknown messages count by their hazard alone.
func (m *Model) evidence(st Standing, on Date, s Settings) evidence {
	var e evidence
	for i, l := range append([]Listing{st.Listing}, st.Earlier...) {
		l = l.cut(on)
		rows := l.exposures(on)
		known := l.countMessages(rows)
		typical, premium := m.typicalAsk(l, s)
		e.hazard += m.rates.Sale.hazard(levelsOf(l.Attributes), rows, typical, premium)
		usual := m.rates.Message.hazard(levelsOf(l.Attributes), rows, typical, premium)
		if known {
			e.expected += usual
			for _, r := range rows {
				e.counted += r.messages
			}
		}
		if i == 0 {
			e.age = l.exposedDays(l.until(on))
			e.ownExpected, e.known = usual, known
		} else if l.Outcome == Sold {
			e.sales++
		}
	}
	return e
}

// typicalAsk is the log of the typical ask of a listing at its list date, and
// its premium d − d̄.
func (m *Model) typicalAsk(l Listing, s Settings) (typical, premium float64) {
	estimate, known := l.estimate()
	if known {
		typical = m.fitFor(l.Attributes, estimate, l.ListedOn, s) + m.rates.Opening
		return typical, math.Log(estimate) - typical
	}
	if m.value.sales < s.MinSales {
		estimate = m.stand(l)
	}
	return m.fitFor(l.Attributes, estimate, l.ListedOn, s) + m.rates.Opening, 0
}

// stand is the estimate, or the first ask whatever it followed: the last
// resort while there are too few sales.
func (m *Model) stand(l Listing) float64 {
	if e, ok := l.estimate(); ok {
		return e
	}
	if asks := l.asks(); len(asks) > 0 {
		return asks[0].Amount
	}
	return 0
}

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
	out.Sentences = out.explain(ask)
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

// priced is a remedy with its net at every frailty of the mid-quantiles.
type priced struct {
	Remedy
	nets []float64
}

// frailties are the 40 mid-quantiles (i − ½)/40 of Gamma(k', r').
func (o outlook) frailties() []float64 {
	z := make([]float64, midQuantiles)
	g := distuv.Gamma{Alpha: o.k, Beta: o.r}
	for i := range z {
		z[i] = g.Quantile((float64(i) + 0.5) / midQuantiles)
	}
	return z
}

// remedy prices an ask from now on, less a cost; waiting holds the nets of waiting.
func (o outlook) remedy(action string, ask, cost float64, zs, waiting []float64) priced {
	p := priced{
		Remedy: Remedy{
			Action: action, Ask: ask, Cost: cost,
			ExpectedNet: o.net(ask, o.holding) - cost,
			Chance30:    o.sold(ask, 30),
		},
		nets: make([]float64, len(zs)),
	}
	for i, z := range zs {
		p.nets[i] = o.netGiven(ask, z) - cost
	}
	p.ChanceBetterThanWaiting = shareAbove(p.nets, waiting)
	return p
}

// shareAbove is the share of pairs in which a is above b.
func shareAbove(a, b []float64) float64 {
	if len(b) == 0 {
		return 0
	}
	n := 0
	for i := range b {
		if a[i] > b[i] {
			n++
		}
	}
	return float64(n) / float64(len(b))
}

// withdrawal takes the salvage now.
func (o outlook) withdrawal(waiting []float64) Remedy {
	nets := make([]float64, len(waiting))
	for i := range nets {
		nets[i] = o.salvage
	}
	return Remedy{Action: ActionWithdraw, ExpectedNet: o.salvage, ChanceBetterThanWaiting: shareAbove(nets, waiting)}
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
