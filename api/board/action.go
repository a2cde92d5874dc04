package board

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// confirmPage asks whether that is meant.
type confirmPage struct {
	Row      *service.Listing
	Action   action
	Question string
	Back     string
	Ask      *web.Number
	Fields   []formField
	Revision int64
	Token    string // so that a form that is sent twice is recorded once
	Wrong    string
	Advice   *wire.Suggestion // of a piece that is to be listed
}

// confirmed prepares the page that asks; the values are those sent so far.
func (s *Board) confirmed(ctx context.Context, a *service.Actor, row *service.Listing, kind string, sent url.Values) (*confirmPage, error) {
	do, ok := actionOf(kind)
	if !ok {
		return nil, unknownAction(kind)
	}
	page := &confirmPage{
		Row: row, Action: do, Question: fmt.Sprintf(do.Question, row.Ref), Back: pageOf(row), Revision: row.Revision, Token: service.NewID().String(),
		Fields: slices.Clone(do.Fields),
	}
	if do.Day != "" {
		page.Fields = append(page.Fields, formField{Name: "on", Label: do.Day, Type: "date", Required: true})
	}
	if m := row.CurrentAsk(); m != 0 {
		ask := web.Exact(m, a.Group.Currency)
		page.Ask = &ask
	}
	if err := s.propose(ctx, a, page); err != nil {
		return nil, err
	}
	for i := range page.Fields {
		f := &page.Fields[i]
		if sent.Has(f.Name) {
			f.Value = strings.TrimSpace(sent.Get(f.Name))
		}
	}
	return page, nil
}

func unknownAction(kind string) error {
	return web.BadParameter("kind", "%q is nothing that can be done here", web.Clip(kind, 40))
}

// propose fills in what is most likely: today, and what is known of the piece.
func (s *Board) propose(ctx context.Context, a *service.Actor, page *confirmPage) error {
	row := page.Row
	given := map[string]string{"on": a.Today.String()}
	switch page.Action.Kind {
	case service.EventInterest:
		for _, name := range []string{"messages", "showings", "views", "saves"} {
			given[name] = valueOf(a, row, name)
		}
	case service.EventRefinish:
		for _, f := range lookFields {
			given[f.Name] = valueOf(a, row, f.Name)
		}
	case actionPlan:
		for _, f := range page.Fields {
			if f.Name != "on" {
				given[f.Name] = valueOf(a, row, f.Name)
			}
		}
	case service.EventPassed:
		given["reason"] = "price"
	case actionHours:
		given["kind_of_hours"] = string(service.CostHours)
	case actionCost:
		given["cost"] = string(service.CostMaterials)
	case service.EventHold:
		given["until"] = (a.Today + 2).String()
	case service.EventOffer:
		given["comes"] = a.Today.String()
	case service.EventListed, actionRelist:
		return s.proposeListing(ctx, a, page, given)
	}
	fill(page.Fields, given)
	return nil
}

func fill(fields []formField, given map[string]string) {
	for i := range fields {
		if value, ok := given[fields[i].Name]; ok {
			fields[i].Value = value
		}
	}
}

// valueOf is a column of a row as a form has it.
func valueOf(a *service.Actor, row *service.Listing, name string) string {
	column, _ := service.ColumnByName(name)
	value := wire.ViewerOf(a).Value(column, row)
	if column.Kind == service.KindMoney {
		value = wire.Trimmed(0, value)
	}
	return value
}

// pageOf is the address of a row's page: of the piece until it is offered.
func pageOf(row *service.Listing) string {
	if row.IsOffered() {
		return "/board/listings/" + row.ID.String()
	}
	return "/board/pieces/" + row.PieceID.String()
}

