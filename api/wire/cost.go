package wire

import (
	"time"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service"
)

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
