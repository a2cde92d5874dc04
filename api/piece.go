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
	ID        uuid.UUID         `json:"id" format:"uuid"`
	Ref       string            `json:"ref" example:"B-17"`
	Member    string            `json:"member"`
	State     string            `json:"state" enums:"found,bought,in_work,passed,open,sold,withdrawn,let_go"`
	Category  string            `json:"category" example:"sideboard"`
	LetGo     string            `json:"let_go,omitempty" csv:"plain"`              // why it left without a sale
	SellerAsk *number           `json:"seller_ask,omitempty" swaggertype:"number"` // of a find: what its seller asks
	DaysOwned int               `json:"days_owned,omitempty"`                      // owner only: until it was sold, or today
	Lineage   []string          `json:"lineage" example:"B-17,B-17-2"`             // refs of its rows, the first one first
	Listings  []json.RawMessage `json:"listings" swaggertype:"array,object"`       // listing rows
	Story     []StoryEntry      `json:"story,omitempty"`                           // of a single piece: all that happened, in order
}

// PiecePage is a page of pieces.
type PiecePage struct {
	Items []Piece `json:"items"`
	Next  string  `json:"next,omitempty"`
}

func (v viewer) piece(p *service.Piece) Piece {
	out := Piece{ID: p.ID, Ref: p.Ref, Member: p.Member, State: p.State(), Listings: v.rows(p.Listings)}
	newest := p.Listings[len(p.Listings)-1]
	out.Category, out.LetGo = newest.Category, newest.LetGo
	if m := newest.SellerAsk; m != 0 {
		asked := exact(m, v.currency)
		out.SellerAsk = &asked
	}
	if v.isOwner(p.MemberID) {
		out.DaysOwned = p.DaysOwned(v.actor.Today)
	}
	for _, l := range p.Listings {
		out.Lineage = append(out.Lineage, l.Ref)
	}
	return out
}

var pieceColumns = columnsOf[Piece](`
	ref id member state category let_go seller_ask days_owned lineage`)

// shownPiece is a single piece as it goes out, with its story.
func (s *Server) shownPiece(c *gin.Context, a *service.Actor, p *service.Piece) (Piece, error) {
	story, err := s.service.History.Story(c.Request.Context(), a, p)
	if err != nil {
		return Piece{}, err
	}
	out := viewerOf(a).piece(p)
	out.Story = storyEntries(story)
	return out, nil
}

// PieceQuery is what a list of pieces can be asked for.
type PieceQuery struct {
	Ref    string `form:"ref" example:"B-17"`           // of the piece or of one of its rows
	Member string `form:"member"`                       // me, an id or a name
	State  string `form:"state" example:"found,passed"` // several with commas between
	Limit  int    `form:"limit" default:"100"`          // at most 1000
	Cursor string `form:"cursor"`                       // from next; without limit a CSV holds all pieces
	TableQuery
}

// listPieces answers with pieces in the order of their refs.
//
//	@Summary	List pieces
//	@Tags		pieces
//	@Param		query	query		PieceQuery	false	"filters"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	PiecePage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces [get]
//	@Router		/v1/pieces.csv [get]
func (s *Server) listPieces(c *gin.Context, a *service.Actor) error {
	form, err := wantedForm(c)
	if err != nil {
		return err
	}
	p := paramsOf(c)
	q := service.PieceQuery{Limit: p.count("limit", pageDefault, pageMost), Ref: p.text("ref")}
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
	if q.Member, err = s.memberFilter(c, a, p); err != nil {
		return err
	}
	options := csvParams(p, form, columnNames(pieceColumns))
	if err := p.done(); err != nil {
		return err
	}
	if notModified(c, s.listTag(c, a, form)) {
		return nil
	}
	if form == formCSV && !p.values.Has("limit") {
		return s.exportPieces(c, a, q, options)
	}
	pieces, more, err := s.service.Recording.Pieces(c.Request.Context(), a, q)
	if err != nil {
		return err
	}
	out := page[Piece]{Items: each(pieces, viewerOf(a).piece)}
	if more {
		last := pieces[len(pieces)-1]
		out.Next = cursor{After: []string{last.Ref}, ID: last.ID}.encode(c)
		linkNext(c, out.Next)
	}
	if form == formCSV {
		return writeTable(c, "pieces.csv", pieceColumns, options, out.Items)
	}
	return answer(c, http.StatusOK, out)
}

// exportPieces writes every piece of the query.
func (s *Server) exportPieces(c *gin.Context, a *service.Actor, q service.PieceQuery, o tableOptions) error {
	var t *tableWriter[Piece]
	for more := true; more; {
		var pieces []*service.Piece
		var err error
		q.Limit = pageMost
		if pieces, more, err = s.service.Recording.Pieces(c.Request.Context(), a, q); err != nil {
			return err
		}
		if t == nil { // not before a failure could be told
			t = startTable(c, "pieces.csv", pieceColumns, o)
		}
		for _, p := range pieces {
			if err := t.row(viewerOf(a).piece(p)); err != nil {
				return err
			}
			q.AfterRef, q.AfterID = p.Ref, p.ID
		}
	}
	return t.end()
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
	status := http.StatusOK
	if change.Old == nil {
		status = http.StatusCreated
		c.Header("Location", "/v1/pieces/"+change.New.PieceID.String())
	}
	return s.answerPiece(c, a, status, change.New.PieceID)
}

