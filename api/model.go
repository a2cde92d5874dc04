package api

import (
	"askwright/api/web"
	"askwright/api/wire"
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
func (s *Server) getModel(r web.Request, _ struct{}) (out wire.Model, err error) {
	d, err := s.app.Advice.Describe(r.Request.Context(), r.Actor)
	if err != nil {
		return out, err
	}
	return wire.ViewerOf(r.Actor).Model(d), nil
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
//	@Router		/v1/track-record [get]
func (s *Server) getTrackRecord(r web.Request, _ struct{}) (out wire.TrackRecord, err error) {
	found, err := s.app.Track.Record(r.Request.Context(), r.Actor)
	if err != nil {
		return out, err
	}
	return wire.ViewerOf(r.Actor).TrackRecord(found), nil
}
