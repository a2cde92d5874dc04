package api

import (
	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"net/http"

	"github.com/google/uuid"
)

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
func (s *Server) listPieces(r web.Request, in wire.PieceQuery) ([]wire.Piece, *web.Cursor, error) {
	member, err := s.MemberNamed(r, in.Member)
	if err != nil {
		return nil, nil, err
	}
	q := service.PieceQuery{Ref: in.Ref, Member: member, State: in.State, Limit: in.Limit}
	if k := in.Cursor; len(k.After) == 1 {
		q.AfterRef, q.AfterID = k.After[0], k.ID
	}
	pieces, more, err := s.app.Recording.Pieces(r.Request.Context(), r.Actor, q)
	var next *web.Cursor
	if more {
		last := pieces[len(pieces)-1]
		next = &web.Cursor{After: []string{last.Ref}, ID: last.ID}
	}
	return web.Each(pieces, wire.ViewerOf(r.Actor).Piece), next, err
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
func (s *Server) createPiece(r web.Request, in wire.Cells) (out wire.Piece, err error) {
	change, err := s.app.Recording.Record(r.Request.Context(), r.Actor, service.Cells(in))
	if err != nil {
		return out, err
	}
	if change.Old == nil {
		r.Status(http.StatusCreated)
		r.Header("Location", "/v1/pieces/"+change.New.PieceID.String())
	}
	return s.changedPiece(r, change.New.PieceID)
}

// changedPiece is a piece that was just changed.
func (s *Server) changedPiece(r web.Request, id uuid.UUID) (out wire.Piece, err error) {
	piece, err := s.app.Recording.Piece(r.Request.Context(), r.Actor, id)
	if err != nil {
		return out, err
	}
	out = wire.ViewerOf(r.Actor).Piece(piece)
	r.Header("ETag", web.HashTag(out))
	return out, nil
}

// getPiece answers with a piece and all its listings.
//
//	@Summary	Read a piece
//	@Tags		pieces
//	@Param		id		path		string	true	"id"
//	@Success	200		{object}	wire.Piece
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id} [get]
func (s *Server) getPiece(r web.Request, _ struct{}) (out wire.Piece, err error) {
	piece, err := s.app.Recording.Piece(r.Request.Context(), r.Actor, r.ID)
	if err != nil {
		return out, err
	}
	return wire.ViewerOf(r.Actor).Piece(piece), nil
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
func (s *Server) patchPiece(r web.Request, in wire.Cells) (out wire.Piece, err error) {
	piece, want, err := s.pieceToChange(r)
	if err != nil {
		return out, err
	}
	newest := piece.Listings[len(piece.Listings)-1]
	if _, err := s.app.Recording.Patch(r.Request.Context(), r.Actor, newest.ID, service.Cells(in), want); err != nil {
		return out, err
	}
	return s.changedPiece(r, piece.ID)
}

// pieceToChange reads the piece and, with If-Match, the revision of its newest
// row that was seen.
func (s *Server) pieceToChange(r web.Request) (*service.Piece, *int64, error) {
	piece, err := s.app.Recording.Piece(r.Request.Context(), r.Actor, r.ID)
	sent := r.GetHeader("If-Match")
	if err != nil || sent == "" {
		return piece, nil, err
	}
	if !web.TagMatches(sent, web.HashTag(wire.ViewerOf(r.Actor).Piece(piece))) {
		return nil, nil, web.Refuse(web.Changed, "the piece %s was changed in the meantime", piece.Ref)
	}
	return piece, &piece.Listings[len(piece.Listings)-1].Revision, nil
}

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

// listCosts tells what one of the key's own member's pieces cost, line by line,
// over all of its listings. To everybody else it is not there.
//
//	@Summary	List a piece's costs and hours
//	@Tags		ledger
//	@Param		id		path	string		true	"id of the piece"
//	@Param		query	query	web.TableQuery	false	"form of the CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.CostPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id}/costs [get]
//	@Router		/v1/pieces/{id}/costs.csv [get]
func (s *Server) listCosts(r web.Request, _ web.TableQuery) ([]wire.CostLine, error) {
	lines, err := s.app.Recording.Costs(r.Request.Context(), r.Actor, r.ID)
	return web.Each(lines, wire.ViewerOf(r.Actor).Cost), err
}

// createCost adds a cost line to the newest row of a piece, or undoes one.
// Nothing is overwritten: the row's total goes up, or down again.
//
//	@Summary	Record a cost or hours, or undo one
//	@Tags		ledger
//	@Param		id		path		string	true	"id of the piece"
//	@Param		cost	body		wire.NewCost	true	"kind with amount or hours; or voids"
//	@Success	201		{object}	wire.CostLine
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id}/costs [post]
func (s *Server) createCost(r web.Request, in wire.NewCost) (out wire.CostLine, err error) {
	cost := service.NewCost{
		Kind: in.Kind, Amount: string(in.Amount), Hours: string(in.Hours), On: in.On, Step: in.Step, Note: in.Note,
	}
	if in.Voids != nil {
		cost.Voids = *in.Voids
	}
	line, err := s.app.Recording.AddCost(r.Request.Context(), r.Actor, r.ID, cost)
	if err != nil {
		return out, err
	}
	return wire.ViewerOf(r.Actor).Cost(*line), nil
}
