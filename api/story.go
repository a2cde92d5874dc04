package api

import (
	"askwright/api/web"
	"askwright/api/wire"
)

// getStory answers with the story as a table.
//
//	@Summary	Read a piece's story as a table
//	@Tags		pieces
//	@Param		id		path	string		true	"id"
//	@Param		query	query	web.TableQuery	false	"form"
//	@Produce	text/csv,application/problem+json
//	@Success	200		{string}	string	"on, kind, ref, text, figures"
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id}/story.csv [get]
func (s *Server) getStory(r web.Request, _ web.TableQuery) ([]wire.StoryEntry, error) {
	piece, err := s.app.Recording.Piece(r.Request.Context(), r.Actor, r.ID)
	if err != nil {
		return nil, err
	}
	story, err := s.app.History.Story(r.Request.Context(), r.Actor, piece)
	return wire.StoryEntries(story), err
}
