package wire

import (
	"cmp"
	"encoding/json"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/api/rowfile"
	"askwright/api/web"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/prose"
)

// Tell is an event in words.
func (v Viewer) Tell(e Event) string {
	switch e.Kind {
	case service.EventRecorded:
		return "Added"
	case service.EventBought:
		return "Bought"
	case service.EventOnBench:
		return "Work began"
	case service.EventPassed:
		return "Passed"
	case service.EventRetired:
		return "Retired without a sale"
	case service.EventListed:
		return "Listed" + v.lastAsk(e.Changes["ask_history"].New, " at ")
	case service.EventAsk:
		return "Asks" + v.lastAsk(e.Changes["ask_history"].New, " ") + v.lastAsk(e.Changes["ask_history"].Old, " instead of ")
	case service.EventPause:
		return v.tellPause(e.Changes["pauses"].New)
	case service.EventInterest:
		return tellInterest(e)
	case service.EventOffer:
		return "Offer of " + v.money(e.Details["amount"])
	case service.EventAnswer:
		if amount := e.Details["amount"]; amount != "" {
			return "Answered: " + v.money(amount) + " instead"
		}
		return "Answered: " + map[string]string{"take": "yes", "refuse": "no"}[e.Details["answer"]]
	case service.EventHold:
		return "Held for a buyer through " + v.day(e.Details["until"])
	case service.EventRelease:
		return "Released: " + ReleaseWords[e.Details["why"]]
	case service.EventCheck:
		return "Done: " + service.LowerFirst(prose.Checks[e.Details["check"]])
	case service.EventSold:
		return "Sold for " + v.money(e.Changes["sale_price"].New)
	case service.EventPulled:
		return "Pulled"
	case service.EventReopened:
		return "Back on the market"
	case service.EventRefinish:
		return "Pulled to be refinished" + strings.TrimSuffix(", next as "+e.Details["ref"], ", next as ")
	case service.EventVoid:
		return "An entry was undone"
	case service.EventLedger:
		return "Costs and notes" + v.changed(e)
	}
	return "Corrected" + v.changed(e)
}

// ReleaseWords say why a hold was released.
var ReleaseWords = map[string]string{
	service.ReleasedNoShow: "the buyer didn't come", service.ReleasedFellThrough: "it fell through", service.ReleasedCancelled: "you called it off",
}

// money writes an amount of an event with its sign.
func (v Viewer) money(text string) string {
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return text
	}
	return prose.In(v.Currency).Amount(x)
}

// day writes a day of an event as people do.
func (v Viewer) day(text string) string {
	day, err := pricing.ParseDate(text)
	if err != nil {
		return text
	}
	return prose.Day(day, v.actor.Today)
}

// tellPause says the last of the pauses.
func (v Viewer) tellPause(pauses string) string {
	from, to, ok := strings.Cut(pauses[strings.LastIndexByte(pauses, ';')+1:], "/")
	switch {
	case !ok:
		return "No pauses any more"
	case to == "..":
		return "Paused from " + v.day(from)
	}
	return "Paused from " + v.day(from) + ", back on " + v.day(to)
}

func tellInterest(e Event) string {
	var parts []string
	for _, c := range [][2]string{{"views", "view"}, {"saves", "save"}, {"messages", "message"}, {"showings", "showing"}} {
		switch n, ok := e.Changes[c[0]]; {
		case !ok:
		case n.New == "1":
			parts = append(parts, "1 "+c[1])
		default:
			parts = append(parts, cmp.Or(n.New, "no known")+" "+c[1]+"s")
		}
	}
	return strings.Join(parts, ", ") + " so far"
}

// changed says what an event changed, to what.
func (v Viewer) changed(e Event) string {
	var parts []string
	for name, values := range e.Changes {
		column, ok := service.ColumnByName(name)
		value := service.InWords(values.New)
		switch {
		case ok && column.Kind == service.KindMoney && values.New != "":
			value = v.money(values.New)
		case ok && column.Kind == service.KindDate && values.New != "":
			value = v.day(values.New)
		}
		parts = append(parts, FactName(name)+" "+cmp.Or(value, "unknown"))
	}
	slices.Sort(parts)
	return strings.TrimSuffix(": "+strings.Join(parts, ", "), ": ")
}

