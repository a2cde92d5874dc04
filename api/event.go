package api

import (
	"net/http"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// listEvents tells a listing's story; offers and the ledger to its owner only.
//
//	@Summary	What happened to a listing
//	@Tags		listings
//	@Param		id		path		string	true	"id of the listing"
//	@Success	200		{object}	wire.EventPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id}/events [get]
func (s *Server) listEvents(c *gin.Context, a *service.Actor) error {
	l, err := s.listingAtPath(c, a)
	if err != nil {
		return err
	}
	events, err := s.app.Recording.Events(c.Request.Context(), a, l.ID)
	if err != nil {
		return err
	}
	return web.AnswerTagged(c, wire.EventPage{Items: wire.ViewerOf(a).Events(l, events)})
}

// createEvent records a fact and changes the listing with it.
//
//	@Summary	Record an event
//	@Description	Of a piece in the yard: bought, in_work, listed at an ask, passed (a find not bought, with the reason and what its seller asked). let_go: it left without a sale, and why. Of a listing: ask, a new asking price. pause until a day, resume. interest: readings so far. offer: an amount. hold keeps it for a buyer until a day, release ends that without a sale. sold, withdrawn; reopen takes the end back. refinish ends the listing for another look and opens the piece's next row, in work or with listed_on and ask on offer. void undoes another event.
//	@Tags		listings
//	@Param		id			path		string			true	"id of the listing"
//	@Param		If-Match	header		string			false	"the revision seen"
//	@Param		event		body		wire.EventRequest	true	"kind, and what belongs to it"
//	@Success	201			{object}	wire.EventAnswer
//	@Failure	default		{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id}/events [post]
func (s *Server) createEvent(c *gin.Context, a *service.Actor) error {
	id, want, err := s.target(c)
	if err != nil {
		return err
	}
	var body wire.EventRequest
	if err := web.ReadJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	event := service.NewEvent{Kind: body.Kind, On: body.On, Fields: wire.SentFields(&body)}
	if body.Voids != nil {
		event.Voids = *body.Voids
	}
	change, err := s.app.Recording.AddEvent(c.Request.Context(), a, id, event, want)
	if err != nil {
		return web.WithPointers(err)
	}
	v := wire.ViewerOf(a)
	c.Header("ETag", web.RevisionTag(change.New.Revision))
	return web.Answer(c, http.StatusCreated, wire.EventAnswer{Listing: v.Row(change.New), Events: v.Events(change.New, change.Events)})
}

// target reads what a change is meant for: the id, and the revision seen.
func (s *Server) target(c *gin.Context) (uuid.UUID, *int64, error) {
	id, err := web.PathID(c)
	if err != nil {
		return uuid.Nil, nil, err
	}
	if err := web.ParamsOf(c).Done(); err != nil {
		return uuid.Nil, nil, err
	}
	want, err := web.WantedRevision(c)
	return id, want, err
}
