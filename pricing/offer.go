package pricing

import (
	"math"

	"askwright/pricing/furniture"
	"askwright/pricing/stats"
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
	Counter      *float64       // the price point to ask for instead
	Ask          float64        // now
	TakeNet      float64        // expected, after fees, of taking the offer as it is
	CounterNet   *float64       // expected, of the best counter
	WaitNet      float64        // expected, of waiting instead
	WaitAsk      float64        // with which waiting does best: the present ask or a lower one; zero: taking it down does
	ChanceBetter float64        // that taking beats waiting
	LowestLike   float64        // the lowest offer like this one that is worth taking
	Lowest       []LowestToTake // in cash, today and later if nothing happens
	Flooded      bool           // so many messages in the first days that no discount is due
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

// Advise judges an offer for an open listing against waiting, from the same
// posterior as Review:
//
//	wait = max over asks up to the present one of net(a), at least salvage
//	take = p (1−φ) amount + (1−p) (deposit + wait after the days held) − c·days
//	counter at x: P(x) take(x) + (1−P(x)) wait,  P(x) = (ask − x) / (ask − amount)
//
// A counter takes what the buyer would still pay as lying anywhere between the
// offer and the ask, and one who refuses as gone (common practice, no source).
// An offer that is worth taking is countered only where that gains as much as a
// flag must, Settings.FlagGain of the ask.
func (m *Model) Advise(st Standing, offer Offer, on Date, s Settings) OfferAdvice {
	b, out := m.haggle(st, on, s)
	if out.Refusal != nil {
		return out
	}
	offer.TurnsUp = clamp(offer.TurnsUp, 0.01, 1)
	b.after = b.wait
	if offer.Days > 0 {
		_, b.after = b.shifted(offer.Days).from(b.age).bestWait(b.ask)
	}
	out.TakeNet = b.take(offer, offer.Amount)
	out.LowestLike = b.lowestLike(offer)
	out.ChanceBetter = b.chanceBetter(offer)
	counter, counterNet := b.counter(offer)
	if counter > 0 {
		out.CounterNet = &counterNet
	}
	worth := out.TakeNet >= out.WaitNet
	switch {
	case out.Flooded && offer.Amount < b.ask:
		out.Action = OfferWait
		if firm := b.take(offer, b.ask); firm >= out.WaitNet {
			out.Action, counter, out.CounterNet = OfferCounter, b.ask, &firm
		}
	case worth && (counter == 0 || counterNet-out.TakeNet < s.FlagGain*b.ask):
		out.Action = OfferTake
	case counter > 0 && counterNet > out.WaitNet:
		out.Action = OfferCounter
	default:
		out.Action = OfferWait
	}
	if out.Action == OfferCounter {
		out.Counter = &counter
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
	ask  float64
	wait float64 // expected net of waiting
	at   float64 // ask that it rests on; zero: taking it down

	after float64 // expected net of waiting once a hold has come to nothing
}

// haggle prepares the advice that does not depend on an offer.
func (m *Model) haggle(st Standing, on Date, s Settings) (haggling, OfferAdvice) {
	l := st.Listing.cut(on)
	st.Listing = l
	q := Query{Attributes: l.Attributes, Standing: &st}
	q.Estimate, _ = l.estimate()
	var out OfferAdvice
	var price *stats.Range
	if m.value.sales >= s.MinSales {
		price = ref(m.value.interval(m.value.predict(m.value.describe(l.Attributes, l.ListedOn))))
	}
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
	b.at, b.wait = b.bestWait(ask)
	out.Ask, out.WaitAsk, out.WaitNet = ask, b.at, b.wait
	for _, d := range lowestDays {
		later := b.later(ask, d)
		_, wait := later.bestWait(ask)
		out.Lowest = append(out.Lowest, LowestToTake{Days: d, Amount: wait / (1 - b.fee)})
	}
	seen := m.evidence(st, on, s)
	out.Flooded = seen.known && len(st.Earlier) == 0 && seen.age <= floodDays &&
		seen.counted >= math.Max(floodMessages, floodTimes*seen.ownExpected)
	return b, out
}

// bestWait is the ask up to the present one that waiting does best with, and its
// net; zero and the salvage where taking it down is better.
func (o outlook) bestWait(ask float64) (at, net float64) {
	at, net = o.best(append(pricePoints(repriceLow*ask, ask), ask), o.holding)
	if o.salvage > net {
		return 0, o.salvage
	}
	return at, net
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

// counter is the best price point between offer and ask, and its expected net;
// zero: there is none.
func (b haggling) counter(o Offer) (at, net float64) {
	for _, x := range thinned(pricePoints(o.Amount, b.ask), maxCandidates) {
		if x <= o.Amount || x >= b.ask {
			continue
		}
		agrees := (b.ask - x) / (b.ask - o.Amount)
		if n := agrees*b.take(o, x) + (1-agrees)*b.wait; at == 0 || n > net {
			at, net = x, n
		}
	}
	return at, net
}

// chanceBetter is the share of the frailty's mid-quantiles for which taking
// beats waiting.
func (b haggling) chanceBetter(o Offer) float64 {
	zs := b.frailties()
	take, wait := make([]float64, len(zs)), make([]float64, len(zs))
	change := b.after - b.wait // of waiting, by the season
	for i, z := range zs {
		wait[i] = b.salvage
		if b.at > 0 {
			wait[i] = b.netGiven(b.at, z)
		}
		take[i] = o.TurnsUp*(1-b.fee)*o.Amount + (1-o.TurnsUp)*(o.Deposit+wait[i]+change) - b.holding*float64(o.Days)
	}
	return shareAbove(take, wait)
}
