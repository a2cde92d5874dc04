package service

import (
	"askwright/pricing"

	"github.com/google/uuid"
)

// Offer is what somebody bid for a listing. Only its owner sees it.
type Offer struct {
	ID      uuid.UUID // of its event
	On      pricing.Date
	Amount  Money
	Ask     Money        // on that day
	Comes   pricing.Date // when the buyer comes, by their word
	Cash    bool
	Deposit Money // zero: none
	Note    string
}

// Answers are what can be said to an offer.
var Answers = []string{"take", "counter", "refuse"}

// offerFields are what is told with an offer.
var offerFields = []string{"amount", "comes", "cash", "deposit", "note"}

// OfferOf is the offer that an event tells of.
func OfferOf(a *Actor, l *Listing, e *Event) (Offer, error) {
	c, read := a.Group.Currency, storedDetails{event: e}
	o := Offer{
		ID:     e.ID,
		On:     e.On,
		Amount: read.money("amount", c),
		Ask:    l.AskOn(e.On),
		Comes:  e.On,
		Cash:   e.Details["cash"] != "",
		Note:   e.Details["note"],
	}
	if e.Details["comes"] != "" {
		o.Comes = read.day("comes")
	}
	if e.Details["deposit"] != "" {
		o.Deposit = read.money("deposit", c)
	}
	return o, read.err
}

// AnswersIn are what was said to offers, by the offer's id: an answer, or a hold
// for its buyer, which is a yes.
func AnswersIn(events []Event) map[string]*Event {
	answers := make(map[string]*Event)
	for i := range events {
		e := &events[i]
		if (e.Kind == EventAnswer || e.Kind == EventHold) && e.VoidedBy == uuid.Nil && e.Details["offer"] != "" {
			answers[e.Details["offer"]] = e
		}
	}
	return answers
}