// answerPiece answers with a piece that was just changed.
func (s *Server) answerPiece(c *gin.Context, a *service.Actor, status int, id uuid.UUID) error {
	piece, err := s.service.Recording.Piece(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	shown, err := s.shownPiece(c, a, piece)
	if err != nil {
		return err
	}
	c.Header("ETag", hashTag(shown))
	return answer(c, status, shown)
}

// getPiece answers with a piece, all its listings and its story.
//
//	@Summary	Read a piece and its story
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
	shown, err := s.shownPiece(c, a, piece)
	if err != nil {
		return err
	}
	return answerTagged(c, shown)
}

func (s *Server) pieceAtPath(c *gin.Context, a *service.Actor) (*service.Piece, error) {
	id, err := pathID(c)
	if err != nil {
		return nil, err
	}
	if err := paramsOf(c).done(); err != nil {
		return nil, err
	}
	return s.service.Recording.Piece(c.Request.Context(), a, id)
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
	piece, want, err := s.pieceToChange(c, a)
	if err != nil {
		return err
	}
	var cells Cells
	if err := readPatch(c, s.limits.BodyBytes, &cells); err != nil {
		return err
	}
	newest := piece.Listings[len(piece.Listings)-1]
	if _, err := s.service.Recording.Patch(c.Request.Context(), a, newest.ID, service.Cells(cells), want); err != nil {
		return withPointers(err)
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
	if !tagMatches(sent, hashTag(shown)) {
		return nil, nil, refuse(changed, "the piece %s was changed in the meantime", piece.Ref)
	}
	return piece, &piece.Listings[len(piece.Listings)-1].Revision, nil
}

// RefinishRequest says what changes of a piece's look, and how its next listing
// begins. One of the look's fields is needed.
type RefinishRequest struct {
	On           string   `json:"on" format:"date"`                       // the day it came off the market; default: today
	Ref          *string  `json:"ref" example:"B-17-2"`                   // of the next row; default: the next free one of the piece
	Finish       *string  `json:"finish" example:"clear"`                 //
	Color        *string  `json:"color" example:"mid_wood"`               //
	SecondFinish *string  `json:"second_finish"`                          // of a two_tone piece
	SecondColor  *string  `json:"second_color"`                           //
	Topcoat      *string  `json:"topcoat"`                                //
	Sheen        *string  `json:"sheen"`                                  //
	Hardware     *string  `json:"hardware" example:"replaced"`            //
	Condition    *Decimal `json:"condition" swaggertype:"string"`         // as it is offered next
	Flaws        *string  `json:"flaws"`                                  // that are left
	Smell        *string  `json:"smell"`                                  // that is left
	Legs         *string  `json:"legs" example:"shortened by two inches"` // what was done to them
	Top          *string  `json:"top" example:"sanded, new boards"`       // what was done to it
	ListedOn     *string  `json:"listed_on" format:"date"`                // with ask: the next listing opens at once
	Ask          *Decimal `json:"ask" swaggertype:"number"`               //
	Estimate     *Decimal `json:"estimate" swaggertype:"number"`          // owner only
	Venue        *string  `json:"venue"`                                  // default: as before
}

// refinishPiece gives a piece another look.
//
//	@Summary		Refinish a piece
//	@Description	The open listing ends as withdrawn, which is kept as information, and the piece's next row begins with the same description and what changed: in work, or with listed_on and ask on offer at once. The same request again changes nothing. A sold piece is refused.
//	@Tags			pieces
//	@Param			id			path		string			true	"id of the piece"
//	@Param			If-Match	header		string			false	"the entity tag seen"
//	@Param			refinish	body		RefinishRequest	true	"what changes"
//	@Success		200			{object}	Piece			"it was on file already"
//	@Success		201			{object}	Piece
//	@Failure		default		{object}	Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/pieces/{id}/refinish [post]
func (s *Server) refinishPiece(c *gin.Context, a *service.Actor) error {
	piece, want, err := s.pieceToChange(c, a)
	if err != nil {
		return err
	}
	var body RefinishRequest
	if err := readJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	made, err := s.service.Recording.Refinish(c.Request.Context(), a, piece.ID, service.NewEvent{On: body.On, Fields: sentFields(&body)}, want)
	if err != nil {
		return withPointers(err)
	}
	status := http.StatusOK
	if made {
		status = http.StatusCreated
	}
	return s.answerPiece(c, a, status, piece.ID)
}
