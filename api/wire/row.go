// Package wire is the shape of requests and answers: the structs that JSON and
// CSV are made of, and how they are filled from what the service says.
package wire

import (
	"bytes"
	"encoding/json"
	"slices"

	"github.com/google/uuid"

	"askwright/api/rowfile"
	"askwright/api/web"
	"askwright/pricing"
	"askwright/service"
)

// ListingRow describes a row for readers of this file and of the API
// description. Rows are written from service.Columns; a test compares the two.
// What is unknown is null; what only the owner may see is left out for others.
type ListingRow struct {
	Ref             string    `json:"ref,omitempty" example:"B-17"`                                   // the member's own name of the row
	PieceRef        string    `json:"piece_ref,omitempty" example:"B-17"`                             // shared by the listings of one piece
	Source          string    `json:"source,omitempty" enums:"own,observed"`                          // whose listing it is
	LastSeenOn      *string   `json:"last_seen_on,omitempty" format:"date"`                           // of an observed listing
	Stage           *string   `json:"stage,omitempty" enums:"found,bought,on_bench"`                  // of a piece not yet offered
	Category        string    `json:"category,omitempty" example:"sideboard"`                         // what it is
	SetSize         *int      `json:"set_size,omitempty"`                                             // how many like items are sold together
	SetItems        []SetItem `json:"set_items,omitempty"`                                            // of a mixed set, the main item first
	Width           *float64  `json:"width,omitempty" example:"60"`                                   // of the main item, in unit
	Depth           *float64  `json:"depth,omitempty" example:"18"`                                   // in unit
	Height          *float64  `json:"height,omitempty" example:"34"`                                  // in unit
	Unit            string    `json:"unit,omitempty" enums:"in,cm"`                                   // of the lengths
	Material        *string   `json:"material,omitempty" example:"solid_wood"`                        // construction
	Wood            *string   `json:"wood,omitempty" example:"oak"`                                   // species
	Style           *string   `json:"style,omitempty"`                                                // free text
	YearMade        *int      `json:"year_made,omitempty" example:"1965"`                             // approximate
	Condition       *string   `json:"condition,omitempty" enums:"poor,fair,good,very_good,excellent"` // as offered; 1 to 5 is taken, too
	Finish          *string   `json:"finish,omitempty" example:"painted"`                             // what the surface is now
	Color           *string   `json:"color,omitempty" example:"navy"`                                 // of the surface
	Topcoat         *string   `json:"topcoat,omitempty"`                                              // over the finish
	Sheen           *string   `json:"sheen,omitempty"`                                                // of the surface
	Hardware        *string   `json:"hardware,omitempty"`                                             // pulls and hinges
	SecondFinish    *string   `json:"second_finish,omitempty"`                                        // of two_tone
	SecondColor     *string   `json:"second_color,omitempty"`                                         // of two_tone
	Drawers         *int      `json:"drawers,omitempty"`                                              // count
	Doors           *int      `json:"doors,omitempty"`                                                // count
	Maker           *string   `json:"maker,omitempty"`                                                // free text
	Flaws           *string   `json:"flaws,omitempty"`                                                // free text
	Smell           *string   `json:"smell,omitempty"`                                                // free text
	Venues          []string  `json:"venues,omitempty"`                                               // where it is offered
	SoldVenue       *string   `json:"sold_venue,omitempty"`                                           // where it sold
	Area            *string   `json:"area,omitempty"`                                                 // the local market
	ListedOn        *string   `json:"listed_on,omitempty" format:"date"`                              // comes together with ask
	Ask             *float64  `json:"ask,omitempty" example:"480"`                                    // the present ask; the last one when ended
	OwnPrice        *float64  `json:"own_price,omitempty"`                                            // owner only: the seller's own idea of the ask
	AskHistory      []AskFrom `json:"ask_history,omitempty"`                                          // where there were several
	Pauses          []Pause   `json:"pauses,omitempty"`
	PausedOn        *string   `json:"paused_on,omitempty" format:"date"`                                                      // input only: begins a pause
	ResumedOn       *string   `json:"resumed_on,omitempty" format:"date"`                                                     // input only: ends it
	Views           *int      `json:"views,omitempty"`                                                                        // so far
	Saves           *int      `json:"saves,omitempty"`                                                                        // so far
	Messages        *int      `json:"messages,omitempty"`                                                                     // so far
	Showings        *int      `json:"showings,omitempty"`                                                                     // so far
	Outcome         *string   `json:"outcome,omitempty" enums:"open,sold,pulled"`                                             // of a listing
	EndedOn         *string   `json:"ended_on,omitempty" format:"date"`                                                       // when sold or pulled
	SalePrice       *float64  `json:"sale_price,omitempty" example:"445"`                                                     // paid for the piece, without delivery
	SellerAsk       *float64  `json:"seller_ask,omitempty"`                                                                   // of a find: what its seller asks, for the group to know
	ClosedAs        *string   `json:"closed_as,omitempty" enums:"price,condition,space,gone,given_away,kept,broken_up,other"` // why it left without a sale
	ClosedOn        *string   `json:"closed_on,omitempty" format:"date"`                                                      // comes with closed_as; default: ended_on or today
	ClosedNote      *string   `json:"closed_note,omitempty"`                                                                  // free text
	PlannedFinish   *string   `json:"planned_finish,omitempty" example:"clear"`                                               // the look that it is to be given
	PlannedColor    *string   `json:"planned_color,omitempty"`                                                                // of that
	BoughtOn        *string   `json:"bought_on,omitempty" format:"date"`                                                      // owner only
	BoughtFrom      *string   `json:"bought_from,omitempty"`                                                                  // owner only
	ConditionFound  *string   `json:"condition_found,omitempty"`                                                              // owner only
	PurchaseCost    *float64  `json:"purchase_cost,omitempty"`                                                                // owner only
	PickupCost      *float64  `json:"pickup_cost,omitempty"`                                                                  // owner only
	MaterialsCost   *float64  `json:"materials_cost,omitempty"`                                                               // owner only
	OtherCost       *float64  `json:"other_cost,omitempty"`                                                                   // owner only
	Fees            *float64  `json:"fees,omitempty"`                                                                         // owner only
	DeliveryCharged *float64  `json:"delivery_charged,omitempty"`                                                             // owner only
	DeliveryCost    *float64  `json:"delivery_cost,omitempty"`                                                                // owner only
	Hours           *float64  `json:"hours,omitempty"`                                                                        // owner only: of the owner's work
	HoursOther      *float64  `json:"hours_other,omitempty"`                                                                  // owner only: fetching, photos, messages, delivery
	Notes           *string   `json:"notes,omitempty"`                                                                        // owner only
	Member          string    `json:"member,omitempty"`                                                                       // told: whose row it is
	ID              string    `json:"id,omitempty" format:"uuid"`                                                             // told
	Revision        int64     `json:"revision,omitempty"`                                                                     // told: raised by every change
}

