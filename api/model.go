package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// getModel tells what the model says: each effect on the price with its range
// and the sales that it rests on, what the ask does to the pace, how estimates
// and haggling went. Of suspicious sales it lists those of the key's member.
//
//	@Summary	Describe the model
//	@Tags		trust
//	@Success	200		{object}	wire.Model
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/model [get]
func (s *Server) getModel(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, web.FormJSON)) {
		return nil
	}
	d, err := s.app.Advice.Describe(c.Request.Context(), a)
	if err != nil {
		return err
	}
	return web.Answer(c, http.StatusOK, wire.ViewerOf(a).Model(d))
}

// getTrackRecord judges the suggestions that were shown, of all members, once
// their listings have ended, and replays the group's history month by month.
// Suggestions are kept within a second of being made: a crash may lose the last
// ones. What is tried out (columns laid over a listing on file) is not kept.
//
//	@Summary	Tell how the suggestions turned out
//	@Tags		trust
//	@Success	200		{object}	wire.TrackRecord
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/model/record [get]
func (s *Server) getTrackRecord(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	r, err := s.app.Track.Record(c.Request.Context(), a)
	if err != nil {
		return err
	}
	out := wire.TrackRecord{Model: r.Model, Kept: wire.ScoresOf(r.Kept), Backtest: wire.Backtest{Scores: wire.ScoresOf(r.Replay.Scores), Months: make([]wire.BacktestMonth, len(r.Replay.Months))}}
	for i, m := range r.Replay.Months {
		out.Backtest.Months[i] = wire.BacktestMonth{
			Month: m.Month, FittedOn: m.FittedOn.String(), Sold: m.Sold, MedianError: wire.Optional(m.MedianError, web.Percentage), Inside: wire.ShareOf(m.Inside),
		}
	}
	return web.AnswerTagged(c, out)
}
