package wire

import (
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
)

// Offer is what somebody bid for a listing. Only its owner sees it.
type Offer struct {
	ID      uuid.UUID   `json:"id" format:"uuid"`
	On      string      `json:"on" format:"date"`
	Amount  web.Number  `json:"amount" swaggertype:"number" example:"240"`
	Ask     *web.Number `json:"ask" swaggertype:"number" example:"300"` // on that day
	Comes   string      `json:"comes" format:"date"`                    // when the buyer comes, by their word
	Cash    bool        `json:"cash"`                                   // at the door
	Deposit *web.Number `json:"deposit,omitempty" swaggertype:"number"` // paid already
	Note    string      `json:"note,omitempty"`
}

// NewOffer records an offer.
type NewOffer struct {
	Amount  *web.Decimal `json:"amount" swaggertype:"number" example:"240"`
	On      string       `json:"on" format:"date"`             // made; default: today
	Comes   *string      `json:"comes" default:"today"`        // today, or the day on which the buyer comes
	Cash    bool         `json:"cash"`                         // at the door: whoever comes today with cash is sure to pay
	Deposit *web.Decimal `json:"deposit" swaggertype:"number"` // paid already, and kept if the buyer does not come
	Note    *string      `json:"note"`
}

// OfferAnswer is an offer with what to do about it.
type OfferAnswer struct {
	Offer                   Offer          `json:"offer"`
	Action                  string         `json:"action,omitempty" enums:"take,counter,wait"`
	Counter                 *web.Number    `json:"counter,omitempty" swaggertype:"number"`                    // what to say back
	TakeNet                 *web.Number    `json:"take_net,omitempty" swaggertype:"number"`                   // expected, after fees, of taking it as it is
	LastWord                bool           `json:"take_as_last_word"`                                         // beside counter: where the buyer gives no more, take the offer
	TakeFrom                *web.Number    `json:"take_from" swaggertype:"number"`                            // in cash today: below, waiting is worth more
	SayBack                 *web.Number    `json:"say_back" swaggertype:"number"`                             // to any offer below it
	CounterNet              *web.Number    `json:"counter_net,omitempty" swaggertype:"number"`                // expected, of the counter if it is agreed on
	WaitNet                 *web.Number    `json:"wait_net,omitempty" swaggertype:"number"`                   // expected, of the plan instead
	WaitAsk                 *web.Number    `json:"wait_ask,omitempty" swaggertype:"number"`                   // that the plan goes on with today; absent: taking it down is worth more
	ChanceBetterThanWaiting *web.Number    `json:"chance_better_than_waiting,omitempty" swaggertype:"number"` // of taking it
	ChanceTurnsUp           web.Number     `json:"chance_turns_up" swaggertype:"number" example:"0.6"`        // that the buyer comes and pays; 1 for cash today
	Holds                   int            `json:"holds"`                                                     // of the group's that it was learned from
	LowestLikeThis          *web.Number    `json:"lowest_like_this,omitempty" swaggertype:"number"`           // the lowest amount worth taking under the same promise
	Lowest                  []LowestToTake `json:"lowest,omitempty"`                                          // in cash
	Money                   *Money         `json:"money,omitempty"`
	Flooded                 bool           `json:"flooded"`                            // messages pour in on a new post: no discount
	HeldUntil               *string        `json:"held_until,omitempty" format:"date"` // for another buyer
	Refusal                 *Refusal       `json:"refusal,omitempty"`
	Labels                  []string       `json:"labels,omitempty" example:"low_confidence"`
	Sentences               []Sentence     `json:"sentences"`
	Cautions                []Caution      `json:"cautions"`
	Model                   string         `json:"model" example:"4.412.2026-03-05"` // design, change number, day fitted
}

// LowestToTake is the lowest amount worth taking in cash on a day, if nothing
// happens until then.
type LowestToTake struct {
	Days   int        `json:"days"` // from today, on offer
	On     string     `json:"on" format:"date"`
	Amount web.Number `json:"amount" swaggertype:"number"`
}

