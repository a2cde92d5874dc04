package api

import (
	"errors"
	"slices"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
)

// Review is where an open listing stands and what could be done about it.
type Review struct {
	Ref           string      `json:"ref"`
	ID            uuid.UUID   `json:"id" format:"uuid"`
	Member        string      `json:"member"`
	Category      string      `json:"category"`
	State         string      `json:"state" enums:"stale,slow,fresh,paused"`
	Clear         bool        `json:"clear"` // of a stale one: the best remedy beats waiting in 3 of 4 cases or more
	Ask           *number     `json:"ask,omitempty" swaggertype:"number"`
	FairValue     *PriceRange `json:"fair_value,omitempty"` // likely sale price by the description alone
	ListedOn      string      `json:"listed_on" format:"date"`
	ActiveDays    int         `json:"active_days"`
	DaysOnMarket  int         `json:"days_on_market"`
	DaysAtAsk     int         `json:"days_at_ask"`                                    // active days at the present ask
	ExpectedDays  *int        `json:"expected_days"`                                  // active days after which half of those like it are sold where asked as suggested; null: not within the group's horizon
	ChanceSold    number      `json:"chance_sold_by_now" swaggertype:"number"`        // that one like it would have sold by now
	MessagesSeen  *int        `json:"messages_seen,omitempty"`                        // where known
	MessagesUsual number      `json:"messages_usual" swaggertype:"number"`            // expected by now
	Demand        number      `json:"demand" swaggertype:"number" example:"0.7"`      // 1 is what the description promises
	GroupPulse    *number     `json:"group_pulse" swaggertype:"number" example:"0.8"` // messages on all listings of the last 28 days against usual; null: too few to tell
	Reason        string      `json:"reason" enums:"price,look,exposure,season,luck"`
	Checks        []string    `json:"checks"`                             // cheap things to try first
	Remedies      []Remedy    `json:"remedies"`                           // best first
	Gain          number      `json:"gain" swaggertype:"number"`          // of the best over waiting
	HeldUntil     *string     `json:"held_until,omitempty" format:"date"` // for a buyer; a day that has passed: nobody told what came of it
	Refusal       *Refusal    `json:"refusal,omitempty"`
	Sentences     []string    `json:"sentences"`
	Cautions      []Caution   `json:"cautions"`
}

// Remedy is one thing to do about a listing.
type Remedy struct {
	Action       string  `json:"action" enums:"wait,renew,reprice,refinish,withdraw"`
	Ask          *number `json:"ask,omitempty" swaggertype:"number"`
	Finish       string  `json:"finish,omitempty"`
	Color        string  `json:"color,omitempty"`
	ExpectedNet  number  `json:"expected_net" swaggertype:"number"`
	Gain         number  `json:"gain" swaggertype:"number"` // over waiting
	ChanceBetter number  `json:"chance_better_than_waiting" swaggertype:"number"`
	Cost         number  `json:"cost" swaggertype:"number"`
	Hours        number  `json:"hours" swaggertype:"number"`
	DaysOut      int     `json:"days_out"` // out of the market
}

// ReviewPage is the open listings, the most urgent first.
type ReviewPage struct {
	Items []Review `json:"items"`
}

func (v viewer) review(r advice.Review) Review {
	money := moneyIn(v.currency)
	out := Review{
		Ref: r.Row.Ref, ID: r.Row.ID, Member: r.Row.Member, Category: r.Row.Category, State: r.State, Clear: r.Clear,
		ListedOn: r.Row.ListedOn.String(), ActiveDays: r.ActiveDays, DaysOnMarket: r.DaysOnMarket, DaysAtAsk: r.DaysAtAsk,
		ExpectedDays: r.ExpectedDays,
		ChanceSold:   chance(r.ChanceSoldByNow), MessagesSeen: r.MessagesSeen, MessagesUsual: rounded(r.MessagesUsual, 1),
		Demand: rounded(r.Demand, 2), GroupPulse: pulse(r.GroupPulse), Reason: r.Reason, Checks: notNil(r.Checks), Remedies: make([]Remedy, len(r.Remedies)),
		Gain: money(r.Gain), Refusal: refusal(r.Refusal), Sentences: notNil(r.Sentences), Cautions: cautions(r.Cautions),
	}
	if r.Held != nil {
		out.HeldUntil = new(r.Held.Until.String())
	}
	if m := r.Ask; m != 0 {
		ask := exact(m, v.currency)
		out.Ask = &ask
	}
	out.FairValue = priceRange(r.FairValue, money)
	for i, x := range r.Remedies {
		out.Remedies[i] = Remedy{
			Action: x.Action, Ask: known(x.Ask, money), Finish: x.Finish, Color: x.Color, ExpectedNet: money(x.ExpectedNet),
			Gain: money(x.Gain), ChanceBetter: chance(x.ChanceBetterThanWaiting), Cost: money(x.Cost), Hours: rounded(x.Hours, 2),
			DaysOut: x.DaysOut,
		}
	}
	return out
}

// best is the best remedy, for one line of a table.
func (r Review) best() Remedy {
	if len(r.Remedies) == 0 {
		return Remedy{}
	}
	return r.Remedies[0]
}

var reviewColumns = columnsOf[Review](`
	ref id member category state ask listed_on active_days days_on_market chance_sold_by_now reason
	checks action=remedies.action action_ask=remedies.ask action_finish=remedies.finish
	action_color=remedies.color expected_net=remedies.expected_net gain
	chance_better_than_waiting=remedies.chance_better_than_waiting cautions held_until`)

// StaleQuery is what the reviews can be asked for.
type StaleQuery struct {
	State  openStates   `form:"state" swaggertype:"string" example:"stale,slow"` // several with commas between
	Member string       `form:"member"`                                          // me, an id or a name
	AsOf   pricing.Date `form:"as_of" swaggertype:"string" format:"date"`        // default: today
	TableQuery
}

// listStale reviews the open listings, the most urgent first.
//
//	@Summary	Review open listings
//	@Tags		advice
//	@Param		query	query	StaleQuery	false	"filters"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	ReviewPage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/stale [get]
//	@Router		/v1/stale.csv [get]
func (s *Server) listStale(r request, in StaleQuery) ([]Review, error) {
	member, err := s.memberNamed(r, in.Member)
	if err != nil {
		return nil, err
	}
	q := advice.ReviewQuery{AsOf: in.AsOf, States: in.State, Member: member}
	reviews, err := s.service.Advice.Reviews(r.Request.Context(), r.actor, q)
	return each(reviews, viewerOf(r.actor).review), err
}

// inQuery turns wrong values into wrong parameters: they came in the address.
func inQuery(err error) error {
	var wrong *service.InvalidError
	if !errors.As(err, &wrong) {
		return err
	}
	refused := &requestError{kind: malformed, detail: oneLine(&service.InvalidError{Fields: withoutRows(wrong.Fields)})}
	for _, f := range wrong.Fields {
		refused.errors = append(refused.errors, ProblemError{Parameter: f.Column, Reason: f.Reason})
	}
	return refused
}

func withoutRows(fields []service.FieldError) []service.FieldError {
	out := slices.Clone(fields)
	for i := range out {
		out[i].Row, out[i].Pointer = 0, ""
	}
	return out
}
