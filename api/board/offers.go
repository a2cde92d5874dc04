package board

import (
	"context"
	"net/url"
	"slices"

	"github.com/google/uuid"

	"askwright/api/wire"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/prose"
)

// offer is an offer with what to do about it and what to write back.
type offer struct {
	wire.OfferAnswer
	Reply    string
	Answered string // what was said; empty: nothing yet
	Links    []link
}

// link leads to a page.
type link struct{ Text, To string }

// offers judges the offers of one's own open listing that are not long ago.
func (s *Board) offers(ctx context.Context, a *service.Actor, page *storyPage, events []service.Event) error {
	if page.Row.Outcome != service.OutcomeOpen {
		return nil
	}
	answers := service.AnswersIn(events)
	for i := range slices.Backward(events) {
		e := &events[i]
		if e.Kind != service.EventOffer || e.VoidedBy != uuid.Nil || e.On < a.Today-advice.OfferDays {
			continue
		}
		made, judged, err := s.app.Advice.AdviseOffer(ctx, a, &service.Change{New: page.Row, Events: []service.Event{*e}})
		if err != nil {
			return err
		}
		amount := made.Amount.Major(a.Group.Currency)
		one := offer{OfferAnswer: wire.ViewerOf(a).OfferAnswer(made, &judged)}
		if judged.Refusal == nil {
			one.Reply = prose.In(a.Group.Currency).Reply(&judged.OfferAdvice, amount, made.Comes, a.Today)
		}
		if answer := answers[e.ID.String()]; answer != nil {
			one.Answered = wire.ViewerOf(a).Tell(wire.ViewerOf(a).Events(page.Row, []service.Event{*answer})[0])
		}
		one.Links = offerLinks(page.Row, &one)
		page.Offers = append(page.Offers, one)
	}
	return nil
}

// offerLinks lead to what can be done about an offer, the advised first.
func offerLinks(row *service.Listing, o *offer) []link {
	at := func(kind string, values ...string) string {
		q := url.Values{"kind": {kind}}
		for i := 0; i+1 < len(values); i += 2 {
			q.Set(values[i], values[i+1])
		}
		return "/board/listings/" + row.ID.String() + "/confirm?" + q.Encode()
	}
	id, amount := o.Offer.ID.String(), wire.Trimmed(0, string(o.Offer.Amount))
	take := []link{
		{"Sold for this", at(service.EventSold, "sale_price", amount)},
		{"Hold for them", at(service.EventHold, "offer", id, "until", o.Offer.Comes)},
	}
	counter := link{"Counter", at(service.EventAnswer, "offer", id, "answer", "counter", "amount", wire.Trimmed(0, o.Counter.Text()))}
	refuse := link{"Said no", at(service.EventAnswer, "offer", id, "answer", "refuse")}
	switch o.Action {
	case pricing.OfferTake:
		return append(take, counter, refuse)
	case pricing.OfferCounter:
		return append([]link{counter}, append(take, refuse)...)
	}
	return append([]link{refuse, counter}, take...)
}
