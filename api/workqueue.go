package api

import (
	"askwright/api/web"
	"askwright/api/wire"
)

// getWorkQueue says which of the member's own pieces to work on, reprice or let
// go within the hours and the money of a week: the exact best choice, each line
// with its reason. CSV has the tasks.
//
//	@Summary	Plan a week of work
//	@Tags		advice
//	@Param		query	query	wire.WorkQuery	true	"limits"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.WorkQueue
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/work-queue [get]
//	@Router		/v1/work-queue.csv [get]
func (s *Server) getWorkQueue(r web.Request, in wire.WorkQuery) (out wire.WorkQueue, err error) {
	q, err := in.Read(r.Actor)
	if err != nil {
		return out, err
	}
	plan, err := s.app.Advice.WorkQueue(r.Request.Context(), r.Actor, q)
	if err != nil {
		return out, err
	}
	return wire.ViewerOf(r.Actor).WorkQueue(q, plan), nil
}
