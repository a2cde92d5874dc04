package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

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
func (s *Server) listOffers(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	form, err := web.WantedForm(c)
	if err != nil {
		return err
	}
	p := web.ParamsOf(c)
	options := web.CsvParams(p, form, web.ColumnNames(wire.OfferColumns))
	if err := p.Done(); err != nil {
		return err
	}
	offers, advice, err := s.app.Advice.Offers(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, form)) {
		return nil
	}
	v := wire.ViewerOf(a)
	items := web.Each(offers, v.Offer)
	if form == web.FormCSV {
		return web.WriteTable(c, "offers.csv", wire.OfferColumns, options, items)
	}
	out := wire.OfferPage{Items: items}
	if advice != nil {
		out.Lowest, out.HeldUntil, out.Refusal, out.Sentences = v.Lowest(advice), wire.HeldUntil(advice.Held), wire.RefusalOf(advice.Refusal), wire.Sentences(advice.Sentences)
	}
	return web.Answer(c, http.StatusOK, out)
}

// createOffer records an offer and says what to do about it.
//
//	@Summary		Record an offer and judge it
//	@Description	take it, counter at a round price, or wait; with the lowest to take today and how that falls. Only the owner may.
//	@Tags			listings
//	@Param			id			path		string		true	"id of the listing"
//	@Param			If-Match	header		string		false	"the revision seen"
//	@Param			offer		body		wire.NewOffer	true	"amount, and what was promised"
//	@Success		201			{object}	wire.OfferAnswer
//	@Failure		default		{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/listings/{id}/offers [post]
func (s *Server) createOffer(c *gin.Context, a *service.Actor) error {
	id, want, err := s.target(c)
	if err != nil {
		return err
	}
	var body wire.NewOffer
	if err := web.ReadJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	fields := wire.SentFields(&body)
	if body.Cash {
		fields["cash"] = "true"
	}
	made, err := s.app.Recording.AddEvent(c.Request.Context(), a, id, service.NewEvent{Kind: service.EventOffer, On: body.On, Fields: fields}, want)
	if err != nil {
		return web.WithPointers(err)
	}
	offer, advice, err := s.app.Advice.AdviseOffer(c.Request.Context(), a, made)
	if err != nil {
		return web.WithPointers(err)
	}
	c.Header("ETag", web.RevisionTag(made.New.Revision))
	return web.Answer(c, http.StatusCreated, wire.ViewerOf(a).OfferAnswer(offer, &advice))
}
