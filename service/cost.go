package service

import (
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
)

// IsHours reports whether amounts of the kind are hours rather than money.
func (k CostKind) IsHours() bool { return k == CostHours || k == CostHoursOther }

// FormatCost writes an amount of the kind.
func FormatCost(kind CostKind, amount Amount, c Currency) string {
	if kind.IsHours() {
		return Hours(amount).Format()
	}
	return Money(amount).Format(c)
}

// CostLine is a dated line of a piece's ledger. Lines are only ever added: a
// row that shows another total adds the difference, and a mistaken line is
// undone by one that takes its amount back on the same day.
type CostLine struct {
	ID        uuid.UUID
	PieceID   uuid.UUID
	ListingID uuid.UUID // the row whose total it is part of
	Ref       string    // of that row
	Kind      CostKind
	Amount    Amount
	On        pricing.Date
	Step      string // of hours: what was done
	Note      string
	At        time.Time // when it was recorded
	Voids     uuid.UUID // the line that it undoes
	VoidedBy  uuid.UUID
}

// FormatTenths writes tenths: a percentage with one digit.
func FormatTenths(n int64) string { return formatDecimal(n, 1) }

// NewCost asks for a cost line: of a kind, or one that undoes another.
type NewCost struct {
	Kind   string
	Amount string // of a kind of money
	Hours  string // of a kind of hours
	On     string // empty: today
	Step   string // of hours
	Note   string
	Voids  uuid.UUID
}

// EventCostLine names the line in the details of its event.
const EventCostLine = "cost_line"

// NoteOf reads a note of the owner's.
func NoteOf(text string) (string, error) {
	text = strings.TrimSpace(text)
	if err := CheckText(text, 1000); err != nil {
		return "", Invalid("note", "%v", err)
	}
	return text, nil
}