// OfferPage is the offers for a listing as they came, undone ones left out.
type OfferPage struct {
	Items     []Offer        `json:"items"`
	Next      *string        `json:"next"`                           // null: the list is whole
	TakeFrom  *web.Number    `json:"take_from" swaggertype:"number"` // of an open listing, in cash today
	SayBack   *web.Number    `json:"say_back" swaggertype:"number"`
	Money     *Money         `json:"money,omitempty"`
	Lowest    []LowestToTake `json:"lowest,omitempty"` // of an open listing
	HeldUntil *string        `json:"held_until,omitempty" format:"date"`
	Refusal   *Refusal       `json:"refusal,omitempty"` // of lowest
	Sentences []Sentence     `json:"sentences,omitempty"`
}

// Offer shows an offer to the owner of its listing.
func (v Viewer) Offer(o service.Offer) Offer {
	out := Offer{ID: o.ID, On: o.On.String(), Amount: web.Exact(o.Amount, v.Currency), Comes: o.Comes.String(), Cash: o.Cash, Note: o.Note}
	if o.Ask != 0 {
		out.Ask = new(web.Exact(o.Ask, v.Currency))
	}
	if o.Deposit != 0 {
		out.Deposit = new(web.Exact(o.Deposit, v.Currency))
	}
	return out
}

// Lowest shows the lowest amounts to take, by days from today.
func (v Viewer) Lowest(advice *advice.OfferAdvice) []LowestToTake {
	money := web.MoneyIn(v.Currency)
	var out []LowestToTake
	for _, l := range advice.Lowest {
		on := v.actor.Today + pricing.Date(l.Days)
		out = append(out, LowestToTake{Days: l.Days, On: on.String(), Amount: money(l.Amount)})
	}
	return out
}

// TakeFrom is the lowest amount to take in cash today; nil: it is refused.
func (v Viewer) TakeFrom(advice *advice.OfferAdvice) *web.Number {
	if len(advice.Lowest) == 0 {
		return nil
	}
	return new(web.MoneyIn(v.Currency)(advice.Lowest[0].Amount))
}

// SayBack is what to say to a lower offer; nil: it is refused.
func (v Viewer) SayBack(advice *advice.OfferAdvice) *web.Number {
	return web.Known(advice.SayBack, web.MoneyIn(v.Currency))
}

// OfferMoney is what the advice assumes; nil: it is refused.
func (v Viewer) OfferMoney(advice *advice.OfferAdvice) *Money {
	if advice.Refusal != nil {
		return nil
	}
	return new(v.assumptions(advice.Money))
}

// HeldUntil is the last day of a hold; nil: there is none.
func HeldUntil(h *service.Hold) *string {
	if h == nil {
		return nil
	}
	return new(h.Until.String())
}

// OfferAnswer shows what to do about an offer.
func (v Viewer) OfferAnswer(offer service.Offer, f *advice.OfferAdvice) OfferAnswer {
	money := web.MoneyIn(v.Currency)
	out := OfferAnswer{
		Offer: v.Offer(offer), Action: f.Action, Counter: Optional(f.Counter, money), CounterNet: Optional(f.CounterNet, money),
		ChanceTurnsUp: web.Chance(f.TurnsUp), Holds: f.Holds, Lowest: v.Lowest(f), Flooded: f.Flooded, HeldUntil: HeldUntil(f.Held),
		Refusal: RefusalOf(f.Refusal), Labels: f.Labels, Sentences: Sentences(f.Sentences), Cautions: Cautions(f.Cautions), Model: f.Model,
	}
	if f.Refusal != nil {
		return out
	}
	out.LastWord, out.TakeFrom, out.SayBack, out.Money = f.LastWord, v.TakeFrom(f), v.SayBack(f), v.OfferMoney(f)
	out.TakeNet, out.WaitNet, out.WaitAsk = new(money(f.TakeNet)), new(money(f.WaitNet)), web.Known(f.WaitAsk, money)
	out.LowestLikeThis, out.ChanceBetterThanWaiting = new(money(f.LowestLike)), new(web.Chance(f.ChanceBetter))
	return out
}

// OfferTable has a line for each offer.
var OfferTable = web.TableOf(web.ColumnsOf[Offer](`
	id on amount ask comes cash deposit note`), func(p OfferPage) []Offer { return p.Items })
