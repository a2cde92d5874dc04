package api

import (
	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// listOffers tells a listing's offers to its owner, and to nobody else.
//
//	@Summary		List the offers for a listing
//	@Description	With the lowest amount to take today and later, while it is open. Only the owner may.
//	@Tags			listings
//	@Param			id		path	string		true	"id of the listing"
//	@Param			query	query	web.TableQuery	false	"of CSV"
//	@Produce		json,text/csv,application/problem+json
//	@Success		200		{object}	wire.OfferPage
//	@Failure		default	{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/listings/{id}/offers [get]
//	@Router			/v1/listings/{id}/offers.csv [get]
func (s *Server) listOffers(r web.Request, _ web.TableQuery) (wire.OfferPage, error) {
	offers, advice, err := s.app.Advice.Offers(r.Request.Context(), r.Actor, r.ID)
	v := wire.ViewerOf(r.Actor)
	out := wire.OfferPage{Items: web.Each(offers, v.Offer)}
	if advice != nil {
		out.Lowest, out.HeldUntil = v.Lowest(advice), wire.HeldUntil(advice.Held)
		out.TakeFrom, out.SayBack, out.Money = v.TakeFrom(advice), v.SayBack(advice), v.OfferMoney(advice)
		out.Refusal, out.Sentences = wire.RefusalOf(advice.Refusal), wire.Sentences(advice.Sentences)
	}
	return out, err
}

// createOffer records an offer and says what to do about it.
//
//	@Summary		Record an offer and judge it
//	@Description	take it, say a price back, or wait; take_from is what the plan is worth: below, refuse. Only the owner may.
//	@Tags			listings
//	@Param			id			path		string		true	"id of the listing"
//	@Param			If-Match	header		string		false	"the revision seen"
//	@Param			offer		body		wire.NewOffer	true	"amount, and what was promised"
//	@Success		201			{object}	wire.OfferAnswer
//	@Failure		default		{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/listings/{id}/offers [post]
func (s *Server) createOffer(r web.Request, in wire.NewOffer) (out wire.OfferAnswer, err error) {
	fields := wire.SentFields(&in)
	if in.Cash {
		fields["cash"] = "true"
	}
	made, err := s.recorded(r, service.NewEvent{Kind: service.EventOffer, On: in.On, Fields: fields})
	if err != nil {
		return out, err
	}
	offer, advice, err := s.app.Advice.AdviseOffer(r.Request.Context(), r.Actor, made)
	return wire.ViewerOf(r.Actor).OfferAnswer(offer, &advice), err
}
