package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// listNextSteps tells what to do next about the open listings, and when.
//
//	@Summary	List the next steps of open listings
//	@Description	What is longest due first. A step that was told keeps its day.
//	@Tags		advice
//	@Param		query	query	wire.NextStepQuery	false	"filters"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.NextStepPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/next-steps [get]
//	@Router		/v1/next-steps.csv [get]
func (s *Server) listNextSteps(r web.Request, in wire.NextStepQuery) ([]wire.NextStep, error) {
	member, err := s.MemberNamed(r, in.Member)
	if err != nil {
		return nil, err
	}
	steps, err := s.app.Advice.NextSteps(r.Request.Context(), r.Actor, member)
	return web.Each(steps, wire.ViewerOf(r.Actor).NextStep), err
}

// nextStepCalendar tells them to calendars.
//
//	@Summary	Next steps as a calendar
//	@Description	Subscribe to it with a feed key. An event keeps its UID for as long as its day stands.
//	@Tags		advice
//	@Param		query	query	wire.CalendarQuery	false	"filters"
//	@Produce	text/calendar,application/problem+json
//	@Success	200		{string}	string	"RFC 5545"
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/next-steps.ics [get]
func (s *Server) nextStepCalendar(c *gin.Context, a *service.Actor) error {
	var in wire.CalendarQuery
	if err := web.ReadQuery(c, &in); err != nil {
		return err
	}
	member, err := s.MemberNamed(web.Request{Context: c, Actor: a}, in.Member)
	if err != nil {
		return err
	}
	c.Header("Cache-Control", "private, max-age=60")
	if web.NotModified(c, s.ListTag(c, a, "")) {
		return nil
	}
	steps, err := s.app.Advice.NextSteps(c.Request.Context(), &service.Actor{Group: a.Group, Now: a.Now, Today: a.Today}, member)
	if err != nil {
		return err
	}
	c.Header("Content-Type", "text/calendar; charset=utf-8")
	c.Header("Content-Disposition", `inline; filename="next-steps.ics"`)
	c.Status(http.StatusOK)
	_, err = c.Writer.WriteString(wire.ViewerOf(a).Calendar(a, steps))
	return err
}
