package recording

import (
	"context"
	"fmt"
	"maps"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// Refinish gives a piece another look: its open listing ends as pulled, and
// its next row begins, back at work or with listed_on and ask on offer at once.
// Made again with the same fields it changes nothing; made tells which it was.
func (s *Service) Refinish(ctx context.Context, a *service.Actor, piece uuid.UUID, n service.NewEvent, wantRevision *int64) (made bool, err error) {
	n.Kind = service.EventRefinish
	if err := n.Check(); err != nil {
		return false, err
	}
	_, made, err = s.refinish(ctx, a, n, func(ctx context.Context, w Writer) (*service.Listing, error) {
		rows, err := w.PieceListings(ctx, piece)
		if err != nil {
			return nil, err
		}
		if len(rows) == 0 {
			return nil, service.NoPiece(piece)
		}
		return listingToChange(ctx, a, w, service.PieceOf(rows).Newest().ID, wantRevision)
	})
	return made, err
}

// refinish changes the look of the piece of a row, which must be its newest.
// What the piece did so far stays its history.
func (s *Service) refinish(ctx context.Context, a *service.Actor, n service.NewEvent, find func(context.Context, Writer) (*service.Listing, error)) (ended *service.Change, made bool, err error) {
	if err := a.NeedWrite(); err != nil {
		return nil, false, err
	}
	on, err := eventDay(a, n.On)
	if err != nil {
		return nil, false, err
	}
	err = s.write(ctx, a, func(w Writer) error {
		made = false // the transaction may be tried again
		row, err := find(ctx, w)
		if err != nil {
			return err
		}
		rows, err := w.PieceListings(ctx, row.PieceID)
		if err != nil {
			return err
		}
		piece := service.PieceOf(rows)
		if ended, err = alreadyRefinished(ctx, &n, w, piece, row); ended != nil || err != nil {
			return err
		}
		if newest := piece.Newest(); newest.ID != row.ID {
			return service.Refuse(service.ErrConflict, "the piece %s went on as %s; refinish that one", row.PieceRef, newest.Ref)
		}
		if ended, err = endForRefinish(ctx, a, w, row, n, on); err != nil {
			return err
		}
		next, err := nextRow(ctx, a, w, piece, n.Fields)
		if err != nil {
			return err
		}
		if next.New.IsOffered() && next.New.ListedOn < on {
			return service.Invalid("listed_on", "%s is before the refinish of %s", next.New.ListedOn, on)
		}
		made = true
		return newImporter(a, w, a.Reader()).save(ctx, []*service.Change{ended, next})
	})
	return ended, made, err
}

// alreadyRefinished finds the row that this very refinish ended before: one with the
// same fields, of which the piece's newest row came. row is either of the two.
func alreadyRefinished(ctx context.Context, n *service.NewEvent, w Writer, piece *service.Piece, row *service.Listing) (*service.Change, error) {
	if len(piece.Listings) < 2 {
		return nil, nil
	}
	before := piece.Listings[len(piece.Listings)-2]
	if row.ID != before.ID && row.ID != piece.Newest().ID {
		return nil, nil
	}
	events, err := w.Events(ctx, before.ID)
	if err != nil {
		return nil, err
	}
	for _, e := range events {
		sameDay := n.On == "" || n.On == e.On.String()
		if e.Kind == service.EventRefinish && e.VoidedBy == uuid.Nil && sameDay && maps.Equal(e.Details, eventDetails(n)) {
			return &service.Change{Old: before, New: before}, nil
		}
	}
	return nil, nil
}

// eventDetails are the fields as the event keeps them for all to see.
func eventDetails(n *service.NewEvent) map[string]string {
	details := make(map[string]string)
	for name, text := range n.Fields {
		if c, ok := service.ColumnByName(name); !ok || !c.OwnerOnly {
			details[name] = strings.TrimSpace(text)
		}
	}
	return details
}

// isNewest refuses a row after which the piece went on.
func isNewest(ctx context.Context, w Writer, l *service.Listing) error {
	rows, err := w.PieceListings(ctx, l.PieceID)
	if err != nil {
		return err
	}
	if newest := service.PieceOf(rows).Newest(); newest.ID != l.ID {
		return service.Refuse(service.ErrConflict, "the piece %s went on as %s; if that is wrong, delete that row first", l.PieceRef, newest.Ref)
	}
	return nil
}

// endForRefinish ends the listing, where it has not ended yet, with the event.
func endForRefinish(ctx context.Context, a *service.Actor, w Writer, row *service.Listing, n service.NewEvent, on pricing.Date) (*service.Change, error) {
	switch {
	case row.IsObserved():
		return nil, service.Refuse(service.ErrConflict, "%s is someone else's; only a piece of your own can be refinished", row.Ref)
	case row.Outcome == service.OutcomeSold:
		return nil, service.Refuse(service.ErrConflict, "%s was sold on %s for %s; a sold piece cannot be refinished (if the sale fell through, reopen it first)", row.Ref, row.EndedOn, row.SalePrice.Format(a.Group.Currency))
	case row.ClosedAs != "":
		return nil, service.Refuse(service.ErrConflict, "%s %s; reopen it first", row.Ref, row.HowItLeft())
	case row.Stage == service.StageFound:
		return nil, service.Refuse(service.ErrConflict, "%s is only found, not bought yet", row.Ref)
	case row.Stage != "":
		return nil, service.Refuse(service.ErrConflict, "%s is in the yard (%s), not on offer: change what it becomes in its own row, and list it", row.Ref, row.Stage)
	case on < row.EndedOn:
		return nil, service.Invalid("on", "%s is before %s ended on %s", on, row.Ref, row.EndedOn)
	case on < row.ListedOn:
		return nil, service.Invalid("on", "%s is before %s was listed on %s", on, row.Ref, row.ListedOn)
	}
	if err := changesLook(&n, row, a.Group.Currency); err != nil {
		return nil, err
	}
	if err := a.MayWriteColumns(row, n.Fields); err != nil {
		return nil, err
	}
	var end service.ChangeOptions
	if row.Outcome == service.OutcomeOpen {
		end = service.Ending(service.OutcomePulled, on)
	}
	ended, err := changeRow(ctx, a, w, row, nil, end)
	if err != nil {
		return nil, err
	}
	ended.Tell(&service.Event{Kind: service.EventRefinish, On: on, Details: eventDetails(&n)})
	return ended, nil
}

// changesLook refuses a refinish that says nothing new.
func changesLook(n *service.NewEvent, row *service.Listing, currency service.Currency) error {
	for _, name := range service.LookFields {
		text, sent := n.Fields[name]
		text = strings.TrimSpace(text)
		c, isColumn := service.ColumnByName(name)
		switch {
		case !sent:
		case isColumn && service.Canonical(text) != service.Canonical(c.Value(row, currency)), !isColumn && text != "":
			return nil
		}
		if err := service.CheckText(text, 200); !isColumn && err != nil {
			return service.Invalid(name, "%v", err)
		}
	}
	return service.Invalid("finish", "says nothing that changes: give the new finish, color, hardware, legs or top; to offer the piece as it is, end the listing and list it anew")
}

// Relist offers a piece that was pulled as it is, in its next listing.
func (s *Service) Relist(ctx context.Context, a *service.Actor, listing uuid.UUID, fields map[string]string) (next *service.Change, err error) {
	if err := a.NeedWrite(); err != nil {
		return nil, err
	}
	err = s.write(ctx, a, func(w Writer) error {
		row, err := listingToChange(ctx, a, w, listing, nil)
		if err != nil {
			return err
		}
		if row.Outcome != service.OutcomePulled || row.ClosedAs != "" {
			return service.Refuse(service.ErrConflict, "%s was not pulled; only a pulled listing is relisted", row.Ref)
		}
		if err := isNewest(ctx, w, row); err != nil {
			return err
		}
		rows, err := w.PieceListings(ctx, row.PieceID)
		if err != nil {
			return err
		}
		if next, err = nextRow(ctx, a, w, service.PieceOf(rows), fields); err != nil {
			return err
		}
		if next.New.ListedOn < row.EndedOn {
			return service.Invalid("listed_on", "is missing, or before %s was pulled on %s", row.Ref, row.EndedOn)
		}
		return newImporter(a, w, a.Reader()).save(ctx, []*service.Change{next})
	})
	return next, err
}

// nextRow is the piece's next row: the description of its newest with what
// changed, under the ref that was asked for or the next free one.
func nextRow(ctx context.Context, a *service.Actor, w Writer, piece *service.Piece, changed map[string]string) (*service.Change, error) {
	l := piece.Newest()
	cells := service.Cells{}
	for name, text := range changed {
		if _, isColumn := service.ColumnByName(name); isColumn {
			cells[name] = text
		}
	}
	ref, err := freeRef(ctx, w, piece, strings.TrimSpace(cells["ref"]))
	if err != nil {
		return nil, err
	}
	cells["ref"] = ref
	change, wrong := a.Reader().Change(nil, cells, service.Applying(func(d *service.Draft) {
		d.PieceRef, d.Stage, d.Venue, d.Area = l.PieceRef, service.StageOnBench, l.Venue, l.Area
		for i := range service.DescriptionColumns {
			service.DescriptionColumns[i].Copy(&d.Listing, l)
		}
	}))
	if wrong != nil {
		return nil, service.WithoutRows(wrong)
	}
	next := change.New
	next.ID, next.PieceID, next.MemberID, next.Member = service.NewID(), l.PieceID, l.MemberID, l.Member
	return change, nil
}

// freeRef checks that the wanted ref is free; without one it is the piece's
// with the number of the row, B-17-2 after B-17.
func freeRef(ctx context.Context, w Writer, piece *service.Piece, wanted string) (string, error) {
	candidates := []string{wanted}
	if wanted == "" {
		candidates = nil
		for n := len(piece.Listings) + 1; len(candidates) < 20; n++ {
			candidates = append(candidates, fmt.Sprintf("%s-%d", piece.Ref, n))
		}
	}
	taken, err := w.ListingsByRef(ctx, piece.MemberID, candidates)
	if err != nil {
		return "", err
	}
	for _, ref := range candidates {
		if taken[ref] == nil {
			return ref, nil
		}
	}
	return "", service.Refuse(service.ErrConflict, "there is already a row with the ref %s; give another one", service.Clip(candidates[0]))
}
