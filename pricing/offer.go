package pricing

import (
	"math"

	"askwright/pricing/askplan"
	"askwright/pricing/furniture"
	"askwright/pricing/pricepoint"
)

// Offer is what a buyer bids for a piece on offer.
type Offer struct {
	Amount  float64
	Days    int     // until the buyer comes, held until then; 0: today
	TurnsUp float64 // chance that the buyer comes and pays; 1 for cash at the door
	Deposit float64 // paid already, and kept if the buyer does not come
}

// OfferAdvice says what to do about an offer. Money is in the group's unit.
type OfferAdvice struct {
	Action       string         // "take", "counter", "wait"; empty where refused
	Counter      *float64       // what to say back
	LastWord     bool           // beside a counter: where the buyer gives no more, take the offer
	Ask          float64        // now
	SayBack      float64        // to any offer below: the ask less the usual haggling
	TakeNet      float64        // expected, after fees, of taking the offer as it is
	CounterNet   *float64       // the same of Counter, if the buyer agrees
	WaitNet      float64        // expected, of the plan instead
	WaitAsk      float64        // that the plan goes on with today; zero: taking it down is worth more
	ChanceBetter float64        // that taking beats waiting
	LowestLike   float64        // the lowest offer like this one that is worth taking
	Lowest       []LowestToTake // in cash, today and later if nothing happens
	Flooded      bool           // so many messages in the first days that no discount is due
	Money        Money
	Labels       []string
	Refusal      *furniture.Refusal
}

// LowestToTake is the lowest amount worth taking in cash after some more days
// on offer without a sale.
type LowestToTake struct {
	Days   int
	Amount float64
}

// What to do about an offer.
const (
	OfferTake    = "take"
	OfferCounter = "counter"
	OfferWait    = "wait"
)

// The days ahead for which the lowest amount is told.
var lowestDays = [...]int{0, 7, 14, 30, 60}

// Floods of messages, and how often buyers turn up. Common practice, no source.
const (
	floodDays     = 2 // active
	floodMessages = 5.0
	floodTimes    = 3.0 // as many as usual
)

// beta is a prior on a chance: that of kept promises against broken ones.
type beta struct{ kept, broken float64 }

var (
	turnUpPrior        = beta{3, 2}     // no-shows are common
	turnUpDepositPrior = beta{4.5, 0.5} // rare with a deposit
)

// TurnUp is the chance that a buyer who promised comes and pays: the mean of
// the Beta posterior, of Beta(3, 2) beforehand and of Beta(4.5, 0.5) with a
// deposit (common practice, no source), given how holds of that kind ended.
func TurnUp(deposit bool, kept, broken int) float64 {
	p := turnUpPrior
	if deposit {
		p = turnUpDepositPrior
	}
	return (p.kept + float64(kept)) / (p.kept + p.broken + float64(kept+broken))
}

// Advise judges an offer for an open listing against going on without it, from
// the same plan as Review:
//
//	wait = the net of the best plan from today, at least the salvage
//	take = p (1−φ) amount + (1−p) (deposit + wait after the days held) − c·days
//
// Below the amount at which both are worth the same it is to be refused. What to
// say back is the ask less the group's usual haggling, at least the offer; an
// offer between the two is taken where it is the last word. Nothing is added for
// better offers that may come: the plan holds them.
func (m *Model) Advise(st Standing, offer Offer, on Date, s Settings) OfferAdvice {
	b, out := m.haggle(st, on, s)
	if out.Refusal != nil {
		return out
	}
	offer.TurnsUp = clamp(offer.TurnsUp, 0.01, 1)
	b.after = b.wait
	if offer.Days > 0 {
		b.after = b.shifted(offer.Days).from(b.age).goOn(b.ask, b.ready, s).worth()
	}
	out.TakeNet = b.take(offer, offer.Amount)
	out.LowestLike = b.lowestLike(offer)
	out.ChanceBetter = b.chanceBetter(offer)
	say := math.Min(b.ask, max(offer.Amount, out.SayBack, pricepoint.From(out.LowestLike)))
	if out.Flooded {
		say = b.ask
	}
	worth := out.TakeNet >= out.WaitNet
	switch {
	case worth && say-offer.Amount <= planInertia*b.ask: // no word for a trifle
		out.Action = OfferTake
	case out.LowestLike <= b.ask:
		out.Action, out.LastWord = OfferCounter, worth && !out.Flooded
		out.Counter, out.CounterNet = &say, ref(b.take(offer, say))
	default:
		out.Action = OfferWait
	}
	return out
}

