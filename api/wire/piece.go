package wire

import (
	"askwright/api/web"
	"askwright/service"
	"encoding/json"
	"slices"
	"time"

	"github.com/google/uuid"
)

// Piece is the physical thing with its listings, the newest last.
type Piece struct {
	ID        uuid.UUID         `json:"id" format:"uuid"`
	Ref       string            `json:"ref" example:"B-17"`
	Member    string            `json:"member"`
	State     string            `json:"state" enums:"found,bought,on_bench,passed,open,sold,pulled,retired"`
	Category  string            `json:"category" example:"sideboard"`
	ClosedAs  string            `json:"closed_as,omitempty" csv:"plain"`           // why it left without a sale
	SellerAsk *web.Number       `json:"seller_ask,omitempty" swaggertype:"number"` // of a find: what its seller asks
	DaysOwned int               `json:"days_owned,omitempty"`                      // owner only: until it was sold, or today
	Lineage   []string          `json:"lineage" example:"B-17,B-17-2"`             // refs of its rows, the first one first
	Listings  []json.RawMessage `json:"listings" swaggertype:"array,object"`       // listing rows
}

// PiecePage is a page of pieces.
type PiecePage struct {
	Items []Piece `json:"items"`
	Next  *string `json:"next"` // the cursor of the next page; null: this was the last
}

// Piece shows a piece with its listings.
func (v Viewer) Piece(p *service.Piece) Piece {
	out := Piece{ID: p.ID, Ref: p.Ref, Member: p.Member, State: p.State(), Listings: v.Rows(p.Listings)}
	newest := p.Listings[len(p.Listings)-1]
	out.Category, out.ClosedAs = newest.Category, newest.ClosedAs
	if m := newest.SellerAsk; m != 0 {
		asked := web.Exact(m, v.Currency)
		out.SellerAsk = &asked
	}
	if v.isOwner(p.MemberID) {
		out.DaysOwned = p.DaysOwned(v.actor.Today)
	}
	for _, l := range p.Listings {
		out.Lineage = append(out.Lineage, l.Ref)
	}
	return out
}

// PieceColumns are the columns of pieces.
var PieceColumns = web.ColumnsOf[Piece](`
	ref id member state category closed_as seller_ask days_owned lineage`)

// PieceQuery is what a list of pieces can be asked for.
type PieceQuery struct {
	Ref    string     `form:"ref" example:"B-17"`                                // of the piece or of one of its rows
	Member string     `form:"member"`                                            // me, an id or a name
	State  stateWords `form:"state" swaggertype:"string" example:"found,passed"` // several with commas between
	web.PageQuery
}

// stateWords are states of pieces with commas between.
type stateWords []string

// FromQuery reads the states.
func (l *stateWords) FromQuery(p *web.Params, name string) {
	*l = p.List(name)
	for _, state := range *l {
		if !slices.Contains(service.PieceStates, state) {
			p.RefuseWord(name, state, service.PieceStates)
		}
	}
}

// CostLine is a dated line of a piece's ledger; only the piece's owner sees it.
type CostLine struct {
	ID        uuid.UUID   `json:"id" format:"uuid"`
	On        string      `json:"on" format:"date"`
	Kind      string      `json:"kind" enums:"purchase_cost,pickup_cost,materials_cost,other_cost,fees,delivery_charged,delivery_cost,hours,hours_other"`
	Amount    *web.Number `json:"amount,omitempty" swaggertype:"number"` // money; of a line that undoes another, negative
	Hours     *web.Number `json:"hours,omitempty" swaggertype:"number"`  // of the kinds hours and hours_other
	Step      string      `json:"step,omitempty" example:"strip"`        // of hours: what was done
	Note      string      `json:"note,omitempty"`                        // free text
	Ref       string      `json:"ref"`                                   // of the row whose total it is part of
	ListingID uuid.UUID   `json:"listing_id" format:"uuid"`              // of that row
	At        time.Time   `json:"at" format:"date-time"`                 // when it was recorded
	Voids     *uuid.UUID  `json:"voids,omitempty" format:"uuid"`         // the line that it undoes
	VoidedBy  *uuid.UUID  `json:"voided_by,omitempty" format:"uuid"`     // the line that undid it
}

// CostPage is a piece's ledger by its days.
type CostPage struct {
	Items []CostLine `json:"items"`
	Next  *string    `json:"next"` // null: the list is whole
}

// NewCost asks for a cost line: of a kind, or one that undoes another.
type NewCost struct {
	Kind   string      `json:"kind" enums:"purchase_cost,pickup_cost,materials_cost,other_cost,fees,delivery_charged,delivery_cost,hours,hours_other"`
	Amount web.Decimal `json:"amount" swaggertype:"number" example:"24.50"` // of money
	Hours  web.Decimal `json:"hours" swaggertype:"number" example:"2.5"`    // of the kinds hours and hours_other
	On     string      `json:"on" format:"date"`                            // default: today
	Step   string      `json:"step" example:"strip"`                        // of hours; open list: clean, repair, strip, sand, mask, prime, paint ...
	Note   string      `json:"note"`                                        // free text
	Voids  *uuid.UUID  `json:"voids" format:"uuid"`                         // the line to undo; beside it only a note
}

// Cost shows a cost line.
func (v Viewer) Cost(l service.CostLine) CostLine {
	out := CostLine{
		ID: l.ID, On: l.On.String(), Kind: string(l.Kind), Step: l.Step, Note: l.Note, Ref: l.Ref, ListingID: l.ListingID,
		At: l.At.UTC(), Voids: optionalID(l.Voids), VoidedBy: optionalID(l.VoidedBy),
	}
	amount := web.Number(service.FormatCost(l.Kind, l.Amount, v.Currency))
	if l.Kind.IsHours() {
		out.Hours = &amount
	} else {
		out.Amount = &amount
	}
	return out
}

func optionalID(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}

// CostColumns are the columns of cost lines.
var CostColumns = web.ColumnsOf[CostLine](`
	id on kind amount hours step note ref listing_id at voids voided_by`)