// GetBoardConfirm asks before anything is recorded.
//
//	@Summary	The board: confirm an entry
//	@Tags		board
//	@Param		id		path	string	true	"id of the listing"
//	@Param		kind	query	string	true	"what happened: a kind of event, or resume, reopen, relist, cost, work"
//	@Param		ask		query	string	false	"for ask; likewise the other fields of the form"
//	@Produce	html
//	@Success	200
//	@Failure	404	"no such listing"
//	@Router		/board/listings/{id}/confirm [get]
func (s *Board) GetBoardConfirm(c *gin.Context, a *service.Actor) error {
	row, err := s.ownRow(c, a)
	if err != nil {
		return err
	}
	page, err := s.confirmed(c.Request.Context(), a, row, c.Query("kind"), c.Request.URL.Query())
	if err != nil {
		return err
	}
	return s.renderConfirm(c, a, http.StatusOK, page)
}

// ownRow is the row in the path, which must be one's own.
func (s *Board) ownRow(c *gin.Context, a *service.Actor) (*service.Listing, error) {
	id, err := web.PathID(c)
	if err != nil {
		return nil, err
	}
	row, err := s.app.Recording.Listing(c.Request.Context(), a, id)
	if err == nil && row.MemberID != a.MemberID {
		return nil, web.Refuse(web.Forbidden, "%s is %s's; only they change it here", row.Ref, row.Member)
	}
	return row, err
}

func (s *Board) renderConfirm(c *gin.Context, a *service.Actor, status int, page *confirmPage) error {
	return s.render(c, status, "confirm", boardFrame{Title: page.Action.Title, Viewer: a, Page: page})
}

// PostBoardEvent records what was confirmed, and shows the piece with the way to
// undo it.
//
//	@Summary	The board: record an event
//	@Tags		board
//	@Accept		x-www-form-urlencoded
//	@Param		id			path		string	true	"id of the listing"
//	@Param		kind		formData	string	true	"what happened: a kind of event, or resume, reopen, relist, cost, work, delete"
//	@Param		on			formData	string	false	"the day; none: today"
//	@Param		revision	formData	string	false	"the revision seen"
//	@Param		token		formData	string	false	"of the form: sent again it records nothing"
//	@Param		voids		formData	string	false	"for void: the event"
//	@Produce	html
//	@Success	303	"recorded"
//	@Failure	422	"a value is wrong; the form again"
//	@Router		/board/listings/{id}/events [post]
func (s *Board) PostBoardEvent(c *gin.Context, a *service.Actor) error {
	row, err := s.ownRow(c, a)
	if err != nil {
		return err
	}
	sent := c.Request.PostForm
	kind := sent.Get("kind")
	revision, err := revisionOf(sent)
	if err != nil {
		return err
	}
	err = s.once(c, a, func(ctx context.Context) (string, error) { return s.record(ctx, a, row, kind, sent, revision) })
	var wrong *service.InvalidError
	if do, ok := actionOf(kind); ok && errors.As(err, &wrong) && do.Day != "" {
		return s.askAgain(c, a, row, kind, sent, wrong)
	}
	return err
}

// record does what a form asks for and returns where to go then.
func (s *Board) record(ctx context.Context, a *service.Actor, row *service.Listing, kind string, sent url.Values, revision *int64) (to string, err error) {
	switch kind {
	case actionCost, actionHours, voidCost:
		return s.recordCost(ctx, a, row, kind, sent)
	case service.EventListed:
		return s.list(ctx, a, row, sent, revision)
	case actionPlan:
		return s.plan(ctx, a, row, sent, revision)
	case actionRelist:
		return s.relist(ctx, a, row, sent)
	case takeBack, backOnSale:
		return s.takeBack(ctx, a, row, kind, sent)
	}
	event, err := eventOf(kind, sent)
	if err != nil {
		return "", err
	}
	change, err := s.app.Recording.AddEvent(ctx, a, row.ID, event, revision)
	if err != nil {
		return "", err
	}
	return doneAt(change, kind), nil
}

// doneAt is the page of a row that was changed, which tells what was done.
func doneAt(change *service.Change, kind string) string {
	to := pageOf(change.New)
	n := len(change.Events)
	if n == 0 {
		return to
	}
	done := change.Events[0]
	for _, e := range change.Events {
		if e.Kind == kind {
			done = e
		}
	}
	return to + "?done=" + done.ID.String()
}

