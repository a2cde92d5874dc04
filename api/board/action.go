package board

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service"
)

// deeds are what can be recorded on a page, with the words for it.
var deeds = map[string]struct{ Title, Button string }{
	service.EventAsk:       {"A new ask", "Ask this"},
	service.EventPause:     {"Pause", "Pause it"},
	"resume":               {"Back on sale", "It is back"},
	service.EventSold:      {"Sold", "It is sold"},
	service.EventWithdrawn: {"Pulled", "Pull it"},
	service.EventBought:    {"Bought", "It is bought"},
	service.EventPassed:    {"Passed", "Pass"},
	service.EventVoid:      {"Undo", "Undo it"},
}

// confirmPage asks whether that is meant.
type confirmPage struct {
	Row           *service.Listing
	Kind          string
	Title, Button string
	Question      string
	Ask           *web.Number
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
		return nil, web.BadParameter("kind", "%q is nothing that can be done here", web.Clip(kind, 40))
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

// GetBoardConfirm asks before anything is recorded.
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
func (s *Board) GetBoardConfirm(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	row, err := s.app.Recording.Listing(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	if row.MemberID != a.MemberID {
		return web.Refuse(web.Forbidden, "%s is %s's; only they change it here", row.Ref, row.Member)
	}
	page, err := confirmed(row, c.Query("kind"), c.Request.URL.Query(), row.Revision)
	if err != nil {
		return err
	}
	return s.renderConfirm(c, a, http.StatusOK, page)
}

func (s *Board) renderConfirm(c *gin.Context, a *service.Actor, status int, page *confirmPage) error {
	if m := page.Row.CurrentAsk(); m != 0 {
		ask := web.Exact(m, a.Group.Currency)
		page.Ask = &ask
	}
	return s.render(c, status, "confirm", boardFrame{Title: page.Title, Viewer: a, Page: page})
}

// PostBoardEvent records what was confirmed, and shows the listing with the
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
func (s *Board) PostBoardEvent(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	if err := c.Request.ParseForm(); err != nil {
		return web.Refuse(web.Malformed, "the form cannot be read")
	}
	sent := c.Request.PostForm
	event, revision, err := eventOf(sent)
	if err != nil {
		return err
	}
	change, err := s.app.Recording.AddEvent(c.Request.Context(), a, id, event, revision)
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
		return event, nil, web.BadParameter("kind", "%q is nothing that can be done here", web.Clip(event.Kind, 40))
	}
	for _, f := range deedFields[event.Kind] {
		if value := strings.TrimSpace(sent.Get(f.Name)); value != "" || f.Required {
			event.Fields[f.Name] = value
		}
	}
	if event.Kind == service.EventVoid {
		if event.Voids, err = web.ParseID(sent.Get("voids")); err != nil {
			return event, nil, web.Refuse(web.Malformed, "the form names no event to undo")
		}
	}
	if text := sent.Get("revision"); text != "" {
		var n int64
		if _, err := fmt.Sscan(text, &n); err != nil {
			return event, nil, web.Refuse(web.Malformed, "the form has no revision that can be read")
		}
		revision = &n
	}
	return event, revision, nil
}

// askAgain shows the form with what is wrong.
func (s *Board) askAgain(c *gin.Context, a *service.Actor, id uuid.UUID, kind string, sent url.Values, wrong *service.InvalidError) error {
	row, err := s.app.Recording.Listing(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	page, err := confirmed(row, kind, sent, row.Revision)
	if err != nil {
		return err
	}
	page.Wrong = web.OneLine(wrong)
	for i := range page.Fields {
		for _, f := range wrong.Fields {
			if f.Column == page.Fields[i].Name {
				page.Fields[i].Wrong = f.Reason
			}
		}
	}
	return s.renderConfirm(c, a, http.StatusUnprocessableEntity, page)
}
