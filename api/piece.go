package api

import (
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// shownPiece is a single piece as it goes out, with its story.
func (s *Server) shownPiece(c *gin.Context, a *service.Actor, p *service.Piece) (wire.Piece, error) {
	story, err := s.app.History.Story(c.Request.Context(), a, p)
	if err != nil {
		return wire.Piece{}, err
	}
	out := wire.ViewerOf(a).Piece(p)
	out.Story = wire.StoryEntries(story)
	return out, nil
}

// listPieces answers with pieces in the order of their refs.
//
//	@Summary	List pieces
//	@Tags		pieces
//	@Param		query	query		wire.PieceQuery	false	"filters"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.PiecePage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces [get]
//	@Router		/v1/pieces.csv [get]
func (s *Server) listPieces(c *gin.Context, a *service.Actor) error {
	form, err := web.WantedForm(c)
	if err != nil {
		return err
	}
	p := web.ParamsOf(c)
	q := service.PieceQuery{Limit: p.Count("limit", web.PageDefault, web.PageMost), Ref: p.Text("ref")}
	for _, state := range p.List("state") {
		if slices.Contains(service.PieceStates, state) {
			q.State = append(q.State, state)
			continue
		}
		p.Refuse("state", "%q is no state%s", web.Clip(state, 40), web.DidYouMean(web.NearestName(state, service.PieceStates)))
	}
	if k := web.DecodeCursor(c, p); k != nil && len(k.After) == 1 {
		q.AfterRef, q.AfterID = k.After[0], k.ID
	}
	if q.Member, err = s.MemberFilter(c, a, p); err != nil {
		return err
	}
	options := web.CsvParams(p, form, web.ColumnNames(wire.PieceColumns))
	if err := p.Done(); err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, form)) {
		return nil
	}
	if form == web.FormCSV && !p.Values.Has("limit") {
		return s.exportPieces(c, a, q, options)
	}
	pieces, more, err := s.app.Recording.Pieces(c.Request.Context(), a, q)
	if err != nil {
		return err
	}
	out := web.Page[wire.Piece]{Items: web.Each(pieces, wire.ViewerOf(a).Piece)}
	if more {
		last := pieces[len(pieces)-1]
		out.Next = web.Cursor{After: []string{last.Ref}, ID: last.ID}.Encode(c)
		web.LinkNext(c, out.Next)
	}
	if form == web.FormCSV {
		return web.WriteTable(c, "pieces.csv", wire.PieceColumns, options, out.Items)
	}
	return web.Answer(c, http.StatusOK, out)
}

// exportPieces answers with every piece of the query.
func (s *Server) exportPieces(c *gin.Context, a *service.Actor, q service.PieceQuery, o web.TableOptions) error {
	end, err := s.Turn(c, a)
	if err != nil {
		return err
	}
	defer end()
	q.Limit = web.PageMost
	return web.SpoolTable(c, "pieces.csv", wire.PieceColumns, o, func(yield func(wire.Piece) error) error {
		for {
			pieces, more, err := s.app.Recording.Pieces(c.Request.Context(), a, q)
			if err != nil {
				return err
			}
			for _, p := range pieces {
				if err := yield(wire.ViewerOf(a).Piece(p)); err != nil {
					return err
				}
				q.AfterRef, q.AfterID = p.Ref, p.ID
			}
			if !more {
				return nil
			}
		}
	})
}

// createPiece records a row and answers with its piece.
//
//	@Summary	Record a piece
//	@Tags		pieces
//	@Param		row		body		wire.ListingRow	true	"ref, category and stage; or a listing"
//	@Success	200		{object}	wire.Piece		"a row with this ref was there"
//	@Success	201		{object}	wire.Piece		"it is new"
//	@Failure	default	{object}	web.Problem		"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces [post]
func (s *Server) createPiece(c *gin.Context, a *service.Actor) error {
	change, err := s.record(c, a)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if change.Old == nil {
		status = http.StatusCreated
		c.Header("Location", "/v1/pieces/"+change.New.PieceID.String())
	}
	return s.answerPiece(c, a, status, change.New.PieceID)
}