// lastAsk is the newest amount of a history of asks, after a word.
func (v Viewer) lastAsk(history, before string) string {
	_, amount, ok := strings.Cut(history[strings.LastIndexByte(history, ';')+1:], ":")
	if !ok {
		return ""
	}
	return before + v.money(amount)
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
	Kind           string       `json:"kind" enums:"bought,on_bench,listed,passed,retired,ask,pause,resume,interest,check,offer,answer,hold,release,sold,pulled,reopen,refinish,void"`
	On             string       `json:"on" format:"date"` // default: today
	Voids          *uuid.UUID   `json:"voids" format:"uuid"`
	PurchaseCost   *web.Decimal `json:"purchase_cost" swaggertype:"number"`                                                                        // bought; owner only
	PickupCost     *web.Decimal `json:"pickup_cost" swaggertype:"number"`                                                                          // bought; owner only
	BoughtFrom     *string      `json:"bought_from"`                                                                                               // bought; owner only
	ConditionFound *web.Decimal `json:"condition_found" swaggertype:"string"`                                                                      // bought; owner only
	Reason         *string      `json:"reason"`                                                                                                    // passed: price, condition, space, gone or other; retired: given_away, kept, broken_up or other
	SellerAsk      *web.Decimal `json:"seller_ask" swaggertype:"number"`                                                                           // passed: what the seller asked
	Area           *string      `json:"area"`                                                                                                      // listed
	Ask            *web.Decimal `json:"ask" swaggertype:"number"`                                                                                  // ask; listed; refinish, of the next listing
	Until          *string      `json:"until" format:"date"`                                                                                       // pause; hold: the last day
	Views          *web.Decimal `json:"views" swaggertype:"integer"`                                                                               // interest
	Saves          *web.Decimal `json:"saves" swaggertype:"integer"`                                                                               // interest
	Messages       *web.Decimal `json:"messages" swaggertype:"integer"`                                                                            // interest
	Showings       *web.Decimal `json:"showings" swaggertype:"integer"`                                                                            // interest
	Amount         *web.Decimal `json:"amount" swaggertype:"number"`                                                                               // offer; answer: the counter
	Answer         *string      `json:"answer" enums:"take,counter,refuse"`                                                                        // answer
	Comes          *string      `json:"comes"`                                                                                                     // offer: today, or the day on which the buyer comes
	Deposit        *web.Decimal `json:"deposit" swaggertype:"number"`                                                                              // offer, hold: paid already
	Offer          *string      `json:"offer" format:"uuid"`                                                                                       // hold: the offer that led to it
	Why            *string      `json:"why" enums:"no_show,fell_through,cancelled"`                                                                // release
	Check          *string      `json:"check" enums:"answer_messages,another_venue,flaws_disclosed,offer_delivery,photos,renew_on_resuming,title"` // check: what was done
	Note           *string      `json:"note"`                                                                                                      // offer, passed, retired
	SalePrice      *web.Decimal `json:"sale_price" swaggertype:"number"`                                                                           // sold
	SoldVenue      *string      `json:"sold_venue"`                                                                                                // sold
	Ref            *string      `json:"ref"`                                                                                                       // refinish: of the piece's next row; default: the next free one
	Finish         *string      `json:"finish"`                                                                                                    // refinish
	Color          *string      `json:"color"`                                                                                                     // refinish
	SecondFinish   *string      `json:"second_finish"`                                                                                             // refinish
	SecondColor    *string      `json:"second_color"`                                                                                              // refinish
	Topcoat        *string      `json:"topcoat"`                                                                                                   // refinish
	Sheen          *string      `json:"sheen"`                                                                                                     // refinish
	Hardware       *string      `json:"hardware"`                                                                                                  // refinish
	Condition      *web.Decimal `json:"condition" swaggertype:"string"`                                                                            // refinish
	Flaws          *string      `json:"flaws"`                                                                                                     // refinish
	Smell          *string      `json:"smell"`                                                                                                     // refinish
	Legs           *string      `json:"legs"`                                                                                                      // refinish: what was done to them
	Top            *string      `json:"top"`                                                                                                       // refinish: what was done to it
	ListedOn       *string      `json:"listed_on" format:"date"`                                                                                   // refinish: of the next listing
	OwnPrice       *web.Decimal `json:"own_price" swaggertype:"number"`                                                                            // listed; refinish, of the next listing; owner only
	Venues         *Listed      `json:"venues" swaggertype:"array,string"`                                                                         // listed; refinish, of the next listing
}

// Listed is a list of texts as its cell has it.
type Listed string

// ReadNode reads an array of texts, or their cell.
func (l *Listed) ReadNode(b *web.Binder, n web.Node, pointer string) {
	column, _ := service.ColumnByName("venues")
	text, inside, wrong := rowfile.CellOf(column, n)
	if wrong != "" {
		b.Refuse(pointer+inside, "%s", wrong)
		return
	}
	*l = Listed(text)
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
		case *Listed:
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
