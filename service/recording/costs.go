package recording

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/service"
)

// Costs lists the cost lines of one of the actor's own pieces.
func (s *Service) Costs(ctx context.Context, a *service.Actor, piece uuid.UUID) ([]service.CostLine, error) {
	if _, err := s.ownPiece(ctx, a, piece); err != nil {
		return nil, err
	}
	return s.store.CostLines(ctx, a.Tenant(), piece)
}

// ownPiece reads a piece of the actor's. Another member's is not found, also
// with an admin key: its ledger is not there for anybody else.
func (s *Service) ownPiece(ctx context.Context, a *service.Actor, id uuid.UUID) (*service.Piece, error) {
	piece, err := s.Piece(ctx, a, id)
	if err == nil && piece.MemberID != a.MemberID {
		return nil, service.Refuse(service.ErrNotFound, "there is no piece of yours with the id %s", id)
	}
	return piece, err
}

// AddCost adds a line to the ledger of one of the actor's own pieces: to its
// newest row, whose total then shows it.
func (s *Service) AddCost(ctx context.Context, a *service.Actor, piece uuid.UUID, n service.NewCost) (*service.CostLine, error) {
	if err := a.NeedWrite(); err != nil {
		return nil, err
	}
	owned, err := s.ownPiece(ctx, a, piece)
	if err != nil {
		return nil, err
	}
	newest := owned.Newest()
	line := &service.CostLine{ListingID: newest.ID, Ref: newest.Ref}
	isLast := false // of its kind, so that the total becomes unknown again
	if n.Voids != uuid.Nil {
		line, isLast, err = s.voidingLine(ctx, a, owned, n)
	} else {
		err = readCost(a, n, line)
	}
	if err != nil {
		return nil, err
	}
	line.ID, line.PieceID, line.At = service.NewID(), owned.ID, a.Now
	_, err = s.alter(ctx, a, line.ListingID, nil, func(_ context.Context, _ Writer, l *service.Listing) (service.Cells, service.ChangeOptions, *service.Event, error) {
		total := l.Ledger.Costs[line.Kind] + line.Amount
		if total < 0 {
			return nil, service.ChangeOptions{}, nil, service.Refuse(service.ErrConflict, "%s is less than that line by now: undo the later lines first", line.Kind)
		}
		event := &service.Event{Kind: service.EventLedger, On: line.On, Private: true, Details: map[string]string{service.EventCostLine: line.ID.String()}, Line: line}
		return nil, service.ChangeOptions{Apply: func(d *service.Draft) *service.InvalidError {
			if total == 0 && isLast {
				delete(d.Ledger.Costs, line.Kind)
				return nil
			}
			d.Ledger.Costs.Add(service.Costs{line.Kind: line.Amount})
			if err := line.Kind.CheckMost(total, service.FormatCost(line.Kind, total, a.Group.Currency)); err != nil {
				return service.Invalid(string(line.Kind), "%v", err)
			}
			return nil
		}}, event, nil
	})
	return line, err
}

// readCost reads what is to be added.
func readCost(a *service.Actor, n service.NewCost, line *service.CostLine) error {
	line.Kind = service.CostKind(service.Canonical(n.Kind))
	if !slices.Contains(service.CostKinds, line.Kind) {
		kinds := make([]string, len(service.CostKinds))
		for i, k := range service.CostKinds {
			kinds[i] = string(k)
		}
		return service.Invalid("kind", "%v", service.NotAllowed(n.Kind, kinds))
	}
	name, sent, other, stray := "amount", n.Amount, "hours", n.Hours
	if line.Kind.IsHours() {
		name, sent, other, stray = other, stray, name, sent
	}
	var err error
	switch line.Step = service.Canonical(n.Step); {
	case stray != "":
		return service.Invalid(other, "is not for %s: give %s", line.Kind, name)
	case strings.TrimSpace(sent) == "":
		return service.Invalid(name, "is missing for %s", line.Kind)
	case line.Step != "" && !line.Kind.IsHours():
		return service.Invalid("step", "is for hours only")
	}
	if line.Amount, err = a.Reader().Cost(strings.TrimSpace(sent), line.Kind); err != nil {
		return service.Invalid(name, "%v", err)
	}
	if err := service.CheckText(line.Step, 60); err != nil {
		return service.Invalid("step", "%v", err)
	}
	if line.Note, err = service.NoteOf(n.Note); err != nil {
		return err
	}
	line.On, err = eventDay(a, n.On)
	return err
}

// voidingLine takes a line back, and tells whether it was the last one of its
// kind that held.
func (s *Service) voidingLine(ctx context.Context, a *service.Actor, piece *service.Piece, n service.NewCost) (*service.CostLine, bool, error) {
	if cmp.Or(n.Kind, n.Amount, n.Hours, n.On, n.Step) != "" {
		return nil, false, service.Invalid("voids", "undoes a whole line: beside it there may only be a note")
	}
	lines, err := s.store.CostLines(ctx, a.Tenant(), piece.ID)
	if err != nil {
		return nil, false, fmt.Errorf("read the ledger of %s: %w", piece.Ref, err)
	}
	at := slices.IndexFunc(lines, func(l service.CostLine) bool { return l.ID == n.Voids })
	if at < 0 {
		return nil, false, service.Invalid("voids", "%s has no cost line with the id %s", piece.Ref, n.Voids)
	}
	line := lines[at]
	switch {
	case line.VoidedBy != uuid.Nil:
		return nil, false, service.Refuse(service.ErrConflict, "that line was undone already")
	case line.Voids != uuid.Nil:
		return nil, false, service.Refuse(service.ErrConflict, "that line undid another one; record the cost again instead")
	}
	holding := 0
	for _, l := range lines {
		if l.ListingID == line.ListingID && l.Kind == line.Kind && l.Voids == uuid.Nil && l.VoidedBy == uuid.Nil {
			holding++
		}
	}
	line.Voids, line.Amount = line.ID, -line.Amount
	line.Note, err = service.NoteOf(n.Note)
	return &line, holding == 1, err
}
