package api

import (
	"encoding/json"
	"maps"
	"net/http"
	"reflect"
	"slices"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
)

// Event is a dated fact about a listing.
type Event struct {
	ID       uuid.UUID         `json:"id" format:"uuid"`
	Kind     string            `json:"kind" example:"ask"`
	On       string            `json:"on" format:"date"`      // the day that it speaks of
	At       time.Time         `json:"at" format:"date-time"` // when it was recorded
	Member   string            `json:"member"`                // who recorded it
	Changes  map[string]Values `json:"changes,omitempty"`     // by column
	Details  map[string]string `json:"details,omitempty"`     // of an offer or a refinish
	Voids    *uuid.UUID        `json:"voids,omitempty" format:"uuid"`
	VoidedBy *uuid.UUID        `json:"voided_by,omitempty" format:"uuid"`
}

// Values are a column before and after; "" was or is unknown.
type Values struct {
	Old string `json:"old"`
	New string `json:"new"`
}

// EventRequest asks for an event. Which fields apply depends on the kind.
type EventRequest struct {
	Kind           string     `json:"kind" enums:"bought,in_work,listed,passed,let_go,ask,pause,resume,interest,offer,hold,release,sold,withdrawn,reopen,refinish,void"`
	On             string     `json:"on" format:"date"` // default: today
	Voids          *uuid.UUID `json:"voids" format:"uuid"`
	PurchaseCost   *Decimal   `json:"purchase_cost" swaggertype:"number"`         // bought; owner only
	PickupCost     *Decimal   `json:"pickup_cost" swaggertype:"number"`           // bought; owner only
	BoughtFrom     *string    `json:"bought_from"`                                // bought; owner only
	ConditionFound *Decimal   `json:"condition_found" swaggertype:"string"`       // bought; owner only
	Reason         *string    `json:"reason"`                                     // passed: price, condition, space, gone or other; let_go: given_away, kept, broken_up or other
	SellerAsk      *Decimal   `json:"seller_ask" swaggertype:"number"`            // passed: what the seller asked
	Area           *string    `json:"area"`                                       // listed
	Ask            *Decimal   `json:"ask" swaggertype:"number"`                   // ask; listed; refinish, of the next listing
	Until          *string    `json:"until" format:"date"`                        // pause; hold: the last day
	Views          *Decimal   `json:"views" swaggertype:"integer"`                // interest
	Saves          *Decimal   `json:"saves" swaggertype:"integer"`                // interest
	Messages       *Decimal   `json:"messages" swaggertype:"integer"`             // interest
	Viewings       *Decimal   `json:"viewings" swaggertype:"integer"`             // interest
	Amount         *Decimal   `json:"amount" swaggertype:"number"`                // offer
	Comes          *string    `json:"comes"`                                      // offer: today, or the day on which the buyer comes
	Deposit        *Decimal   `json:"deposit" swaggertype:"number"`               // offer, hold: paid already
	Offer          *string    `json:"offer" format:"uuid"`                        // hold: the offer that led to it
	Why            *string    `json:"why" enums:"no_show,fell_through,cancelled"` // release
	Note           *string    `json:"note"`                                       // offer, passed, let_go
	SalePrice      *Decimal   `json:"sale_price" swaggertype:"number"`            // sold
	SoldVenue      *string    `json:"sold_venue"`                                 // sold
	Ref            *string    `json:"ref"`                                        // refinish: of the piece's next row; default: the next free one
	Finish         *string    `json:"finish"`                                     // refinish
	Color          *string    `json:"color"`                                      // refinish
	SecondFinish   *string    `json:"second_finish"`                              // refinish
	SecondColor    *string    `json:"second_color"`                               // refinish
	Topcoat        *string    `json:"topcoat"`                                    // refinish
	Sheen          *string    `json:"sheen"`                                      // refinish
	Hardware       *string    `json:"hardware"`                                   // refinish
	Condition      *Decimal   `json:"condition" swaggertype:"string"`             // refinish
	Flaws          *string    `json:"flaws"`                                      // refinish
	Smell          *string    `json:"smell"`                                      // refinish
	Legs           *string    `json:"legs"`                                       // refinish: what was done to them
	Top            *string    `json:"top"`                                        // refinish: what was done to it
	ListedOn       *string    `json:"listed_on" format:"date"`                    // refinish: of the next listing
	Estimate       *Decimal   `json:"estimate" swaggertype:"number"`              // listed; refinish, of the next listing; owner only
	Venue          *string    `json:"venue"`                                      // listed; refinish, of the next listing
}

