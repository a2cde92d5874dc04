package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
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
	row, err := s.service.Listing(ctx, a, id)
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
	reviews, err := s.service.Stale(ctx, a, service.StaleQuery{Listing: id})
	if err != nil {
		return nil, err
	}
	if len(reviews) == 1 {
		review := v.review(reviews[0])
		page.Review = &review
	}
	found, err := s.service.SuggestFor(ctx, a, id, withinDefault)
	if err != nil {
		return nil, err
	}
	page.Suggestion = v.suggestion(*found, withinDefault)
	events, err := s.service.Events(ctx, a, id)
	if err != nil {
		return nil, err
	}
	present := page.Ask
	if row.Outcome != service.OutcomeOpen {
		present = nil
	}
	page.Curve = curveChart(page.Suggestion, present).HTML()
	shown := v.events(row, events)
	page.Story = storyChart(v, row, shown, a.Today).HTML()
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

// deeds are what can be recorded on a page, with the words for it.
var deeds = map[string]struct{ Title, Button string }{
	service.EventAsk:       {"A new ask", "Ask this"},
	service.EventPause:     {"Pause", "Pause it"},
	"resume":               {"Resume", "It is back"},
	service.EventSold:      {"Sold", "It is sold"},
	service.EventWithdrawn: {"Take it down", "Take it down"},
	service.EventBought:    {"Bought", "It is bought"},
	service.EventPassed:    {"Not bought", "Leave it"},
	service.EventVoid:      {"Undo", "Undo it"},
}

// confirmPage asks whether that is meant.
type confirmPage struct {
	Row           *service.Listing
	Kind          string
	Title, Button string
	Question      string
	Ask           *number
	Fields        []formField
	Revision      int64
	Wrong         string
}

var deedFields = map[string][]formField{
	service.EventAsk:   {{Name: "ask", Label: "New ask", Mode: "decimal", Required: true}},
	service.EventPause: {{Name: "until", Label: "Until (the first day back; leave it empty while unknown)", Type: "date"}},
	service.EventSold: {
		{Name: "sale_price", Label: "Sale price, without delivery", Mode: "decimal", Required: true},
		{Name: "sold_venue", Label: "Where it sold (if you like)"},
	},
	service.EventBought: {
		{Name: "purchase_cost", Label: "What you paid", Mode: "decimal", Required: true},
		{Name: "pickup_cost", Label: "What fetching it cost (if you know)", Mode: "decimal"},
	},
	service.EventPassed: {
		{Name: "reason", Label: "Why not", Words: service.PassedFor, Required: true},
		{Name: "note", Label: "In your own words (if you like)"},
	},
}

// confirmed prepares the page that asks; the values are those sent so far.
func confirmed(row *service.Listing, kind string, sent url.Values, revision int64) (*confirmPage, error) {
	words, ok := deeds[kind]
	if !ok {
		return nil, badParameter("kind", "%q is nothing that can be done here", clip(kind, 40))
	}
	page := &confirmPage{Row: row, Kind: kind, Title: words.Title, Button: words.Button, Revision: revision, Fields: slices.Clone(deedFields[kind])}
	for i := range page.Fields {
		f := &page.Fields[i]
		f.Value = sent.Get(f.Name)
	}
	page.Question = question(row, kind)
	return page, nil
}

func question(row *service.Listing, kind string) string {
	switch kind {
	case service.EventPause:
		return "The clock stops while nobody can have it. Pause " + row.Ref + " from today?"
	case "resume":
		return "Is " + row.Ref + " back? Renew its post and answer the messages that wait."
	case service.EventSold:
		return "Is " + row.Ref + " sold, today?"
	case service.EventWithdrawn:
		return "Take " + row.Ref + " down from today?"
	case service.EventAsk:
		return "From today " + row.Ref + " asks this:"
	case service.EventBought:
		return "Is " + row.Ref + " yours, from today?"
	case service.EventPassed:
		return "Leave " + row.Ref + "? It stays on file, so that the group knows why."
	}
	return ""
}

