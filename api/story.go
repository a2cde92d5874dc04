package api

import (
	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
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
func (s *Server) getStory(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	p := web.ParamsOf(c)
	options := web.TableParams(p, web.ColumnNames(wire.StoryColumns))
	if err := p.Done(); err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, web.FormCSV)) {
		return nil
	}
	piece, err := s.app.Recording.Piece(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	story, err := s.app.History.Story(c.Request.Context(), a, piece)
	if err != nil {
		return err
	}
	return web.WriteTable(c, "story.csv", wire.StoryColumns, options, wire.StoryEntries(story))
}
