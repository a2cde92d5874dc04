package api

import (
	"net/http"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
)

// Offer is what somebody bid for a listing. Only its owner sees it.
type Offer struct {
	ID      uuid.UUID `json:"id" format:"uuid"`
	On      string    `json:"on" format:"date"`
	Amount  number    `json:"amount" swaggertype:"number" example:"240"`
	Ask     *number   `json:"ask" swaggertype:"number" example:"300"` // on that day
	Comes   string    `json:"comes" format:"date"`                    // when the buyer comes, by their word
	Cash    bool      `json:"cash"`                                   // at the door
	Deposit *number   `json:"deposit,omitempty" swaggertype:"number"` // paid already
	Note    string    `json:"note,omitempty"`
}

// NewOffer records an offer.
type NewOffer struct {
	Amount  *Decimal `json:"amount" swaggertype:"number" example:"240"`
	On      string   `json:"on" format:"date"`             // made; default: today
	Comes   *string  `json:"comes" default:"today"`        // today, or the day on which the buyer comes
	Cash    bool     `json:"cash"`                         // at the door: whoever comes today with cash is sure to pay
	Deposit *Decimal `json:"deposit" swaggertype:"number"` // paid already, and kept if the buyer does not come
	Note    *string  `json:"note"`
}

// OfferAnswer is an offer with what to do about it.
type OfferAnswer struct {
	Offer                   Offer          `json:"offer"`
	Action                  string         `json:"action,omitempty" enums:"take,counter,wait"`
	Counter                 *number        `json:"counter,omitempty" swaggertype:"number"`                    // what to ask for instead: a round price not above the ask
	TakeNet                 *number        `json:"take_net,omitempty" swaggertype:"number"`                   // expected, after fees, of taking it as it is
	CounterNet              *number        `json:"counter_net,omitempty" swaggertype:"number"`                // expected, of the best counter
	WaitNet                 *number        `json:"wait_net,omitempty" swaggertype:"number"`                   // expected, of waiting instead
	WaitAsk                 *number        `json:"wait_ask,omitempty" swaggertype:"number"`                   // with which waiting does best; absent: taking it down does
	ChanceBetterThanWaiting *number        `json:"chance_better_than_waiting,omitempty" swaggertype:"number"` // of taking it
	ChanceTurnsUp           number         `json:"chance_turns_up" swaggertype:"number" example:"0.6"`        // that the buyer comes and pays; 1 for cash today
	Holds                   int            `json:"holds"`                                                     // of the group's that it was learned from
	LowestLikeThis          *number        `json:"lowest_like_this,omitempty" swaggertype:"number"`           // the lowest amount worth taking under the same promise
	Lowest                  []LowestToTake `json:"lowest,omitempty"`                                          // in cash
	Flooded                 bool           `json:"flooded"`                                                   // messages pour in on a new post: no discount
	HeldUntil               *string        `json:"held_until,omitempty" format:"date"`                        // for another buyer
	Refusal                 *Refusal       `json:"refusal,omitempty"`
	Labels                  []string       `json:"labels,omitempty" example:"low_confidence"`
	Sentences               []string       `json:"sentences"`
	Cautions                []Caution      `json:"cautions"`
	Model                   string         `json:"model" example:"2.412.2026-03-05"` // design, change number, day fitted
}

// LowestToTake is the lowest amount worth taking in cash on a day, if nothing
// happens until then.
type LowestToTake struct {
	Days   int    `json:"days"` // from today, on offer
	On     string `json:"on" format:"date"`
	Amount number `json:"amount" swaggertype:"number"`
}

// OfferPage is the offers for a listing as they came, undone ones left out.
type OfferPage struct {
	Items     []Offer        `json:"items"`
	Lowest    []LowestToTake `json:"lowest,omitempty"` // of an open listing
	HeldUntil *string        `json:"held_until,omitempty" format:"date"`
	Refusal   *Refusal       `json:"refusal,omitempty"` // of lowest
	Sentences []string       `json:"sentences,omitempty"`
}

func (v viewer) offer(o service.Offer) Offer {
	out := Offer{ID: o.ID, On: o.On.String(), Amount: exact(o.Amount, v.currency), Comes: o.Comes.String(), Cash: o.Cash, Note: o.Note}
	if o.Ask != 0 {
		out.Ask = new(exact(o.Ask, v.currency))
	}
	if o.Deposit != 0 {
		out.Deposit = new(exact(o.Deposit, v.currency))
	}
	return out
}