// getBoardConfirm asks before anything is recorded.
//
//	@Summary	The board: confirm an entry
//	@Tags		board
//	@Param		id		path	string	true	"id of the listing"
//	@Param		kind	query	string	true	"what happened"	enums(ask,pause,resume,sold,withdrawn,bought,passed)
//	@Param		ask		query	string	false	"for ask"
//	@Produce	html
//	@Success	200
//	@Failure	404	"no such listing"
//	@Router		/board/listings/{id}/confirm [get]
func (s *Server) getBoardConfirm(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	row, err := s.service.Listing(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	if row.MemberID != a.MemberID {
		return refuse(forbidden, "%s is %s's; only they change it here", row.Ref, row.Member)
	}
	page, err := confirmed(row, c.Query("kind"), c.Request.URL.Query(), row.Revision)
	if err != nil {
		return err
	}
	return s.renderConfirm(c, a, http.StatusOK, page)
}

func (s *Server) renderConfirm(c *gin.Context, a *service.Actor, status int, page *confirmPage) error {
	if m := page.Row.CurrentAsk(); m != 0 {
		ask := exact(m, a.Group.Currency)
		page.Ask = &ask
	}
	return s.render(c, status, "confirm", boardFrame{Title: page.Title, Viewer: a, Page: page})
}

// postBoardEvent records what was confirmed, and shows the listing with the
// way to undo it.
//
//	@Summary	The board: record an event
//	@Tags		board
//	@Accept		x-www-form-urlencoded
//	@Param		id			path		string	true	"id of the listing"
//	@Param		kind		formData	string	true	"what happened"	enums(ask,pause,resume,sold,withdrawn,bought,passed,void)
//	@Param		revision	formData	string	false	"the revision seen"
//	@Param		ask			formData	string	false	"for ask"
//	@Param		until		formData	string	false	"for pause"
//	@Param		sale_price	formData	string	false	"for sold"
//	@Param		sold_venue	formData	string	false	"for sold"
//	@Param		voids		formData	string	false	"for void: the event"
//	@Produce	html
//	@Success	303	"recorded"
//	@Failure	422	"a value is wrong; the form again"
//	@Router		/board/listings/{id}/events [post]
func (s *Server) postBoardEvent(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	if err := c.Request.ParseForm(); err != nil {
		return refuse(malformed, "the form cannot be read")
	}
	sent := c.Request.PostForm
	event, revision, err := eventOf(sent)
	if err != nil {
		return err
	}
	change, err := s.service.AddEvent(c.Request.Context(), a, id, event, revision)
	var wrong *service.InvalidError
	if errors.As(err, &wrong) && len(deedFields[event.Kind]) > 0 {
		return s.askAgain(c, a, id, event.Kind, sent, wrong)
	}
	if err != nil {
		return err
	}
	to := "/board/listings/" + id.String()
	if n := len(change.Events); n > 0 {
		done := change.Events[n-1]
		for _, e := range change.Events {
			if e.Kind == event.Kind {
				done = e
			}
		}
		to += "?done=" + done.ID.String()
	}
	c.Redirect(http.StatusSeeOther, to)
	return nil
}

// eventOf reads the form of an event.
func eventOf(sent url.Values) (event service.NewEvent, revision *int64, err error) {
	event = service.NewEvent{Kind: sent.Get("kind"), Fields: make(map[string]string)}
	if _, ok := deeds[event.Kind]; !ok {
		return event, nil, badParameter("kind", "%q is nothing that can be done here", clip(event.Kind, 40))
	}
	for _, f := range deedFields[event.Kind] {
		if value := strings.TrimSpace(sent.Get(f.Name)); value != "" || f.Required {
			event.Fields[f.Name] = value
		}
	}
	if event.Kind == service.EventVoid {
		if event.Voids, err = parseID(sent.Get("voids")); err != nil {
			return event, nil, refuse(malformed, "the form names no event to undo")
		}
	}
	if text := sent.Get("revision"); text != "" {
		var n int64
		if _, err := fmt.Sscan(text, &n); err != nil {
			return event, nil, refuse(malformed, "the form has no revision that can be read")
		}
		revision = &n
	}
	return event, revision, nil
}

// askAgain shows the form with what is wrong.
func (s *Server) askAgain(c *gin.Context, a *service.Actor, id uuid.UUID, kind string, sent url.Values, wrong *service.InvalidError) error {
	row, err := s.service.Listing(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	page, err := confirmed(row, kind, sent, row.Revision)
	if err != nil {
		return err
	}
	page.Wrong = oneLine(wrong)
	for i := range page.Fields {
		for _, f := range wrong.Fields {
			if f.Column == page.Fields[i].Name {
				page.Fields[i].Wrong = f.Reason
			}
		}
	}
	return s.renderConfirm(c, a, http.StatusUnprocessableEntity, page)
}