// Lowest tells the lowest amounts to take, without an offer.
func (m *Model) Lowest(st Standing, on Date, s Settings) OfferAdvice {
	b, out := m.haggle(st, on, s)
	out.Ask = b.ask
	return out
}

// haggling is an open listing that offers come for.
type haggling struct {
	outlook
	course askplan.Course
	ask    float64
	ready  float64 // days until it may change
	wait   float64 // expected net of going on

	after float64 // the same once a hold has come to nothing
}

// haggle prepares the advice that does not depend on an offer.
func (m *Model) haggle(st Standing, on Date, s Settings) (haggling, OfferAdvice) {
	l := st.Listing.cut(on)
	st.Listing = l
	q := Query{Attributes: l.Attributes, Standing: &st}
	q.Estimate, _ = l.estimate()
	var out OfferAdvice
	price, _ := m.likely(l.Attributes, 0, l.ListedOn, s)
	out.Refusal, out.Labels = m.doubts(price, q.Estimate > 0, s)
	ask, priced := l.askOn(on)
	if !priced && out.Refusal == nil {
		out.Refusal = tooFewSales(m.value.sales, s.MinSales)
	}
	b := haggling{ask: ask}
	if out.Refusal != nil {
		return b, out
	}
	b.outlook = m.position(q, on, s)
	b.ready = b.readyIn(st, on, s)
	g := going{b.outlook.course(st, ask, on, s), b.salvage}
	b.course, b.wait = g.Course, g.worth()
	out.Ask, out.WaitNet = ask, b.wait
	if out.WaitAsk = b.course.Plan.Steps[0].Ask; b.course.Plan.Net < b.salvage {
		out.WaitAsk = 0
	}
	out.SayBack = math.Min(ask, PricePoint(b.negotiation*ask))
	for _, d := range lowestDays {
		later := b.wait
		if d > 0 {
			later = b.later(ask, d).goOn(ask, b.ready-float64(d), s).worth()
		}
		out.Lowest = append(out.Lowest, LowestToTake{Days: d, Amount: later / (1 - b.fee)})
	}
	out.Money = s.money(b.outlook, b.course.AskAt)
	seen := m.evidence(st, on, s)
	out.Flooded = seen.known && len(st.Earlier) == 0 && seen.age <= floodDays &&
		seen.counted >= math.Max(floodMessages, floodTimes*seen.ownExpected)
	return b, out
}

// going is a way to go on with a piece that may also be let go.
type going struct {
	askplan.Course
	salvage float64
}

func (g going) worth() float64 { return math.Max(g.Plan.Net, g.salvage) }

// goOn plans anew on a later day.
func (o outlook) goOn(ask, ready float64, s Settings) going {
	return going{o.courseFrom(nil, ask, ready, s), o.salvage}
}

// later is the outlook after some more days at an ask without a sale, when
// nothing else was learned.
func (o outlook) later(ask float64, more int) outlook {
	o.r += o.pace(ask) * o.ahead(float64(more))
	return o.shifted(more).from(o.age + float64(more))
}

// shifted moves the day, but not the age: the clock stands still meanwhile.
func (o outlook) shifted(more int) outlook {
	if !o.on.IsZero() {
		o.on += Date(more)
	}
	return o
}

// take is the expected net of agreeing on an amount under an offer's promise.
func (b haggling) take(o Offer, amount float64) float64 {
	return o.TurnsUp*(1-b.fee)*amount + (1-o.TurnsUp)*(o.Deposit+b.after) - b.holding*float64(o.Days)
}

// lowestLike is the amount at which taking such an offer is worth as much as
// waiting.
func (b haggling) lowestLike(o Offer) float64 {
	return math.Max(0, (b.wait-b.take(o, 0))/(o.TurnsUp*(1-b.fee)))
}

// chanceBetter is the share of the frailty's mid-quantiles for which taking
// beats waiting.
func (b haggling) chanceBetter(o Offer) float64 {
	zs := b.frailties()
	take, wait := make([]float64, len(zs)), make([]float64, len(zs))
	change := b.after - b.wait // of waiting, by the season
	for i, z := range zs {
		wait[i] = b.salvage
		if b.course.Plan.Net >= b.salvage {
			wait[i] = b.course.Plan.Given(z, b.salvage)
		}
		take[i] = o.TurnsUp*(1-b.fee)*o.Amount + (1-o.TurnsUp)*(o.Deposit+wait[i]+change) - b.holding*float64(o.Days)
	}
	return shareAbove(take, wait)
}