func (v viewer) lowest(advice *advice.OfferAdvice) []LowestToTake {
	money := moneyIn(v.currency)
	var out []LowestToTake
	for _, l := range advice.Lowest {
		on := v.actor.Today + pricing.Date(l.Days)
		out = append(out, LowestToTake{Days: l.Days, On: on.String(), Amount: money(l.Amount)})
	}
	return out
}

func heldUntil(h *service.Hold) *string {
	if h == nil {
		return nil
	}
	return new(h.Until.String())
}

func (v viewer) offerAnswer(offer service.Offer, f *advice.OfferAdvice) OfferAnswer {
	money := moneyIn(v.currency)
	out := OfferAnswer{
		Offer: v.offer(offer), Action: f.Action, Counter: optional(f.Counter, money), CounterNet: optional(f.CounterNet, money),
		ChanceTurnsUp: chance(f.TurnsUp), Holds: f.Holds, Lowest: v.lowest(f), Flooded: f.Flooded, HeldUntil: heldUntil(f.Held),
		Refusal: refusal(f.Refusal), Labels: f.Labels, Sentences: notNil(f.Sentences), Cautions: cautions(f.Cautions), Model: f.Model,
	}
	if f.Refusal != nil {
		return out
	}
	out.TakeNet, out.WaitNet, out.WaitAsk = new(money(f.TakeNet)), new(money(f.WaitNet)), known(f.WaitAsk, money)
	out.LowestLikeThis, out.ChanceBetterThanWaiting = new(money(f.LowestLike)), new(chance(f.ChanceBetter))
	return out
}

var offerColumns = columnsOf[Offer](`
	id on amount ask comes cash deposit note`)

// listOffers tells a listing's offers to its owner, and to nobody else.
//
//	@Summary		List the offers for a listing
//	@Description	With the lowest amount to take today and later, while it is open. Only the owner may.
//	@Tags			listings
//	@Param			id		path	string		true	"id of the listing"
//	@Param			query	query	TableQuery	false	"of CSV"
//	@Produce		json,text/csv,application/problem+json
//	@Success		200		{object}	OfferPage
//	@Failure		default	{object}	Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/listings/{id}/offers [get]
func (s *Server) listOffers(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	form, err := wantedForm(c)
	if err != nil {
		return err
	}
	p := paramsOf(c)
	options := csvParams(p, form, columnNames(offerColumns))
	if err := p.done(); err != nil {
		return err
	}
	offers, advice, err := s.service.Advice.Offers(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	if notModified(c, s.listTag(c, a, form)) {
		return nil
	}
	v := viewerOf(a)
	items := each(offers, v.offer)
	if form == formCSV {
		return writeTable(c, "offers.csv", offerColumns, options, items)
	}
	out := OfferPage{Items: items}
	if advice != nil {
		out.Lowest, out.HeldUntil, out.Refusal, out.Sentences = v.lowest(advice), heldUntil(advice.Held), refusal(advice.Refusal), advice.Sentences
	}
	return answer(c, http.StatusOK, out)
}

// createOffer records an offer and says what to do about it.
//
//	@Summary		Record an offer and judge it
//	@Description	take it, counter at a round price, or wait; with the lowest to take today and how that falls. Only the owner may.
//	@Tags			listings
//	@Param			id			path		string		true	"id of the listing"
//	@Param			If-Match	header		string		false	"the revision seen"
//	@Param			offer		body		NewOffer	true	"amount, and what was promised"
//	@Success		201			{object}	OfferAnswer
//	@Failure		default		{object}	Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/listings/{id}/offers [post]
func (s *Server) createOffer(c *gin.Context, a *service.Actor) error {
	id, want, err := s.target(c)
	if err != nil {
		return err
	}
	var body NewOffer
	if err := readJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	fields := sentFields(&body)
	if body.Cash {
		fields["cash"] = "true"
	}
	made, err := s.service.Recording.AddEvent(c.Request.Context(), a, id, service.NewEvent{Kind: service.EventOffer, On: body.On, Fields: fields}, want)
	if err != nil {
		return withPointers(err)
	}
	offer, advice, err := s.service.Advice.AdviseOffer(c.Request.Context(), a, made)
	if err != nil {
		return withPointers(err)
	}
	c.Header("ETag", revisionTag(made.New.Revision))
	return answer(c, http.StatusCreated, viewerOf(a).offerAnswer(offer, &advice))
}
