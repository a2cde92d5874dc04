package service

import (
	"github.com/google/uuid"

	"askwright/pricing"
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
