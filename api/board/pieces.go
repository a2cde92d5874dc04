package board

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/recording"
)

// The pieces that are not offered yet: found, bought, on the bench, ready.

// stageReady is a piece on the bench with its planned hours worked.
const stageReady = "ready"

// stepsOf is the way of a piece until it is listed, in order.
var stepsOf = []string{service.StageFound, service.StageBought, service.StageOnBench, stageReady, service.EventListed}

// benchPiece is a piece with its work.
type benchPiece struct {
	Row   *service.Listing
	Work  *wire.Refinish // the planned look; nil: none is planned, or it cannot be
	Hours float64        // worked so far, at the bench
	Next  action         // what comes next
}

// Step is where the piece stands.
func (p *benchPiece) Step() string {
	if p.Row.IsOffered() {
		return service.EventListed
	}
	if p.Row.Stage == service.StageOnBench && p.Work != nil && p.Hours > 0 && p.Hours+.25 >= asFloat(p.Work.Hours) {
		return stageReady
	}
	return p.Row.Stage
}

// nextStep is the action that leads on from where it stands.
func (p *benchPiece) nextStep() action {
	kind := map[string]string{
		service.StageFound: service.EventBought, service.StageBought: service.EventOnBench, service.StageOnBench: actionHours, stageReady: service.EventListed,
	}[p.Step()]
	if p.Row.Stage == service.StageBought && p.Row.PlannedFinish == "" {
		kind = actionPlan
	}
	next, _ := actionOf(kind)
	return next
}

// benchPieces are pieces with what their plans take.
func (s *Board) benchPieces(ctx context.Context, a *service.Actor, rows []*service.Listing) ([]benchPiece, error) {
	pieces := make([]benchPiece, len(rows))
	var subjects []advice.RefinishSubject
	var of []int
	for i, row := range rows {
		pieces[i] = benchPiece{Row: row, Hours: row.Ledger.Costs.Hours().Float()}
		if row.PlannedFinish != "" && !row.IsOffered() && len(subjects) < service.MaxSubjects {
			subjects = append(subjects, advice.RefinishSubject{Subject: service.Cells{"id": row.ID.String()}, Plan: advice.Plan{Finish: row.PlannedFinish, Color: row.PlannedColor}})
			of = append(of, i)
		}
	}
	if len(subjects) > 0 {
		found, err := s.app.Advice.RefinishEstimates(ctx, a, subjects, 1)
		if err != nil {
			return nil, err
		}
		v := wire.ViewerOf(a)
		for i := range found {
			pieces[of[i]].Work = v.RefinishEstimate(&found[i], a.Group).Planned
		}
	}
	for i := range pieces {
		pieces[i].Next = pieces[i].nextStep()
	}
	return pieces, nil
}

// unlisted are one's own pieces that are not offered yet.
func (s *Board) unlisted(ctx context.Context, a *service.Actor, states ...string) ([]benchPiece, error) {
	pieces, _, err := s.app.Recording.Pieces(ctx, a, service.PieceQuery{Member: a.MemberID, State: states, Limit: 200})
	if err != nil {
		return nil, err
	}
	rows := make([]*service.Listing, len(pieces))
	for i, p := range pieces {
		rows[i] = p.Newest()
	}
	return s.benchPieces(ctx, a, rows)
}

// piecesPage lists the pieces by where they stand.
type piecesPage struct {
	Steps    []pieceStep
	MayWrite bool
}

type pieceStep struct {
	Name   string
	Pieces []benchPiece
}

// GetBoardPieces lists one's own pieces that are not offered yet.
//
//	@Summary	The board: pieces not yet offered
//	@Tags		board
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Router		/board/pieces [get]
func (s *Board) GetBoardPieces(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	pieces, err := s.unlisted(c.Request.Context(), a, service.StageFound, service.StageBought, service.StageOnBench)
	if err != nil {
		return err
	}
	page := &piecesPage{MayWrite: a.Can(service.ScopeWrite)}
	for _, name := range slices.Backward(stepsOf[:len(stepsOf)-1]) {
		step := pieceStep{Name: name}
		for _, p := range pieces {
			if p.Step() == name {
				step.Pieces = append(step.Pieces, p)
			}
		}
		page.Steps = append(page.Steps, step)
	}
	return s.render(c, http.StatusOK, "pieces", boardFrame{Title: "Bench", At: "pieces", Viewer: a, Page: page})
}

// piecePage is one piece that is not offered yet.
type piecePage struct {
	benchPiece
	Piece    *service.Piece
	Facts    []wire.Fact
	Steps    []string
	Limit    *wire.PurchaseLimit    // of a find
	Estimate *wire.RefinishEstimate // of what is one's own
	Happened []happening
	Done     *happening
	Actions  []action
	Today    pricing.Date
}

// Reached reports whether the piece has come to a step.
func (p *piecePage) Reached(step string) bool {
	return slices.Index(stepsOf, step) <= slices.Index(stepsOf, p.Step())
}