// answerPiece answers with a piece that was just changed.
func (s *Server) answerPiece(c *gin.Context, a *service.Actor, status int, id uuid.UUID) error {
	piece, err := s.app.Recording.Piece(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	shown, err := s.shownPiece(c, a, piece)
	if err != nil {
		return err
	}
	c.Header("ETag", web.HashTag(shown))
	return web.Answer(c, status, shown)
}

// getPiece answers with a piece, all its listings and its story.
//
//	@Summary	Read a piece and its story
//	@Tags		pieces
//	@Param		id		path		string	true	"id"
//	@Success	200		{object}	wire.Piece
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id} [get]
func (s *Server) getPiece(c *gin.Context, a *service.Actor) error {
	piece, err := s.pieceAtPath(c, a)
	if err != nil {
		return err
	}
	shown, err := s.shownPiece(c, a, piece)
	if err != nil {
		return err
	}
	return web.AnswerTagged(c, shown)
}

func (s *Server) pieceAtPath(c *gin.Context, a *service.Actor) (*service.Piece, error) {
	id, err := web.PathID(c)
	if err != nil {
		return nil, err
	}
	if err := web.ParamsOf(c).Done(); err != nil {
		return nil, err
	}
	return s.app.Recording.Piece(c.Request.Context(), a, id)
}

// patchPiece changes the piece as it is now: its newest row.
//
//	@Summary	Change a piece
//	@Tags		pieces
//	@Param		id			path		string		true	"id"
//	@Param		If-Match	header		string		false	"the entity tag seen"
//	@Param		row			body		wire.ListingRow	true	"the columns to change"
//	@Success	200			{object}	wire.Piece
//	@Failure	default		{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id} [patch]
func (s *Server) patchPiece(c *gin.Context, a *service.Actor) error {
	piece, want, err := s.pieceToChange(c, a)
	if err != nil {
		return err
	}
	var cells wire.Cells
	if err := web.ReadPatch(c, s.limits.BodyBytes, &cells); err != nil {
		return err
	}
	newest := piece.Listings[len(piece.Listings)-1]
	if _, err := s.app.Recording.Patch(c.Request.Context(), a, newest.ID, service.Cells(cells), want); err != nil {
		return web.WithPointers(err)
	}
	return s.answerPiece(c, a, http.StatusOK, piece.ID)
}

// pieceToChange reads the piece and, with If-Match, the revision of its newest
// row that was seen.
func (s *Server) pieceToChange(c *gin.Context, a *service.Actor) (*service.Piece, *int64, error) {
	piece, err := s.pieceAtPath(c, a)
	sent := c.GetHeader("If-Match")
	if err != nil || sent == "" {
		return piece, nil, err
	}
	shown, err := s.shownPiece(c, a, piece)
	if err != nil {
		return nil, nil, err
	}
	if !web.TagMatches(sent, web.HashTag(shown)) {
		return nil, nil, web.Refuse(web.Changed, "the piece %s was changed in the meantime", piece.Ref)
	}
	return piece, &piece.Listings[len(piece.Listings)-1].Revision, nil
}

// refinishPiece gives a piece another look.
//
//	@Summary		Refinish a piece
//	@Description	The open listing ends as withdrawn, which is kept as information, and the piece's next row begins with the same description and what changed: in work, or with listed_on and ask on offer at once. The same request again changes nothing. A sold piece is refused.
//	@Tags			pieces
//	@Param			id			path		string			true	"id of the piece"
//	@Param			If-Match	header		string			false	"the entity tag seen"
//	@Param			refinish	body		wire.RefinishRequest	true	"what changes"
//	@Success		200			{object}	wire.Piece			"it was on file already"
//	@Success		201			{object}	wire.Piece
//	@Failure		default		{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/pieces/{id}/refinish [post]
func (s *Server) refinishPiece(c *gin.Context, a *service.Actor) error {
	piece, want, err := s.pieceToChange(c, a)
	if err != nil {
		return err
	}
	var body wire.RefinishRequest
	if err := web.ReadJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	made, err := s.app.Recording.Refinish(c.Request.Context(), a, piece.ID, service.NewEvent{On: body.On, Fields: wire.SentFields(&body)}, want)
	if err != nil {
		return web.WithPointers(err)
	}
	status := http.StatusOK
	if made {
		status = http.StatusCreated
	}
	return s.answerPiece(c, a, status, piece.ID)
}
