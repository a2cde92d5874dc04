package wire

import (
	"strings"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/prose"
)

// NextStep is what to do next about an open listing, and when.
type NextStep struct {
	ListingID   uuid.UUID   `json:"listing_id" format:"uuid"`
	Ref         string      `json:"ref"`
	Member      string      `json:"member"`
	Category    string      `json:"category"`
	State       string      `json:"state" enums:"stale,slow,fresh"`
	Action      string      `json:"action" enums:"reprice,check,renew,refinish,withdraw"`
	NextStepOn  string      `json:"next_step_on" format:"date"`
	DaysOverdue int         `json:"days_overdue"` // 0: it is not due yet, or since today
	Ask         *web.Number `json:"ask" swaggertype:"number"`
	NextAsk     *web.Number `json:"next_ask" swaggertype:"number"` // null: it is no step of the ask
	Gain        web.Number  `json:"gain" swaggertype:"number"`     // of the plan over leaving it as it is for good
	Text        string      `json:"text" example:"Drop it to $310"`
}

// NextStepPage is the next steps of the open listings, what is longest due first.
type NextStepPage struct {
	Items []NextStep `json:"items"`
	Next  *string    `json:"next"` // null: the list is whole
}

// NextStepColumns are the columns of next steps.
var NextStepColumns = web.ColumnsOf[NextStep](`
	listing_id ref member category state action next_step_on days_overdue ask next_ask gain text`)

// NextStepQuery is what next steps can be asked for.
type NextStepQuery struct {
	Member string `form:"member"` // me, an id or a name; default: everybody
	web.TableQuery
}

// CalendarQuery is what the calendar can be asked for.
type CalendarQuery struct {
	Member string `form:"member"` // me, an id or a name; default: everybody
	Key    string `form:"key"`    // a feed key
}

// NextStep shows a next step.
func (v Viewer) NextStep(s advice.NextStep) NextStep {
	r := v.Review(s.Review)
	out := NextStep{
		ListingID: s.Row.ID, Ref: r.Ref, Member: r.Member, Category: r.Category, State: r.State, Action: r.Action,
		NextStepOn: s.On.String(), DaysOverdue: s.Overdue, Ask: r.Ask, NextAsk: r.NextAsk, Gain: r.Gain, Text: r.Todo(),
	}
	if r.Action == pricing.ActionWait { // the step is still to come
		out.Action = pricing.ActionReprice
		out.Text = prose.In(v.Currency).Move(pricing.Remedy{Action: pricing.ActionReprice, Ask: s.NextAsk})
	}
	return out
}

// Calendar is next steps as a calendar (RFC 5545), each an event of a whole day.
// What is overdue stands on its day.
func (v Viewer) Calendar(a *service.Actor, steps []advice.NextStep) string {
	var out calendar
	out.line("BEGIN:VCALENDAR")
	out.line("VERSION:2.0")
	out.line("PRODID:-//Askwright//Next steps//EN")
	out.line("METHOD:PUBLISH")
	out.line("X-WR-CALNAME:" + calendarText(a.Group.Name+": next steps"))
	for _, s := range steps {
		n := v.NextStep(s)
		out.line("BEGIN:VEVENT")
		out.line("UID:" + n.ListingID.String() + "." + n.NextStepOn + "@askwright")
		out.line("DTSTAMP:" + a.Now.UTC().Truncate(time.Hour).Format("20060102T150405Z"))
		out.line("DTSTART;VALUE=DATE:" + s.On.Time().Format("20060102"))
		out.line("DTEND;VALUE=DATE:" + (s.On + 1).Time().Format("20060102"))
		out.line("SUMMARY:" + calendarText(n.Ref+": "+n.Text))
		out.line("DESCRIPTION:" + calendarText(pricing.Joined(s.Sentences)))
		out.line("TRANSP:TRANSPARENT")
		out.line("END:VEVENT")
	}
	out.line("END:VCALENDAR")
	return out.String()
}

// calendar writes lines as RFC 5545 has them.
type calendar struct{ strings.Builder }

// line is folded after at most 75 octets, never within a letter (section 3.1).
func (c *calendar) line(text string) {
	const most = 75
	for limit := most; len(text) > limit; limit = most - 1 {
		cut := limit
		for !utf8.RuneStart(text[cut]) {
			cut--
		}
		c.WriteString(text[:cut] + "\r\n ")
		text = text[cut:]
	}
	c.WriteString(text + "\r\n")
}

// calendarText is a value of the type TEXT (section 3.3.11). Other control
// characters cannot be said in one.
func calendarText(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' || r == 0x7f {
			return -1
		}
		return r
	}, s)
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(s)
}