// eventOf reads the form of an event.
func eventOf(kind string, sent url.Values) (event service.NewEvent, err error) {
	event = service.NewEvent{Kind: kind, On: strings.TrimSpace(sent.Get("on")), Fields: make(map[string]string)}
	do, ok := actionOf(kind)
	if !ok && kind != service.EventVoid {
		return event, unknownAction(kind)
	}
	for _, f := range do.Fields {
		if value := strings.TrimSpace(sent.Get(f.Name)); value != "" || f.Required {
			event.Fields[f.Name] = value
		}
	}
	if kind == service.EventVoid {
		if event.Voids, err = web.ParseID(sent.Get("voids")); err != nil {
			return event, web.Refuse(web.Malformed, "the form names no entry to undo")
		}
	}
	return event, nil
}

func revisionOf(sent url.Values) (*int64, error) {
	text := sent.Get("revision")
	if text == "" {
		return nil, nil
	}
	var n int64
	if _, err := fmt.Sscan(text, &n); err != nil {
		return nil, web.Refuse(web.Malformed, "the form cannot be read; open its page anew")
	}
	return &n, nil
}

// recordCost adds hours or money to the piece of a row, or takes a line back.
func (s *Board) recordCost(ctx context.Context, a *service.Actor, row *service.Listing, kind string, sent url.Values) (to string, err error) {
	n := service.NewCost{On: sent.Get("on")}
	switch kind {
	case actionHours:
		n.Kind, n.Hours, n.Step = sent.Get("kind_of_hours"), sent.Get("hours"), sent.Get("step")
	case actionCost:
		n.Kind, n.Amount, n.Note = sent.Get("cost"), sent.Get("amount"), sent.Get("note")
	default:
		n.On = ""
		if n.Voids, err = web.ParseID(sent.Get("voids")); err != nil {
			return "", web.Refuse(web.Malformed, "the form names no entry to undo")
		}
	}
	line, err := s.app.Recording.AddCost(ctx, a, row.PieceID, n)
	if err != nil {
		return "", err
	}
	newest, err := s.app.Recording.Listing(ctx, a, line.ListingID)
	if err != nil {
		return "", err
	}
	return pageOf(newest) + "?done=" + line.ID.String(), nil
}

// askAgain shows the form with what is wrong.
func (s *Board) askAgain(c *gin.Context, a *service.Actor, row *service.Listing, kind string, sent url.Values, wrong *service.InvalidError) error {
	page, err := s.confirmed(c.Request.Context(), a, row, kind, sent)
	if err != nil {
		return err
	}
	for i := range page.Fields {
		for _, f := range wrong.Fields {
			if f.Column == page.Fields[i].Name {
				page.Fields[i].Wrong = f.Reason
			}
		}
	}
	page.Wrong = "Fix what is marked below; nothing was recorded yet."
	if !slices.ContainsFunc(page.Fields, func(f formField) bool { return f.Wrong != "" }) {
		page.Wrong = web.OneLine(wrong)
	}
	return s.renderConfirm(c, a, http.StatusUnprocessableEntity, page)
}

// undoForm undoes one entry.
type undoForm struct {
	Listing     uuid.UUID
	Kind, Voids string
	Token, Text string
}

// undoOf is the form that undoes something that happened to a row.
func undoOf(row *service.Listing, h happening) undoForm {
	out := undoForm{Listing: row.ID, Kind: service.EventVoid, Voids: h.ID.String(), Token: service.NewID().String(), Text: h.Text}
	if line := h.Details[service.EventCostLine]; line != "" {
		out.Kind, out.Voids = voidCost, line
	}
	switch {
	case h.Kind == service.EventRefinish:
		out.Kind = backOnSale
	case h.isMade():
		out.Kind = takeBack
	}
	return out
}

// isDone reports whether an event is the one that an address names: by itself, or
// by its cost line.
func isDone(e *wire.Event, done string) bool {
	return done != "" && (e.ID.String() == done || e.Details[service.EventCostLine] == done)
}
