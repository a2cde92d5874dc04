package advice

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/prose"
)

// OfferAdvice is what to do about offers for a listing.
type OfferAdvice struct {
	pricing.OfferAdvice
	Sentences []pricing.Sentence
	TurnsUp   float64       // chance that the buyer comes and pays
	Holds     int           // of that kind that it was learned from
	Held      *service.Hold // for another buyer, at present; nil: none
	Model     string
	Cautions  []service.Caution
}

// AdviseOffer says what to do about the offer that a change recorded for one's
// own open listing.
func (s *Service) AdviseOffer(ctx context.Context, a *service.Actor, made *service.Change) (offer service.Offer, advice OfferAdvice, err error) {
	if offer, err = service.OfferOf(a, made.New, &made.Events[0]); err != nil {
		return offer, advice, err
	}
	advice, err = s.advise(ctx, a, made.New, &offer)
	return offer, advice, err
}

// Offers lists the offers for one's own listing in the order they were
// recorded, undone ones left out. While it is open, the advice tells the lowest
// amount to take; nil: it is not.
func (s *Service) Offers(ctx context.Context, a *service.Actor, listing uuid.UUID) ([]service.Offer, *OfferAdvice, error) {
	l, err := s.store.Listing(ctx, a.Tenant(), listing)
	if err != nil {
		return nil, nil, service.NoListing(err, listing)
	}
	if err := a.NeedOwner(l); err != nil {
		return nil, nil, err
	}
	events, err := s.store.Events(ctx, a.Tenant(), listing)
	if err != nil {
		return nil, nil, err
	}
	var offers []service.Offer
	for i := range events {
		if e := &events[i]; e.Kind == service.EventOffer && e.VoidedBy == uuid.Nil {
			offer, err := service.OfferOf(a, l, e)
			if err != nil {
				return nil, nil, err
			}
			offers = append(offers, offer)
		}
	}
	if l.Outcome != service.OutcomeOpen || l.IsObserved() {
		return offers, nil, nil
	}
	advice, err := s.advise(ctx, a, l, nil)
	return offers, &advice, err
}

// OfferDays is how long an offer waits for an answer before it is forgotten.
const OfferDays = 14

// Unanswered are the events of the offers for one's own open listings that nothing
// was said to yet.
func (s *Service) Unanswered(ctx context.Context, a *service.Actor) ([]service.Event, error) {
	events, err := s.store.OfferEvents(ctx, a.Tenant(), a.Today-OfferDays)
	if err != nil {
		return nil, fmt.Errorf("read the offers: %w", err)
	}
	answers := service.AnswersIn(events)
	return slices.DeleteFunc(events, func(e service.Event) bool {
		return e.Kind != service.EventOffer || answers[e.ID.String()] != nil
	}), nil
}

// advise judges an offer for an open listing, or without one tells the lowest
// amount to take.
func (s *Service) advise(ctx context.Context, a *service.Actor, l *service.Listing, offer *service.Offer) (OfferAdvice, error) {
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return OfferAdvice{}, err
	}
	rows, row, err := s.fits.RecordOf(ctx, a, l.ID)
	if err != nil {
		return OfferAdvice{}, err
	}
	standing := rows.Standing(row, a.Group.Currency, a.Today)
	holds, ended, err := s.holds(ctx, a, a.Today)
	if err != nil {
		return OfferAdvice{}, err
	}
	c, settings := a.Group.Currency, a.Group.SettingsFor(l.Venue, a.Today)
	out := OfferAdvice{Model: fit.Version(), Cautions: service.Occasion{Piece: l, Deeds: service.ToMeet | service.ToHandOver}.Cautions()}
	if offer == nil {
		out.OfferAdvice = fit.Model.Lowest(standing, a.Today, settings)
		out.Sentences = prose.In(c).Lowest(&out.OfferAdvice, a.Today)
	} else {
		deposit := offer.Deposit > 0
		if out.TurnsUp = 1; !offer.Cash || offer.Comes > a.Today {
			out.TurnsUp = ended.Chance(deposit)
			out.Holds = ended.Of(deposit).Kept + ended.Of(deposit).Broken
		}
		bid := pricing.Offer{
			Amount: offer.Amount.Major(c), Days: max(0, int(offer.Comes-a.Today)), TurnsUp: out.TurnsUp, Deposit: offer.Deposit.Major(c),
		}
		out.OfferAdvice = fit.Model.Advise(standing, bid, a.Today, settings)
		out.Sentences = prose.In(c).Offer(&out.OfferAdvice, bid, a.Today)
	}
	if h := service.Unreleased(holds[l.ID]); h != nil {
		out.Held = h
		out.Sentences = append(out.Sentences, pricing.Sentence{Kind: pricing.SaidHold, Text: h.Sentence(a.Today)})
	}
	return out, nil
}
