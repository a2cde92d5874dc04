package api

import (
	"askwright/api/web"
	"askwright/api/wire"
)

// getStory tells all that happened to a piece, in order.
//
//	@Summary	Read a piece's story
//	@Tags		pieces
//	@Param		id		path	string		true	"id"
//	@Param		query	query	web.TableQuery	false	"form"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.StoryPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id}/story [get]
//	@Router		/v1/pieces/{id}/story.csv [get]
func (s *Server) getStory(r web.Request, _ web.TableQuery) ([]wire.StoryEntry, error) {
	piece, err := s.app.Recording.Piece(r.Request.Context(), r.Actor, r.ID)
	if err != nil {
		return nil, err
	}
	story, err := s.app.History.Story(r.Request.Context(), r.Actor, piece)
	return wire.StoryEntries(story), err
}
