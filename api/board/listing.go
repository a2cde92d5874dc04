package board

import (
	"context"
	"html/template"
	"net/http"
	"net/url"
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
	Happened   []happening  // newest first
	Done       *happening   // what was just recorded
	Actions    []action     // none: it is another's, or the key only reads
	Offers     []offer      // to answer, or answered lately; the newest first
	Text       *listingText // to post; nil: it is not one's own, or over
	Today      pricing.Date
}

// Advised is the ask that the best remedy names, "" where none does.
func (p *storyPage) Advised() string {
	if p.Review == nil || p.Review.Best().Action != pricing.ActionReprice {
		return ""
	}
	return wire.Trimmed(0, p.Review.Best().Ask.Text())
}

// happening is one event in words.
type happening struct {
	wire.Event
	Text    string
	CanUndo bool
}

// isMade reports whether the event made its row: undone it is gone.
func (h happening) isMade() bool {
	return h.Kind == service.EventRecorded || (h.Kind == service.EventListed && h.Changes["stage"].Old == "")
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
	if !page.Row.IsOffered() {
		to := pageOf(page.Row)
		if done != "" {
			to += "?done=" + url.QueryEscape(done)
		}
		c.Redirect(http.StatusSeeOther, to)
		return nil
	}
	page.Done = doneOf(page.Happened, done, len(page.Actions) > 0)
	return s.render(c, http.StatusOK, "listing", boardFrame{Title: page.Row.Ref, Viewer: a, Page: page})
}

func (s *Board) storyPage(ctx context.Context, a *service.Actor, id uuid.UUID) (*storyPage, error) {
	row, err := s.app.Recording.Listing(ctx, a, id)
	if err != nil {
		return nil, err
	}
	v := wire.ViewerOf(a)
	page := &storyPage{
		Row: row, Facts: v.Facts(row), Today: a.Today,
	}
	if !row.IsOffered() {
		return page, nil // it has a page of its own
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
	page.Story = storyChart(v, row, shown, a.Today).HTML()
	if isMine(a, row) {
		page.Actions = possible(row, a.Today, page.Review != nil && page.Review.HeldUntil != nil)
		for i := range page.Actions {
			if page.Actions[i].Kind == service.EventAsk {
				page.Actions[i].Ask = page.Advised()
			}
		}
		if text, err := s.app.History.ListingText(ctx, a, row.ID); err == nil { // what is over has none
			page.Text = &listingText{text.Title, text.Description}
		}
		if err := s.offers(ctx, a, page, events); err != nil {
			return nil, err
		}
	}
	page.Happened = happenings(v, shown, len(page.Actions) > 0)
	return page, nil
}

// isMine reports whether the viewer may record something about a row here.
func isMine(a *service.Actor, row *service.Listing) bool {
	return row.MemberID == a.MemberID && a.Can(service.ScopeWrite)
}

// happenings tells events, the newest first. What can be undone is what changed
// the row and was not undone; what made it, only at once.
func happenings(v wire.Viewer, events []wire.Event, mine bool) []happening {
	var out []happening
	for _, e := range slices.Backward(events) {
		h := happening{Event: e, Text: v.Tell(e)}
		h.CanUndo = mine && e.Kind != service.EventVoid && e.Kind != service.EventRefinish && !h.isMade() && e.VoidedBy == nil
		out = append(out, h)
	}
	return out
}

// doneOf is what was just recorded, which can be undone even where it made a row.
func doneOf(happened []happening, done string, mine bool) *happening {
	i := slices.IndexFunc(happened, func(h happening) bool { return isDone(&h.Event, done) })
	if i < 0 {
		return nil
	}
	h := happened[i]
	h.CanUndo = mine && h.Kind != service.EventVoid && h.VoidedBy == nil
	return &h
}
