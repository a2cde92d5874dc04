package api

import (
	"encoding/json"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
)

// Piece is the physical thing with its listings, the newest last.
type Piece struct {
	ID       uuid.UUID         `json:"id" format:"uuid"`
	Ref      string            `json:"ref" example:"B-17"`
	Member   string            `json:"member"`
	State    string            `json:"state" enums:"found,bought,in_work,open,sold,withdrawn"`
	Listings []json.RawMessage `json:"listings" swaggertype:"array,object"` // listing rows
}

// PiecePage is a page of pieces.
type PiecePage struct {
	Items []Piece `json:"items"`
	Next  string  `json:"next,omitempty"`
}

func (v viewer) piece(p *service.Piece) Piece {
	return Piece{ID: p.ID, Ref: p.Ref, Member: p.Member, State: p.State(), Listings: v.rows(p.Listings)}
}

// PieceQuery is what a list of pieces can be asked for.
type PieceQuery struct {
	Member string `form:"member"`                        // me, an id or a name
	State  string `form:"state" example:"found,in_work"` // several with commas between
	Limit  int    `form:"limit" default:"100"`           // at most 1000
	Cursor string `form:"cursor"`                        // from next
}

// listPieces answers with pieces in the order of their refs.
//
//	@Summary	List pieces
//	@Tags		pieces
//	@Param		query	query		PieceQuery	false	"filters"
//	@Success	200		{object}	PiecePage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces [get]
func (s *Server) listPieces(c *gin.Context, a *service.Actor) error {
	p := paramsOf(c)
	q := service.PieceQuery{Limit: p.count("limit", pageDefault, pageMost)}
	for _, state := range p.list("state") {
		if slices.Contains(service.PieceStates, state) {
			q.State = append(q.State, state)
			continue
		}
		p.refuse("state", "%q is no state%s", clip(state, 40), didYouMean(nearestName(state, service.PieceStates)))
	}
	if k := decodeCursor(c, p); k != nil && len(k.After) == 1 {
		q.AfterRef, q.AfterID = k.After[0], k.ID
	}
	var err error
	if q.Member, err = s.memberFilter(c, a, p); err != nil {
		return err
	}
	if err := p.done(); err != nil {
		return err
	}
	if notModified(c, s.listTag(c, a, formJSON)) {
		return nil
	}
	pieces, more, err := s.service.Pieces(c.Request.Context(), a, q)
	if err != nil {
		return err
	}
	out, v := page[Piece]{Items: make([]Piece, len(pieces))}, viewerOf(a)
	for i, piece := range pieces {
		out.Items[i] = v.piece(piece)
	}
	if more {
		last := pieces[len(pieces)-1]
		out.Next = cursor{After: []string{last.Ref}, ID: last.ID}.encode(c)
		linkNext(c, out.Next)
	}
	return answer(c, http.StatusOK, out)
}

// createPiece records a row and answers with its piece.
//
//	@Summary	Record a piece
//	@Tags		pieces
//	@Param		row		body		ListingRow	true	"ref, category and stage; or a listing"
//	@Success	200		{object}	Piece		"a row with this ref was there"
//	@Success	201		{object}	Piece		"it is new"
//	@Failure	default	{object}	Problem		"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces [post]
func (s *Server) createPiece(c *gin.Context, a *service.Actor) error {
	change, err := s.record(c, a)
	if err != nil {
		return err
	}
	piece, err := s.service.Piece(c.Request.Context(), a, change.New.PieceID)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if change.Old == nil {
		status = http.StatusCreated
		c.Header("Location", "/v1/pieces/"+piece.ID.String())
	}
	return answer(c, status, viewerOf(a).piece(piece))
}

// getPiece answers with a piece and all its listings.
//
//	@Summary	Read a piece
//	@Tags		pieces
//	@Param		id		path		string	true	"id"
//	@Success	200		{object}	Piece
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id} [get]
func (s *Server) getPiece(c *gin.Context, a *service.Actor) error {
	piece, err := s.pieceAtPath(c, a)
	if err != nil {
		return err
	}
	return answerTagged(c, viewerOf(a).piece(piece))
}

func (s *Server) pieceAtPath(c *gin.Context, a *service.Actor) (*service.Piece, error) {
	id, err := pathID(c)
	if err != nil {
		return nil, err
	}
	if err := paramsOf(c).done(); err != nil {
		return nil, err
	}
	return s.service.Piece(c.Request.Context(), a, id)
}

// patchPiece changes the piece as it is now: its newest row.
//
//	@Summary	Change a piece
//	@Tags		pieces
//	@Param		id			path		string		true	"id"
//	@Param		If-Match	header		string		false	"the entity tag seen"
//	@Param		row			body		ListingRow	true	"the columns to change"
//	@Success	200			{object}	Piece
//	@Failure	default		{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id} [patch]
func (s *Server) patchPiece(c *gin.Context, a *service.Actor) error {
	piece, err := s.pieceAtPath(c, a)
	if err != nil {
		return err
	}
	var want *int64
	newest := piece.Listings[len(piece.Listings)-1]
	if sent := c.GetHeader("If-Match"); sent != "" {
		if !tagMatches(sent, hashTag(viewerOf(a).piece(piece))) {
			return refuse(changed, "the piece %s was changed in the meantime", piece.Ref)
		}
		want = &newest.Revision
	}
	var cells Cells
	if err := readPatch(c, s.limits.BodyBytes, &cells); err != nil {
		return err
	}
	if _, err := s.service.Patch(c.Request.Context(), a, newest.ID, service.Cells(cells), want); err != nil {
		return withPointers(err)
	}
	if piece, err = s.service.Piece(c.Request.Context(), a, piece.ID); err != nil {
		return err
	}
	shown := viewerOf(a).piece(piece)
	c.Header("ETag", hashTag(shown))
	return answer(c, http.StatusOK, shown)
}
