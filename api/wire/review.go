package wire

import (
	"askwright/api/web"
	"askwright/pricing"
	"askwright/service/advice"
	"askwright/service/prose"
	"askwright/service/watch"
	"encoding/xml"
	"slices"
	"strconv"

	"github.com/google/uuid"
)

// AtomFeed is a feed document (RFC 4287).
type AtomFeed struct {
	XMLName  xml.Name    `xml:"http://www.w3.org/2005/Atom feed"`
	ID       string      `xml:"id"`
	Title    string      `xml:"title"`
	Subtitle string      `xml:"subtitle"`
	Updated  string      `xml:"updated"`
	Links    []AtomLink  `xml:"link"`
	Entries  []AtomEntry `xml:"entry"`
}

// AtomLink is a link of a feed (RFC 4287).
type AtomLink struct {
	Rel  string `xml:"rel,attr"`
	Type string `xml:"type,attr"`
	Href string `xml:"href,attr"`
}

// AtomEntry is one review in a feed (RFC 4287).
type AtomEntry struct {
	ID       string       `xml:"id"`
	Title    string       `xml:"title"`
	Updated  string       `xml:"updated"`
	Author   atomAuthor   `xml:"author"`
	Category atomCategory `xml:"category"`
	Links    []AtomLink   `xml:"link"`
	Content  atomText     `xml:"content"`
}

type atomAuthor struct {
	Name string `xml:"name"`
}

type atomCategory struct {
	Term string `xml:"term,attr"`
}

type atomText struct {
	Type string `xml:"type,attr"`
	Text string `xml:",chardata"`
}

// FeedQuery is what the feed can be asked for.
type FeedQuery struct {
	State  OpenStates `form:"state" swaggertype:"string" default:"stale" example:"stale,slow"` // several with commas between
	Member string     `form:"member"`                                                          // me, an id or a name
	Key    string     `form:"key"`                                                             // a feed key
}

// AtomEntry shows a review as an entry of a feed.
func (v Viewer) AtomEntry(e watch.FeedEntry) AtomEntry {
	address := "/v1/listings/" + e.Row.ID.String()
	return AtomEntry{
		ID: e.Row.ID.URN(), Title: e.Row.Ref + ", " + e.What() + ": " + e.State, Updated: web.Instant(e.UpdatedAt),
		Author: atomAuthor{Name: e.Row.Member}, Category: atomCategory{Term: e.State},
		Links:   []AtomLink{{Rel: "alternate", Type: "application/json", Href: address}},
		Content: atomText{Type: "text", Text: "Asked " + string(web.Exact(e.Ask, v.Currency)) + " " + v.Currency.Code + ". " + pricing.Joined(e.Sentences)},
	}
}

// Review is where an open listing stands and what could be done about it.
type Review struct {
	Ref           string      `json:"ref"`
	ID            uuid.UUID   `json:"id" format:"uuid"`
	Member        string      `json:"member"`
	Category      string      `json:"category"`
	State         string      `json:"state" enums:"stale,slow,fresh,paused"`
	Clear         bool        `json:"clear"`                                                     // of a stale one: the move beats leaving it in 3 of 4 cases or more
	Action        string      `json:"action" enums:"wait,check,reprice,renew,refinish,withdraw"` // what to do next
	NextStepOn    *string     `json:"next_step_on" format:"date"`                                // when to do it; past: it is overdue; null: nothing is planned
	NextAsk       *web.Number `json:"next_ask" swaggertype:"number"`                             // from that day on; null: the ask stays
	Plan          []PlanStep  `json:"plan"`                                                      // the asks from today, while it is unsold
	Ask           *web.Number `json:"ask,omitempty" swaggertype:"number"`
	FairValue     *PriceRange `json:"fair_value,omitempty"` // likely sale price, the own price in it as far as it counts
	ListedOn      string      `json:"listed_on" format:"date"`
	ActiveDays    int         `json:"active_days"`
	DaysOnMarket  int         `json:"days_on_market"`
	DaysAtAsk     int         `json:"days_at_ask"`                                    // active days at the present ask
	ExpectedDays  *int        `json:"expected_days"`                                  // active days within which half of similar pieces sell at the present ask; null: not within the group's horizon
	ChanceSold    web.Number  `json:"chance_sold_by_now" swaggertype:"number"`        // that one like it would have sold by now, in this listing
	MessagesSeen  *int        `json:"messages_seen,omitempty"`                        // where known
	MessagesUsual web.Number  `json:"messages_usual" swaggertype:"number"`            // expected by now
	Demand        web.Number  `json:"demand" swaggertype:"number" example:"0.7"`      // 1 is what the description promises
	GroupPulse    *web.Number `json:"group_pulse" swaggertype:"number" example:"0.8"` // messages on all listings of the last 28 days against usual; null: too few to tell
	Reason        string      `json:"reason" enums:"price,demand,look,exposure,season,luck"`
	Checks        []Check     `json:"checks"`                                     // cheap things to try first
	Remedies      []Remedy    `json:"remedies"`                                   // the one to take first, then best first; none while it is fresh
	Gain          web.Number  `json:"gain" swaggertype:"number"`                  // of the plan over leaving it as it is for good
	Odds          web.Number  `json:"odds" swaggertype:"number"`                  // that it does better than that
	OddsIfBack    *web.Number `json:"odds_if_buyers_return" swaggertype:"number"` // in a slow season, if they do soon
	OddsIfAway    *web.Number `json:"odds_if_buyers_stay_away" swaggertype:"number"`
	WaitingCosts  *web.Number `json:"waiting_costs" swaggertype:"number"` // lost by acting only at the next step
	Listings      int         `json:"listings"`                           // of the piece so far, this one among them
	DaysInAll     int         `json:"days_in_all"`                        // active days of all of them
	ViewsSeen     *int        `json:"views_seen"`
	ViewsUsual    *web.Number `json:"views_usual" swaggertype:"number"`
	Money         Money       `json:"money"`
	HeldUntil     *string     `json:"held_until,omitempty" format:"date"` // for a buyer; a day that has passed: nobody told what came of it
	Refusal       *Refusal    `json:"refusal,omitempty"`
	Sentences     []Sentence  `json:"sentences"`
	Cautions      []Caution   `json:"cautions"`
}