// SetItem is a part of a mixed set.
type SetItem struct {
	Category string `json:"category" example:"dining_chair"`
	Count    int    `json:"count" example:"6"`
}

// AskFrom is an ask from a day on.
type AskFrom struct {
	On  string  `json:"on" format:"date"`
	Ask float64 `json:"ask" example:"480"`
}

// Pause is a time in which nobody could have the piece.
type Pause struct {
	PausedOn  string  `json:"paused_on" format:"date"`
	ResumedOn *string `json:"resumed_on" format:"date"` // the day it was back; null: it goes on
}

// outColumns are the columns that answers may hold.
var outColumns = slices.DeleteFunc(slices.Clone(service.Columns), func(c service.Column) bool { return c.InputOnly })

// Viewer shows rows to an actor.
type Viewer struct {
	Currency service.Currency
	actor    *service.Actor
	Fields   []string // empty: all
}

// ViewerOf shows things to an actor.
func ViewerOf(a *service.Actor) Viewer { return Viewer{Currency: a.Group.Currency, actor: a} }

// isOwner reports whether the actor may see what only that member may.
func (v Viewer) isOwner(member uuid.UUID) bool {
	return member == v.actor.MemberID && v.actor.Scope != service.ScopeFeed
}

// Value is a cell of a row; owner-only ones are blank for others, and a feed
// key sees none.
func (v Viewer) Value(c *service.Column, l *service.Listing) string {
	if c.OwnerOnly && !v.isOwner(l.MemberID) {
		return ""
	}
	return c.Value(l, v.Currency)
}

// Row writes a listing as a JSON object in the order of the columns.
func (v Viewer) Row(l *service.Listing) json.RawMessage {
	var out bytes.Buffer
	out.WriteByte('{')
	for i := range outColumns {
		c := &outColumns[i]
		if (c.OwnerOnly && !v.isOwner(l.MemberID)) || (len(v.Fields) > 0 && !slices.Contains(v.Fields, c.Name)) {
			continue
		}
		text := v.Value(c, l)
		if out.Len() > 1 {
			out.WriteByte(',')
		}
		out.WriteString(`"` + c.Name + `":`)
		switch {
		case c.Entries != nil:
			out.Write(rowfile.EntriesJSON(c.Entries, text))
		case text == "":
			out.WriteString("null")
		case c.Kind.IsNumeric():
			out.WriteString(text)
		default:
			out.Write(rowfile.Quoted(text))
		}
	}
	out.WriteByte('}')
	return out.Bytes()
}

// Rows writes listings as Row does.
func (v Viewer) Rows(listings []*service.Listing) []json.RawMessage {
	out := make([]json.RawMessage, len(listings))
	for i, l := range listings {
		out[i] = v.Row(l)
	}
	return out
}

// Table describes rows as a table; for a feed key without the owner-only
// columns.
func (v Viewer) Table() []web.TableColumn[*service.Listing] {
	columns := make([]web.TableColumn[*service.Listing], 0, len(outColumns))
	for i := range outColumns {
		c := &outColumns[i]
		if c.OwnerOnly && v.actor.Scope == service.ScopeFeed {
			continue
		}
		kind := web.TextCell
		switch {
		case c.Name == "ask_history":
			kind = web.EmbeddedCell
		case c.Kind == service.KindMoney:
			kind = web.MoneyCell
		case c.Kind.IsNumeric():
			kind = web.NumberCell
		case c.Kind == service.KindDate:
			kind = web.PlainCell
		}
		columns = append(columns, web.TableColumn[*service.Listing]{Name: c.Name, Kind: kind, Value: func(l *service.Listing) string { return v.Value(c, l) }})
	}
	return columns
}

// optionalDay is nil for no date.
func optionalDay(d pricing.Date) *string {
	if d.IsZero() {
		return nil
	}
	text := d.String()
	return &text
}
