package service

import (
	"context"
	"strings"

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

// OfferAdvice is what to do about offers for a listing.
type OfferAdvice struct {
	pricing.OfferAdvice
	TurnsUp  float64 // chance that the buyer comes and pays
	Holds    int     // of that kind that it was learned from
	Held     *Hold   // for another buyer, at present; nil: none
	Model    string
	Cautions []Caution
}

// offerFields are what is told with an offer.
var offerFields = []string{"amount", "comes", "cash", "deposit", "note"}

// AdviseOffer says what to do about the offer that a change recorded for one's
// own open listing.
func (s *Service) AdviseOffer(ctx context.Context, a *Actor, made *Change) (offer Offer, advice OfferAdvice, err error) {
	if offer, err = a.offerOf(made.New, &made.Events[0]); err != nil {
		return offer, advice, err
	}
	advice, err = s.advise(ctx, a, made.New, &offer)
	return offer, advice, err
}

// Offers lists the offers for one's own listing in the order they were
// recorded, undone ones left out. While it is open, the advice tells the lowest
// amount to take; nil: it is not.
func (s *Service) Offers(ctx context.Context, a *Actor, listing uuid.UUID) ([]Offer, *OfferAdvice, error) {
	l, err := s.store.Listing(ctx, a.Tenant(), listing)
	if err != nil {
		return nil, nil, NoListing(err, listing)
	}
	if err := a.needOwner(l); err != nil {
		return nil, nil, err
	}
	events, err := s.store.Events(ctx, a.Tenant(), listing)
	if err != nil {
		return nil, nil, err
	}
	var offers []Offer
	for i := range events {
		if e := &events[i]; e.Kind == EventOffer && e.VoidedBy == uuid.Nil {
			offer, err := a.offerOf(l, e)
			if err != nil {
				return nil, nil, err
			}
			offers = append(offers, offer)
		}
	}
	if l.Outcome != OutcomeOpen || l.IsObserved() {
		return offers, nil, nil
	}
	advice, err := s.advise(ctx, a, l, nil)
	return offers, &advice, err
}

// needOwner keeps offers to the owner, also from an admin key.
func (a *Actor) needOwner(l *Listing) error {
	if l.MemberID == a.MemberID {
		return nil
	}
	return refuse(ErrForbidden, "offers for %s are for %s alone, also with an admin key", l.Ref, l.Member)
}

// advise judges an offer for an open listing, or without one tells the lowest
// amount to take.
func (s *Service) advise(ctx context.Context, a *Actor, l *Listing, offer *Offer) (OfferAdvice, error) {
	group, err := s.keeper.current(ctx, a)
	if err != nil {
		return OfferAdvice{}, err
	}
	rows, row, err := s.recordOf(ctx, a, l.ID)
	if err != nil {
		return OfferAdvice{}, err
	}
	standing := rows.standing(row, a.Group.Currency, a.Today)
	holds, ended, err := s.holds(ctx, a, a.Today)
	if err != nil {
		return OfferAdvice{}, err
	}
	c, settings := a.Group.Currency, a.Group.SettingsFor(l.Venue, a.Today)
	out := OfferAdvice{Model: group.version(), Cautions: occasion{piece: l, deeds: toMeet | toHandOver}.cautions()}
	if offer == nil {
		out.OfferAdvice = group.model.Lowest(standing, a.Today, settings)
	} else {
		deposit := offer.Deposit > 0
		if out.TurnsUp = 1; !offer.Cash || offer.Comes > a.Today {
			out.TurnsUp = ended.chance(deposit)
			out.Holds = ended.of(deposit).kept + ended.of(deposit).broken
		}
		out.OfferAdvice = group.model.Advise(standing, pricing.Offer{
			Amount: offer.Amount.Major(c), Days: max(0, int(offer.Comes-a.Today)), TurnsUp: out.TurnsUp, Deposit: offer.Deposit.Major(c),
		}, a.Today, settings)
	}
	if h := unreleased(holds[l.ID]); h != nil {
		out.Held = h
		out.Sentences = append(out.Sentences, h.sentence(a.Today))
	}
	return out, nil
}

// offer reads what is told of an offer into its event.
func (a *Actor) offer(l *Listing, n NewEvent, event *Event) error {
	if err := a.needOwner(l); err != nil {
		return err
	}
	if l.IsObserved() {
		return refuse(ErrConflict, "%s is a stranger's listing; offers are for one's own", l.Ref)
	}
	amount, err := a.Reader().positiveMoney(strings.TrimSpace(n.Fields["amount"]))
	if err != nil {
		return Invalid("amount", "%v", err)
	}
	c := a.Group.Currency
	event.Private, event.Details = true, map[string]string{"amount": amount.Format(c)}
	if comes := n.Fields["comes"]; strings.TrimSpace(comes) != "" {
		day, err := a.comingDay(comes, event.On)
		if err != nil {
			return Invalid("comes", "%v", err)
		}
		event.Details["comes"] = day.String()
	}
	switch cash := strings.TrimSpace(n.Fields["cash"]); cash {
	case "", "false":
	case "true":
		event.Details["cash"] = cash
	default:
		return Invalid("cash", "expected true or false")
	}
	if deposit := strings.TrimSpace(n.Fields["deposit"]); deposit != "" {
		paid, err := a.Reader().positiveMoney(deposit)
		if err == nil && paid > amount {
			return Invalid("deposit", "%s is more than the offer", paid.Format(c))
		}
		if err != nil {
			return Invalid("deposit", "%v", err)
		}
		event.Details["deposit"] = paid.Format(c)
	}
	if note := strings.TrimSpace(n.Fields["note"]); note != "" {
		if err := checkText(note, 1000); err != nil {
			return Invalid("note", "%v", err)
		}
		event.Details["note"] = note
	}
	return nil
}

// offerOf is the offer that an event tells of.
func (a *Actor) offerOf(l *Listing, e *Event) (Offer, error) {
	c, read := a.Group.Currency, storedDetails{event: e}
	o := Offer{
		ID:     e.ID,
		On:     e.On,
		Amount: read.money("amount", c),
		Ask:    l.askOn(e.On),
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
