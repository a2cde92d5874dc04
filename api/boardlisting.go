package api

import (
	"cmp"
	"context"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
)

// storyPage is one listing.
type storyPage struct {
	Row        *service.Listing
	Ask        *number
	Facts      []fact
	Review     *Review // nil: not on offer
	Suggestion Suggestion
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
	if p.Review == nil || p.Review.best().Action != pricing.ActionReprice {
		return ""
	}
	return trimmed(0, p.Review.best().Ask.text())
}

// undoForm undoes one event.
type undoForm struct {
	Listing, Event uuid.UUID
	Text           string
}

// fact is a line of the description.
type fact struct{ Name, Value string }

// happening is one event in words.
type happening struct {
	Event
	Text    string
	CanUndo bool
}

// getBoardListing tells one listing's story, what its ask leads to and what
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
func (s *Server) getBoardListing(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	p := paramsOf(c)
	done := p.text("done")
	if err := p.done(); err != nil {
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

func (s *Server) storyPage(ctx context.Context, a *service.Actor, id uuid.UUID) (*storyPage, error) {
	row, err := s.service.Recording.Listing(ctx, a, id)
	if err != nil {
		return nil, err
	}
	v := viewerOf(a)
	page := &storyPage{
		Row: row, Facts: v.facts(row), Mine: row.MemberID == a.MemberID && a.Can(service.ScopeWrite), Today: a.Today.String(),
		Currency: a.Group.Currency.Code,
	}
	if m := row.CurrentAsk(); m != 0 {
		ask := exact(m, v.currency)
		page.Ask = &ask
	}
	reviews, err := s.service.Advice.Reviews(ctx, a, advice.ReviewQuery{Listing: id})
	if err != nil {
		return nil, err
	}
	if len(reviews) == 1 {
		review := v.review(reviews[0])
		page.Review = &review
	}
	found, err := s.service.Advice.SuggestFor(ctx, a, id, withinDefault)
	if err != nil {
		return nil, err
	}
	page.Suggestion = v.suggestion(*found, withinDefault)
	events, err := s.service.Recording.Events(ctx, a, id)
	if err != nil {
		return nil, err
	}
	present := page.Ask
	if row.Outcome != service.OutcomeOpen {
		present = nil
	}
	page.Curve = curveChart(page.Suggestion, present).HTML()
	shown := v.events(row, events)
	if row.IsOffered() {
		page.Story = storyChart(v, row, shown, a.Today).HTML()
	}
	page.Happened = happenings(shown, page.Mine)
	return page, nil
}

// factColumns are those of the description that a page shows.
var factColumns = []string{
	"category", "set_size", "items", "width", "depth", "height", "material", "wood", "style", "year_made", "condition", "finish", "color",
	"second_finish", "second_color", "topcoat", "sheen", "hardware", "drawers", "doors", "maker", "flaws", "smell", "venue", "area",
	"listed_on", "views", "saves", "messages", "viewings", "estimate", "sale_price", "ended_on", "sold_venue", "bought_on", "bought_from",
	"purchase_cost", "pickup_cost", "materials_cost", "other_cost", "hours", "hours_other", "notes",
}

// facts are the columns of a row that have a value and that the viewer may see.
func (v viewer) facts(l *service.Listing) []fact {
	var out []fact
	for _, name := range factColumns {
		column, _ := service.ColumnByName(name)
		value := v.value(column, l)
		switch {
		case value == "":
			continue
		case name == "width" || name == "depth" || name == "height":
			value += " " + l.Unit
		case column.Kind == service.KindWord || name == "style":
			value = strings.ReplaceAll(value, "_", " ")
		case column.Kind == service.KindMoney:
			value = trimmed(0, value)
		}
		out = append(out, fact{strings.ReplaceAll(name, "_", " "), value})
	}
	return out
}

// happenings tells events, the newest first. What can be undone is what changed
// the listing and was not undone.
func happenings(events []Event, mine bool) []happening {
	var out []happening
	for _, e := range slices.Backward(events) {
		text := e.tell()
		fixed := e.Kind == service.EventVoid || e.Kind == service.EventListed || e.Kind == service.EventRecorded || e.Kind == service.EventRefinish
		out = append(out, happening{Event: e, Text: text, CanUndo: mine && !fixed && e.VoidedBy == nil})
	}
	return out
}

// tell is an event in words.
func (e Event) tell() string {
	switch e.Kind {
	case service.EventRecorded:
		return "Came on file"
	case service.EventBought:
		return "Bought"
	case service.EventInWork:
		return "Work began"
	case service.EventPassed:
		return "Not bought"
	case service.EventLetGo:
		return "Let go without a sale"
	case service.EventListed:
		return "Listed" + lastAsk(e.Changes["asks"].New, " at ")
	case service.EventAsk:
		return "Asks" + lastAsk(e.Changes["asks"].New, " ") + lastAsk(e.Changes["asks"].Old, " instead of ")
	case service.EventPause:
		if strings.HasSuffix(e.Changes["pauses"].New, "..") {
			return "Paused"
		}
		return "Pauses now " + cmp.Or(strings.ReplaceAll(e.Changes["pauses"].New, ";", ", "), "none")
	case service.EventInterest:
		var parts []string
		for _, name := range []string{"views", "saves", "messages", "viewings"} {
			if v, ok := e.Changes[name]; ok {
				parts = append(parts, cmp.Or(v.New, "no known")+" "+name)
			}
		}
		return strings.Join(parts, ", ") + " so far"
	case service.EventOffer:
		return "Offer of " + trimmed(0, e.Details["amount"])
	case service.EventSold:
		return "Sold for " + trimmed(0, e.Changes["sale_price"].New)
	case service.EventWithdrawn:
		return "Taken down"
	case service.EventReopened:
		return "Open again"
	case service.EventRefinish:
		return "Taken down to be refinished, next as " + e.Details["ref"]
	case service.EventVoid:
		return "An entry was undone"
	}
	var names []string
	for name := range e.Changes {
		names = append(names, strings.ReplaceAll(name, "_", " "))
	}
	slices.Sort(names)
	if e.Kind == service.EventLedger {
		return "Ledger: " + strings.Join(names, ", ")
	}
	return "Corrected: " + strings.Join(names, ", ")
}

// lastAsk is the newest amount of a history of asks, after a word.
func lastAsk(history, before string) string {
	_, amount, ok := strings.Cut(history[strings.LastIndexByte(history, ';')+1:], ":")
	if !ok {
		return ""
	}
	return before + trimmed(0, amount)
}