// Check is a cheap thing to try first.
type Check struct {
	Code   string  `json:"code" example:"photos" csv:"plain"`
	Text   string  `json:"text" example:"Take a new first photo"`
	On     *string `json:"on" format:"date"`      // from when it comes before a step of the ask; null: at any time
	DoneOn *string `json:"done_on" format:"date"` // null: not yet
}

// Remedy is one thing to do about a listing.
type Remedy struct {
	Action       string      `json:"action" enums:"wait,renew,reprice,refinish,withdraw"`
	Text         string      `json:"text" example:"Drop it to $500"`
	Ask          *web.Number `json:"ask,omitempty" swaggertype:"number"`
	Finish       string      `json:"finish,omitempty"`
	Color        string      `json:"color,omitempty"`
	ExpectedNet  web.Number  `json:"expected_net" swaggertype:"number"`
	Gain         web.Number  `json:"gain" swaggertype:"number"` // over leaving it as it is for good
	ChanceBetter web.Number  `json:"chance_better_than_waiting" swaggertype:"number"`
	Cost         web.Number  `json:"cost" swaggertype:"number"`
	Hours        web.Number  `json:"hours" swaggertype:"number"`
	DaysOut      int         `json:"days_out"` // out of the market
}

// ReviewPage is the open listings, the most urgent first.
type ReviewPage struct {
	Items []Review `json:"items"`
	Next  *string  `json:"next"` // null: the list is whole
}

// Review shows where a listing stands.
func (v Viewer) Review(r advice.Review) Review {
	money := web.MoneyIn(v.Currency)
	out := Review{
		Ref: r.Row.Ref, ID: r.Row.ID, Member: r.Row.Member, Category: r.Row.Category, State: r.State, Clear: r.Clear,
		ListedOn: r.Row.ListedOn.String(), ActiveDays: r.ActiveDays, DaysOnMarket: r.DaysOnMarket, DaysAtAsk: r.DaysAtAsk,
		ExpectedDays: r.TypicalDays,
		ChanceSold:   web.Chance(r.ChanceSoldByNow), MessagesSeen: r.MessagesSeen, MessagesUsual: web.Rounded(r.MessagesUsual, 1),
		Demand: web.Rounded(r.Demand, 2), GroupPulse: Pulse(r.GroupPulse), Reason: r.Reason, Checks: checks(r.Checks), Remedies: make([]Remedy, len(r.Remedies)),
		Gain: money(r.Gain), Refusal: RefusalOf(r.Refusal), Sentences: Sentences(r.Sentences), Cautions: Cautions(r.Cautions),
	}
	if r.Held != nil {
		out.HeldUntil = new(r.Held.Until.String())
	}
	if m := r.Ask; m != 0 {
		ask := web.Exact(m, v.Currency)
		out.Ask = &ask
	}
	out.FairValue = priceRange(r.SalePrice, money)
	out.Action, out.Plan, out.NextAsk = r.Action, planSteps(r.Plan, money), web.Known(r.NextAsk, money)
	out.NextStepOn = day(r.NextStepOn)
	if r.Action == pricing.ActionCheck { // the drop comes after it, in the plan
		out.NextAsk = nil
	}
	out.Odds, out.OddsIfBack, out.OddsIfAway = web.Chance(r.Odds), Optional(r.OddsIfBack, web.Chance), Optional(r.OddsIfAway, web.Chance)
	if len(r.Plan.Steps) > 0 {
		out.WaitingCosts = new(money(r.WaitingCosts))
	}
	out.Listings, out.DaysInAll, out.ViewsSeen = r.Listings, r.DaysInAll, r.ViewsSeen
	if r.ViewsUsual > 0 {
		out.ViewsUsual = new(web.Rounded(r.ViewsUsual, 0))
	}
	out.Money = v.assumptions(r.Money)
	for i, x := range r.Remedies {
		out.Remedies[i] = Remedy{
			Action: x.Action, Text: prose.In(v.Currency).Move(x), Ask: web.Known(x.Ask, money), Finish: x.Finish, Color: x.Color, ExpectedNet: money(x.ExpectedNet),
			Gain: money(x.Gain), ChanceBetter: web.Chance(x.ChanceBetterThanWaiting), Cost: money(x.Cost), Hours: web.Rounded(x.Hours, 2),
			DaysOut: x.DaysOut,
		}
	}
	return out
}

