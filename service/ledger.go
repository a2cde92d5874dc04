package service

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
)

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

// LedgerStore reads a member's own ledger.
type LedgerStore interface {
	// CostLines lists the lines of a piece by their days, the tenant's member's
	// own only.
	CostLines(ctx context.Context, t Tenant, piece uuid.UUID) ([]CostLine, error)
	// Books reads the member's own listings with what they cost, all of one
	// moment. Sums until a day leave out later lines.
	Books(ctx context.Context, t Tenant, until pricing.Date, withLines bool) (*Books, error)
}

// Costs lists the cost lines of one of the actor's own pieces.
func (s *Service) Costs(ctx context.Context, a *Actor, piece uuid.UUID) ([]CostLine, error) {
	if _, err := s.ownPiece(ctx, a, piece); err != nil {
		return nil, err
	}
	return s.store.CostLines(ctx, a.Tenant(), piece)
}

// ownPiece reads a piece of the actor's. Another member's is not found, also
// with an admin key: its ledger is not there for anybody else.
func (s *Service) ownPiece(ctx context.Context, a *Actor, id uuid.UUID) (*Piece, error) {
	piece, err := s.Piece(ctx, a, id)
	if err == nil && piece.MemberID != a.MemberID {
		return nil, refuse(ErrNotFound, "there is no piece of yours with the id %s", id)
	}
	return piece, err
}

// AddCost adds a line to the ledger of one of the actor's own pieces: to its
// newest row, whose total then shows it.
func (s *Service) AddCost(ctx context.Context, a *Actor, piece uuid.UUID, n NewCost) (*CostLine, error) {
	if err := a.needWrite(); err != nil {
		return nil, err
	}
	owned, err := s.ownPiece(ctx, a, piece)
	if err != nil {
		return nil, err
	}
	newest := owned.newest()
	line := &CostLine{ListingID: newest.ID, Ref: newest.Ref}
	isLast := false // of its kind, so that the total becomes unknown again
	if n.Voids != uuid.Nil {
		line, isLast, err = s.voidingLine(ctx, a, owned, n)
	} else {
		err = a.readCost(n, line)
	}
	if err != nil {
		return nil, err
	}
	line.ID, line.PieceID, line.At = newID(), owned.ID, a.Now
	_, err = s.alter(ctx, a, line.ListingID, nil, func(_ context.Context, _ Writer, l *Listing) (Cells, changeOptions, *Event, error) {
		total := l.Ledger.Costs[line.Kind] + line.Amount
		if total < 0 {
			return nil, changeOptions{}, nil, refuse(ErrConflict, "%s is less than that line by now: undo the later lines first", line.Kind)
		}
		event := &Event{Kind: EventLedger, On: line.On, Private: true, Details: map[string]string{eventCostLine: line.ID.String()}, Line: line}
		return nil, changeOptions{apply: func(d *draft) *InvalidError {
			if total == 0 && isLast {
				delete(d.Ledger.Costs, line.Kind)
				return nil
			}
			d.Ledger.Costs.add(Costs{line.Kind: line.Amount})
			if err := line.Kind.checkMost(total, FormatCost(line.Kind, total, a.Group.Currency)); err != nil {
				return Invalid(string(line.Kind), "%v", err)
			}
			return nil
		}}, event, nil
	})
	return line, err
}

// eventCostLine names the line in the details of its event.
const eventCostLine = "cost_line"

// readCost reads what is to be added.
func (a *Actor) readCost(n NewCost, line *CostLine) error {
	line.Kind = CostKind(canonicalWord(n.Kind))
	if !slices.Contains(CostKinds, line.Kind) {
		kinds := make([]string, len(CostKinds))
		for i, k := range CostKinds {
			kinds[i] = string(k)
		}
		return Invalid("kind", "%v", notAllowed(n.Kind, kinds))
	}
	name, sent, other, stray := "amount", n.Amount, "hours", n.Hours
	if line.Kind.IsHours() {
		name, sent, other, stray = other, stray, name, sent
	}
	var err error
	switch line.Step = canonicalWord(n.Step); {
	case stray != "":
		return Invalid(other, "is not for %s: give %s", line.Kind, name)
	case strings.TrimSpace(sent) == "":
		return Invalid(name, "is missing for %s", line.Kind)
	case line.Step != "" && !line.Kind.IsHours():
		return Invalid("step", "is for hours only")
	}
	if line.Amount, err = a.Reader().cost(strings.TrimSpace(sent), line.Kind); err != nil {
		return Invalid(name, "%v", err)
	}
	if err := checkText(line.Step, 60); err != nil {
		return Invalid("step", "%v", err)
	}
	if line.Note, err = noteOf(n.Note); err != nil {
		return err
	}
	line.On, err = a.eventDay(n.On)
	return err
}

func noteOf(text string) (string, error) {
	text = strings.TrimSpace(text)
	if err := checkText(text, 1000); err != nil {
		return "", Invalid("note", "%v", err)
	}
	return text, nil
}

// voidingLine takes a line back, and tells whether it was the last one of its
// kind that held.
func (s *Service) voidingLine(ctx context.Context, a *Actor, piece *Piece, n NewCost) (*CostLine, bool, error) {
	if cmp.Or(n.Kind, n.Amount, n.Hours, n.On, n.Step) != "" {
		return nil, false, Invalid("voids", "undoes a whole line: beside it there may only be a note")
	}
	lines, err := s.store.CostLines(ctx, a.Tenant(), piece.ID)
	if err != nil {
		return nil, false, fmt.Errorf("read the ledger of %s: %w", piece.Ref, err)
	}
	at := slices.IndexFunc(lines, func(l CostLine) bool { return l.ID == n.Voids })
	if at < 0 {
		return nil, false, Invalid("voids", "%s has no cost line with the id %s", piece.Ref, n.Voids)
	}
	line := lines[at]
	switch {
	case line.VoidedBy != uuid.Nil:
		return nil, false, refuse(ErrConflict, "that line was undone already")
	case line.Voids != uuid.Nil:
		return nil, false, refuse(ErrConflict, "that line undid another one; record the cost again instead")
	}
	holding := 0
	for _, l := range lines {
		if l.ListingID == line.ListingID && l.Kind == line.Kind && l.Voids == uuid.Nil && l.VoidedBy == uuid.Nil {
			holding++
		}
	}
	line.Voids, line.Amount = line.ID, -line.Amount
	line.Note, err = noteOf(n.Note)
	return &line, holding == 1, err
}