// GetBoardPiece shows a piece that is not offered yet; one that was listed is
// shown as its newest listing.
//
//	@Summary	The board: a piece
//	@Tags		board
//	@Param		id		path	string	true	"id of the piece"
//	@Param		done	query	string	false	"the event just recorded"
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in, or on offer"
//	@Failure	404	"no such piece"
//	@Router		/board/pieces/{id} [get]
func (s *Board) GetBoardPiece(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	p := web.ParamsOf(c)
	done := p.Text("done")
	if err := p.Done(); err != nil {
		return err
	}
	ctx := c.Request.Context()
	piece, err := s.app.Recording.Piece(ctx, a, id)
	if err != nil {
		return err
	}
	row := piece.Newest()
	if row.IsOffered() {
		to := pageOf(row)
		if done != "" {
			to += "?done=" + url.QueryEscape(done)
		}
		c.Redirect(http.StatusSeeOther, to)
		return nil
	}
	page := &piecePage{Piece: piece, Facts: wire.ViewerOf(a).Facts(row), Steps: stepsOf, Today: a.Today}
	if isMine(a, row) {
		page.Actions = possible(row, a.Today, false)
	}
	if err := s.fillPiece(ctx, a, page, row); err != nil {
		return err
	}
	page.Done = doneOf(page.Happened, done, len(page.Actions) > 0)
	return s.render(c, http.StatusOK, "piece", boardFrame{Title: row.Ref, At: "pieces", Viewer: a, Page: page})
}

func (s *Board) fillPiece(ctx context.Context, a *service.Actor, page *piecePage, row *service.Listing) error {
	v := wire.ViewerOf(a)
	pieces, err := s.benchPieces(ctx, a, []*service.Listing{row})
	if err != nil {
		return err
	}
	page.benchPiece = pieces[0]
	switch {
	case row.ClosedAs != "":
	case row.Stage == service.StageFound:
		found, err := s.app.Advice.PurchaseLimits(ctx, a, []service.Cells{{"id": row.ID.String()}}, advice.PurchaseTarget{})
		if err != nil {
			return err
		}
		page.Limit = new(v.PurchaseLimit(found.Limits[0]))
	default:
		subject := advice.RefinishSubject{Subject: service.Cells{"id": row.ID.String()}}
		found, err := s.app.Advice.RefinishEstimates(ctx, a, []advice.RefinishSubject{subject}, 3)
		if err != nil {
			return err
		}
		page.Estimate = new(v.RefinishEstimate(&found[0], a.Group))
	}
	events, err := s.app.Recording.Events(ctx, a, row.ID)
	page.Happened = happenings(v, v.Events(row, events), len(page.Actions) > 0)
	return err
}

// newPieceFields describe a piece that is one's own already.
var newPieceFields = []string{
	"ref", "category", "width", "depth", "height", "material", "wood", "condition", "finish", "color", "planned_finish", "planned_color", "own_price", "purchase_cost",
}

// newPiecePage is the form for a piece.
type newPiecePage struct {
	Fields []formField
	Wrong  []string
	Unit   string
	Token  string
}

func newPieceForm(a *service.Actor, sent url.Values) *newPiecePage {
	page := &newPiecePage{Fields: formFields(newPieceFields, "", sent), Unit: lengthsIn(a.Group.Unit), Token: service.NewID().String()}
	for i := range page.Fields {
		if f := &page.Fields[i]; f.Name == "ref" || f.Name == "category" {
			f.Required = true
		}
	}
	if page.Fields[0].Value == "" {
		page.Fields[0].Value = strings.Replace(recording.NewFindName(a), "F-", "P-", 1)
	}
	return page
}

// GetBoardNewPiece asks what a piece is.
//
//	@Summary	The board: a new piece
//	@Tags		board
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Router		/board/new-piece [get]
func (s *Board) GetBoardNewPiece(c *gin.Context, a *service.Actor) error {
	return s.render(c, http.StatusOK, "newpiece", boardFrame{Title: "New piece", At: "pieces", Viewer: a, Page: newPieceForm(a, url.Values{})})
}

// PostBoardPiece records a piece that was bought.
//
//	@Summary	The board: record a piece
//	@Tags		board
//	@Accept		x-www-form-urlencoded
//	@Param		ref			formData	string	true	"its name, a new one"
//	@Param		category	formData	string	true	"with other columns of a row"
//	@Produce	html
//	@Success	303	"recorded"
//	@Failure	422	"a value is wrong; the form again"
//	@Router		/board/pieces [post]
func (s *Board) PostBoardPiece(c *gin.Context, a *service.Actor) error {
	sent := c.Request.PostForm
	cells := filled(newPieceFields, "", sent)
	cells["stage"] = service.StageBought
	err := s.once(c, a, func(ctx context.Context) (string, error) {
		change, err := s.app.Recording.RecordNew(ctx, a, cells)
		if err != nil {
			return "", err
		}
		return pageOf(change.New), nil
	})
	var wrong *service.InvalidError
	if errors.As(err, &wrong) {
		page := newPieceForm(a, sent)
		page.Wrong = blame(wrong.Fields, func(column string) *formField { return fieldNamed(column, page.Fields) })
		return s.render(c, http.StatusUnprocessableEntity, "newpiece", boardFrame{Title: "New piece", At: "pieces", Viewer: a, Page: page})
	}
	return err
}