// day is a day, or nil.
func day(d pricing.Date) *string {
	if d.IsZero() {
		return nil
	}
	return new(d.String())
}

func checks(all []pricing.Check) []Check {
	out := make([]Check, len(all))
	for i, c := range all {
		out[i] = Check{Code: c.Code, Text: prose.Checks[c.Code], On: day(c.On), DoneOn: day(c.DoneOn)}
	}
	return out
}

// InCell is the check in a table.
func (c Check) InCell() string {
	if c.DoneOn != nil {
		return c.Code + ":" + *c.DoneOn
	}
	return c.Code
}

// Todo says in one line what to do next; "" where there is nothing today.
func (r Review) Todo() string {
	switch {
	case r.Action == pricing.ActionCheck:
		for _, c := range r.Checks {
			if c.DoneOn == nil {
				return c.Text
			}
		}
	case r.Action != pricing.ActionWait && len(r.Remedies) > 0:
		return r.Remedies[0].Text
	}
	return ""
}

// Best is the move to take, for one line of a table.
func (r Review) Best() Remedy {
	if len(r.Remedies) == 0 {
		return Remedy{}
	}
	return r.Remedies[0]
}

// ReviewColumns are the columns of reviews.
var ReviewColumns = web.ColumnsOf[Review](`
	ref id member category state ask listed_on active_days days_on_market chance_sold_by_now reason
	checks action next_step_on next_ask action_ask=remedies.ask action_finish=remedies.finish
	action_color=remedies.color expected_net=remedies.expected_net gain odds waiting_costs
	chance_better_than_waiting=remedies.chance_better_than_waiting cautions held_until`)

// ReviewQuery is what the reviews can be asked for.
type ReviewQuery struct {
	State  OpenStates   `form:"state" swaggertype:"string" example:"stale,slow"` // several with commas between
	Member string       `form:"member"`                                          // me, an id or a name
	AsOf   pricing.Date `form:"as_of" swaggertype:"string" format:"date"`        // default: today
	web.PageQuery
}

// OpenStates are states of open listings, with commas between.
type OpenStates []string

// FromQuery reads states with commas between.
func (l *OpenStates) FromQuery(p *web.Params, name string) {
	*l = p.List(name)
	for _, state := range *l {
		if !slices.Contains(advice.ListingStates, state) {
			p.RefuseWord(name, state, advice.ListingStates)
		}
	}
}

// CursorAfter is the position after a review. It is its place in the order, so that
// a page goes on from there though reviews have changed meanwhile.
func CursorAfter(p advice.ReviewPlace) *web.Cursor {
	return &web.Cursor{ID: p.ID, After: []string{
		p.State, strconv.FormatFloat(p.Gain, 'g', -1, 64), strconv.Itoa(p.ActiveDays),
	}}
}

// ReviewPlace reads such a position.
func ReviewPlace(k web.Cursor) (p advice.ReviewPlace, err error) {
	if len(k.After) != 3 || !slices.Contains(advice.ListingStates, k.After[0]) {
		return p, web.BadCursor()
	}
	p.State, p.ID = k.After[0], k.ID
	var faults [2]error
	p.Gain, faults[0] = strconv.ParseFloat(k.After[1], 64)
	p.ActiveDays, faults[1] = strconv.Atoi(k.After[2])
	if faults != [2]error{} {
		return p, web.BadCursor()
	}
	return p, nil
}
