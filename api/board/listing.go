package board

import (
	"context"
	"html/template"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
)

// storyPage is one listing.
type storyPage struct {
	Row        *service.Listing
	Ask        *web.Number
	Facts      []wire.Fact
	Review     *wire.Review // nil: not on offer
	Suggestion wire.Suggestion
	Curve      template.HTML
	Story      template.HTML
	Happened   []happening // newest first
	Done       *happening  // what was just recorded
	Mine       bool        // and the key may write
	Today      string
	Currency   string
}

// Paused reports whether nobody can have it today.
func (p *storyPage) Paused() bool { return p.Review != nil && p.Review.State == pricing.StatePaused }

// Advised is the ask that the best remedy names, "" where none does.
func (p *storyPage) Advised() string {
	if p.Review == nil || p.Review.Best().Action != pricing.ActionReprice {
		return ""
	}
	return wire.Trimmed(0, p.Review.Best().Ask.Text())
}

// undoForm undoes one event.
type undoForm struct {
	Listing, Event uuid.UUID
	Text           string
}

// happening is one event in words.
type happening struct {
	wire.Event
	Text    string
	CanUndo bool
}

// GetBoardListing tells one listing's story, what its ask leads to and what
// could be done about it.
//
//	@Summary	The board: a listing
//	@Tags		board
//	@Param		id		path	string	true	"id of the listing"
//	@Param		done	query	string	false	"the event just recorded"
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Failure	404	"no such listing"
//	@Router		/board/listings/{id} [get]
func (s *Board) GetBoardListing(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	p := web.ParamsOf(c)
	done := p.Text("done")
	if err := p.Done(); err != nil {
		return err
	}
	page, err := s.storyPage(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	if i := slices.IndexFunc(page.Happened, func(h happening) bool { return h.ID.String() == done }); i >= 0 {
		page.Done = &page.Happened[i]
	}
	return s.render(c, http.StatusOK, "listing", boardFrame{Title: page.Row.Ref, Viewer: a, Page: page})
}

func (s *Board) storyPage(ctx context.Context, a *service.Actor, id uuid.UUID) (*storyPage, error) {
	row, err := s.app.Recording.Listing(ctx, a, id)
	if err != nil {
		return nil, err
	}
	v := wire.ViewerOf(a)
	page := &storyPage{
		Row: row, Facts: v.Facts(row), Mine: row.MemberID == a.MemberID && a.Can(service.ScopeWrite), Today: a.Today.String(),
		Currency: a.Group.Currency.Code,
	}
	if m := row.CurrentAsk(); m != 0 {
		ask := web.Exact(m, v.Currency)
		page.Ask = &ask
	}
	reviews, err := s.app.Advice.Reviews(ctx, a, advice.ReviewQuery{Listing: id})
	if err != nil {
		return nil, err
	}
	if len(reviews) == 1 {
		review := v.Review(reviews[0])
		page.Review = &review
	}
	found, err := s.app.Advice.SuggestFor(ctx, a, id, wire.WithinDefault)
	if err != nil {
		return nil, err
	}
	page.Suggestion = v.Suggestion(*found, wire.WithinDefault)
	events, err := s.app.Recording.Events(ctx, a, id)
	if err != nil {
		return nil, err
	}
	present := page.Ask
	if row.Outcome != service.OutcomeOpen {
		present = nil
	}
	page.Curve = curveChart(page.Suggestion, present).HTML()
	shown := v.Events(row, events)
	if row.IsOffered() {
		page.Story = storyChart(v, row, shown, a.Today).HTML()
	}
	page.Happened = happenings(shown, page.Mine)
	return page, nil
}

// happenings tells events, the newest first. What can be undone is what changed
// the listing and was not undone.
func happenings(events []wire.Event, mine bool) []happening {
	var out []happening
	for _, e := range slices.Backward(events) {
		text := e.Tell()
		fixed := e.Kind == service.EventVoid || e.Kind == service.EventListed || e.Kind == service.EventRecorded || e.Kind == service.EventRefinish
		out = append(out, happening{Event: e, Text: text, CanUndo: mine && !fixed && e.VoidedBy == nil})
	}
	return out
}
