package api

import (
	"strconv"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// listChanges tells which listings changed or were deleted since a change number,
// so that a copy of the rows is kept up by small requests.
//
//	@Summary		List what changed since
//	@Description	Each listing comes once, with its newest change. Read page by page; the next time, since is the change_no of the last item.
//	@Tags			listings
//	@Param			query	query	wire.ChangeQuery	false	"from where on"
//	@Produce		json,text/csv,application/problem+json
//	@Success		200		{object}	wire.ChangePage
//	@Failure		default	{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/changes [get]
//	@Router			/v1/changes.csv [get]
func (s *Server) listChanges(r web.Request, in wire.ChangeQuery) ([]wire.Change, *web.Cursor, error) {
	q := service.ChangeQuery{After: int64(in.Since), AfterID: uuid.Max, Limit: in.Limit}
	if k := in.Cursor; len(k.After) == 1 {
		after, err := strconv.ParseInt(k.After[0], 10, 64)
		if err != nil {
			return nil, nil, web.BadCursor()
		}
		q.After, q.AfterID = after, k.ID
	}
	changes, more, err := s.app.Recording.Changes(r.Request.Context(), r.Actor, q)
	var next *web.Cursor
	if more {
		last := changes[len(changes)-1]
		next = &web.Cursor{After: []string{strconv.FormatInt(last.ChangeNo, 10)}, ID: last.ID}
	}
	return web.Each(changes, wire.ViewerOf(r.Actor).Change), next, err
}