// sentFields are the fields of a request that were sent, by name: those that are
// pointers to text or a number.
func sentFields(request any) map[string]string {
	fields := make(map[string]string)
	v := reflect.ValueOf(request).Elem()
	for i := range v.NumField() {
		name := v.Type().Field(i).Tag.Get("json")
		switch value := v.Field(i).Interface().(type) {
		case *string:
			if value != nil {
				fields[name] = *value
			}
		case *Decimal:
			if value != nil {
				fields[name] = string(*value)
			}
		}
	}
	return fields
}

// EventPage is a listing's story.
type EventPage struct {
	Items []Event `json:"items"`
}

// EventAnswer is the listing after an event.
type EventAnswer struct {
	Listing json.RawMessage `json:"listing" swaggertype:"object"` // a listing row
	Events  []Event         `json:"events"`                       // what was recorded
}

// events shows those that the actor may see.
func (v viewer) events(l *service.Listing, events []service.Event) []Event {
	out := make([]Event, 0, len(events))
	for _, e := range events {
		if e.Private && l.MemberID != v.actor.MemberID {
			continue
		}
		shown := Event{ID: e.ID, Kind: e.Kind, On: e.On.String(), At: e.At.UTC(), Member: e.Member, Details: e.Details}
		if len(e.OwnerDetails) > 0 && l.MemberID == v.actor.MemberID {
			shown.Details = maps.Clone(e.Details)
			maps.Copy(shown.Details, e.OwnerDetails)
		}
		if len(e.Changes) > 0 {
			shown.Changes = make(map[string]Values, len(e.Changes))
		}
		for column, v := range e.Changes {
			shown.Changes[column] = Values(v)
		}
		if e.Voids != uuid.Nil {
			shown.Voids = &e.Voids
		}
		if e.VoidedBy != uuid.Nil {
			shown.VoidedBy = &e.VoidedBy
		}
		out = append(out, shown)
	}
	return slices.Clip(out)
}

// listEvents tells a listing's story; offers and the ledger to its owner only.
//
//	@Summary	What happened to a listing
//	@Tags		listings
//	@Param		id		path		string	true	"id of the listing"
//	@Success	200		{object}	EventPage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id}/events [get]
func (s *Server) listEvents(c *gin.Context, a *service.Actor) error {
	l, err := s.listingAtPath(c, a)
	if err != nil {
		return err
	}
	events, err := s.service.Recording.Events(c.Request.Context(), a, l.ID)
	if err != nil {
		return err
	}
	return answerTagged(c, EventPage{Items: viewerOf(a).events(l, events)})
}

// createEvent records a fact and changes the listing with it.
//
//	@Summary	Record an event
//	@Description	Of a piece in the yard: bought, in_work, listed at an ask, passed (a find not bought, with the reason and what its seller asked). let_go: it left without a sale, and why. Of a listing: ask, a new asking price. pause until a day, resume. interest: readings so far. offer: an amount. hold keeps it for a buyer until a day, release ends that without a sale. sold, withdrawn; reopen takes the end back. refinish ends the listing for another look and opens the piece's next row, in work or with listed_on and ask on offer. void undoes another event.
//	@Tags		listings
//	@Param		id			path		string			true	"id of the listing"
//	@Param		If-Match	header		string			false	"the revision seen"
//	@Param		event		body		EventRequest	true	"kind, and what belongs to it"
//	@Success	201			{object}	EventAnswer
//	@Failure	default		{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id}/events [post]
func (s *Server) createEvent(c *gin.Context, a *service.Actor) error {
	id, want, err := s.target(c)
	if err != nil {
		return err
	}
	var body EventRequest
	if err := readJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	event := service.NewEvent{Kind: body.Kind, On: body.On, Fields: sentFields(&body)}
	if body.Voids != nil {
		event.Voids = *body.Voids
	}
	change, err := s.service.Recording.AddEvent(c.Request.Context(), a, id, event, want)
	if err != nil {
		return withPointers(err)
	}
	v := viewerOf(a)
	c.Header("ETag", revisionTag(change.New.Revision))
	return answer(c, http.StatusCreated, EventAnswer{Listing: v.row(change.New), Events: v.events(change.New, change.Events)})
}

// target reads what a change is meant for: the id, and the revision seen.
func (s *Server) target(c *gin.Context) (uuid.UUID, *int64, error) {
	id, err := pathID(c)
	if err != nil {
		return uuid.Nil, nil, err
	}
	if err := paramsOf(c).done(); err != nil {
		return uuid.Nil, nil, err
	}
	want, err := wantedRevision(c)
	return id, want, err
}
