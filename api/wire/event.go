package wire

import (
	"cmp"
	"encoding/json"
	"maps"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service"
)

// Tell is an event in words.
func (e Event) Tell() string {
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
		return "Offer of " + Trimmed(0, e.Details["amount"])
	case service.EventSold:
		return "Sold for " + Trimmed(0, e.Changes["sale_price"].New)
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

// Event is a dated fact about a listing.
type Event struct {
	ID       uuid.UUID  `json:"id" format:"uuid"`
	Kind     string     `json:"kind" example:"ask"`
	On       string     `json:"on" format:"date"`                 // the day that it speaks of
	At       time.Time  `json:"at" format:"date-time"`            // when it was recorded
	Member   string     `json:"member"`                           // who recorded it
	Changes  changes    `json:"changes,omitempty" csv:"embedded"` // by column
	Details  details    `json:"details,omitempty" csv:"embedded"` // of an offer or a refinish
	Voids    *uuid.UUID `json:"voids,omitempty" format:"uuid"`
	VoidedBy *uuid.UUID `json:"voided_by,omitempty" format:"uuid"`
}

// Values are a column before and after; "" was or is unknown.
type Values struct {
	Old string `json:"old"`
	New string `json:"new"`
}

// changes are by column.
type changes map[string]Values

// InCell is the changes in a table: a column with its value before and after.
func (c changes) InCell() string {
	return pairs(c, func(v Values) string { return v.Old + ">" + v.New })
}

// details are fields of an event that are no columns.
type details map[string]string

// InCell is the details in a table.
func (d details) InCell() string {
	return pairs(d, func(text string) string { return text })
}

// pairs are names with their values, in the order of the names.
func pairs[V any](of map[string]V, text func(V) string) string {
	parts := make([]string, 0, len(of))
	for _, name := range slices.Sorted(maps.Keys(of)) {
		parts = append(parts, name+":"+text(of[name]))
	}
	return strings.Join(parts, ";")
}

// EventColumns are the columns of events.
var EventColumns = web.ColumnsOf[Event](`
	id kind on at member changes details voids voided_by`)

// EventRequest asks for an event. Which fields apply depends on the kind.
type EventRequest struct {
	Kind           string       `json:"kind" enums:"bought,in_work,listed,passed,let_go,ask,pause,resume,interest,offer,hold,release,sold,withdrawn,reopen,refinish,void"`
	On             string       `json:"on" format:"date"` // default: today
	Voids          *uuid.UUID   `json:"voids" format:"uuid"`
	PurchaseCost   *web.Decimal `json:"purchase_cost" swaggertype:"number"`         // bought; owner only
	PickupCost     *web.Decimal `json:"pickup_cost" swaggertype:"number"`           // bought; owner only
	BoughtFrom     *string      `json:"bought_from"`                                // bought; owner only
	ConditionFound *web.Decimal `json:"condition_found" swaggertype:"string"`       // bought; owner only
	Reason         *string      `json:"reason"`                                     // passed: price, condition, space, gone or other; let_go: given_away, kept, broken_up or other
	SellerAsk      *web.Decimal `json:"seller_ask" swaggertype:"number"`            // passed: what the seller asked
	Area           *string      `json:"area"`                                       // listed
	Ask            *web.Decimal `json:"ask" swaggertype:"number"`                   // ask; listed; refinish, of the next listing
	Until          *string      `json:"until" format:"date"`                        // pause; hold: the last day
	Views          *web.Decimal `json:"views" swaggertype:"integer"`                // interest
	Saves          *web.Decimal `json:"saves" swaggertype:"integer"`                // interest
	Messages       *web.Decimal `json:"messages" swaggertype:"integer"`             // interest
	Viewings       *web.Decimal `json:"viewings" swaggertype:"integer"`             // interest
	Amount         *web.Decimal `json:"amount" swaggertype:"number"`                // offer
	Comes          *string      `json:"comes"`                                      // offer: today, or the day on which the buyer comes
	Deposit        *web.Decimal `json:"deposit" swaggertype:"number"`               // offer, hold: paid already
	Offer          *string      `json:"offer" format:"uuid"`                        // hold: the offer that led to it
	Why            *string      `json:"why" enums:"no_show,fell_through,cancelled"` // release
	Note           *string      `json:"note"`                                       // offer, passed, let_go
	SalePrice      *web.Decimal `json:"sale_price" swaggertype:"number"`            // sold
	SoldVenue      *string      `json:"sold_venue"`                                 // sold
	Ref            *string      `json:"ref"`                                        // refinish: of the piece's next row; default: the next free one
	Finish         *string      `json:"finish"`                                     // refinish
	Color          *string      `json:"color"`                                      // refinish
	SecondFinish   *string      `json:"second_finish"`                              // refinish
	SecondColor    *string      `json:"second_color"`                               // refinish
	Topcoat        *string      `json:"topcoat"`                                    // refinish
	Sheen          *string      `json:"sheen"`                                      // refinish
	Hardware       *string      `json:"hardware"`                                   // refinish
	Condition      *web.Decimal `json:"condition" swaggertype:"string"`             // refinish
	Flaws          *string      `json:"flaws"`                                      // refinish
	Smell          *string      `json:"smell"`                                      // refinish
	Legs           *string      `json:"legs"`                                       // refinish: what was done to them
	Top            *string      `json:"top"`                                        // refinish: what was done to it
	ListedOn       *string      `json:"listed_on" format:"date"`                    // refinish: of the next listing
	Estimate       *web.Decimal `json:"estimate" swaggertype:"number"`              // listed; refinish, of the next listing; owner only
	Venue          *string      `json:"venue"`                                      // listed; refinish, of the next listing
}

// SentFields are the fields of a request that were sent, by name: those that are
// pointers to text or a number.
func SentFields(request any) map[string]string {
	fields := make(map[string]string)
	v := reflect.ValueOf(request).Elem()
	for i := range v.NumField() {
		name := v.Type().Field(i).Tag.Get("json")
		switch value := v.Field(i).Interface().(type) {
		case *string:
			if value != nil {
				fields[name] = *value
			}
		case *web.Decimal:
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
	Next  *string `json:"next"` // null: the list is whole
}

// EventAnswer is the listing after an event.
type EventAnswer struct {
	Listing json.RawMessage `json:"listing" swaggertype:"object"` // a listing row
	Events  []Event         `json:"events"`                       // what was recorded
}

// Events shows those that the actor may see.
func (v Viewer) Events(l *service.Listing, events []service.Event) []Event {
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
			shown.Changes = make(changes, len(e.Changes))
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
