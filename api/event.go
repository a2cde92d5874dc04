package api

import (
	"net/http"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// listEvents tells a listing's story; offers and the ledger to its owner only.
//
//	@Summary	What happened to a listing
//	@Tags		listings
//	@Param		id		path	string			true	"id of the listing"
//	@Param		query	query	web.TableQuery	false	"of CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.EventPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id}/events [get]
//	@Router		/v1/listings/{id}/events.csv [get]
func (s *Server) listEvents(r web.Request, _ web.TableQuery) ([]wire.Event, error) {
	l, err := s.app.Recording.Listing(r.Request.Context(), r.Actor, r.ID)
	if err != nil {
		return nil, err
	}
	events, err := s.app.Recording.Events(r.Request.Context(), r.Actor, r.ID)
	return wire.ViewerOf(r.Actor).Events(l, events), err
}

// createEvent records a fact and changes the listing with it.
//
//	@Summary	Record an event
//	@Description	Of a piece in the yard: bought, on_bench, listed at an ask, passed (a find not bought, with the reason and what its seller asked). retired: it left without a sale, and why. Of a listing: ask, a new asking price. pause until a day, resume. interest: readings so far. offer: an amount. hold keeps it for a buyer until a day, release ends that without a sale. sold, pulled; reopen takes the end back. refinish ends the listing for another look and opens the piece's next row, in work or with listed_on and ask on offer. void undoes another event.
//	@Tags		listings
//	@Param		id			path		string			true	"id of the listing"
//	@Param		If-Match	header		string			false	"the revision seen"
//	@Param		event		body		wire.EventRequest	true	"kind, and what belongs to it"
//	@Success	200			{object}	wire.EventAnswer	"it was recorded before"
//	@Success	201			{object}	wire.EventAnswer
//	@Failure	default		{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id}/events [post]
func (s *Server) createEvent(r web.Request, in wire.EventRequest) (out wire.EventAnswer, err error) {
	event := service.NewEvent{Kind: in.Kind, On: in.On, Fields: wire.SentFields(&in)}
	if in.Voids != nil {
		event.Voids = *in.Voids
	}
	change, err := s.recorded(r, event)
	if err != nil {
		return out, err
	}
	if len(change.Events) == 0 {
		r.Status(http.StatusOK)
	}
	v := wire.ViewerOf(r.Actor)
	return wire.EventAnswer{Listing: v.Row(change.New), Events: v.Events(change.New, change.Events)}, nil
}

// recorded adds an event to the listing in the path, as it was seen.
func (s *Server) recorded(r web.Request, event service.NewEvent) (*service.Change, error) {
	want, err := web.WantedRevision(r.Context)
	if err != nil {
		return nil, err
	}
	change, err := s.app.Recording.AddEvent(r.Request.Context(), r.Actor, r.ID, event, want)
	if err == nil {
		r.Header("ETag", web.RevisionTag(change.New.Revision))
	}
	return change, err
}
