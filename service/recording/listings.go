package recording

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/service"
)

// Listing reads one row; of another member's without the owner-only columns.
func (s *Service) Listing(ctx context.Context, a *service.Actor, id uuid.UUID) (*service.Listing, error) {
	l, err := s.store.Listing(ctx, a.Tenant(), id)
	return l, service.NoListing(err, id)
}

// Listings reads a page of rows.
func (s *Service) Listings(ctx context.Context, a *service.Actor, q service.Query) (rows []*service.Listing, more bool, err error) {
	return s.store.Listings(ctx, a.Tenant(), inStoreUnits(a, q))
}

// EachListing streams rows for an export.
func (s *Service) EachListing(ctx context.Context, a *service.Actor, q service.Query, yield func(*service.Listing) error) error {
	return s.store.EachListing(ctx, a.Tenant(), inStoreUnits(a, q), yield)
}

// inStoreUnits turns the bounds of a query into the units of the store: minor units
// of money, millimetres.
func inStoreUnits(a *service.Actor, q service.Query) service.Query {
	scale := func(bounds map[string]float64) map[string]float64 {
		scaled := maps.Clone(bounds)
		for column := range scaled {
			switch column {
			case "ask", "sale_price", "seller_ask":
				scaled[column] *= math.Pow10(a.Group.Currency.Digits)
			case "width", "depth", "height":
				scaled[column] = service.Centimetres(scaled[column], a.Group.Unit) * 10
			}
		}
		return scaled
	}
	q.Min, q.Max = scale(q.Min), scale(q.Max)
	return q
}

// Events tells a listing's story.
func (s *Service) Events(ctx context.Context, a *service.Actor, listing uuid.UUID) ([]service.Event, error) {
	if _, err := s.Listing(ctx, a, listing); err != nil {
		return nil, err
	}
	return s.store.Events(ctx, a.Tenant(), listing)
}

// Record keeps one row: a new one, or another state of the row with that ref.
func (s *Service) Record(ctx context.Context, a *service.Actor, cells service.Cells) (*service.Change, error) {
	return s.record(ctx, a, cells, false)
}

// RecordNew keeps a row under a new ref; one that is on file is an ErrConflict.
func (s *Service) RecordNew(ctx context.Context, a *service.Actor, cells service.Cells) (*service.Change, error) {
	return s.record(ctx, a, cells, true)
}

// record takes one row; one that must be new and is on file is an ErrConflict.
func (s *Service) record(ctx context.Context, a *service.Actor, cells service.Cells, mustBeNew bool) (change *service.Change, err error) {
	if err := a.NeedWrite(); err != nil {
		return nil, err
	}
	err = s.write(ctx, a, func(w Writer) error {
		b := newImporter(a, w, a.Reader())
		outcome, err := b.take(ctx, []numberedRow{{Row: 1, Cells: cells}})
		if err != nil {
			return err
		}
		if len(outcome.errors) > 0 {
			return service.WithoutRows(outcome.errors)
		}
		change = outcome.changes[0]
		if mustBeNew && change.Old != nil {
			return service.Refuse(service.ErrConflict, "%s is on file already; choose another name", change.Old.Ref)
		}
		return b.save(ctx, outcome.changes)
	})
	return change, err
}

// Patch changes some columns of a row. A blank cell of a column that blanks
// leave alone is refused rather than ignored. With wantRevision the row must
// still be at it.
func (s *Service) Patch(ctx context.Context, a *service.Actor, id uuid.UUID, cells service.Cells, wantRevision *int64) (*service.Change, error) {
	var wrong []service.FieldError
	for name, cell := range cells {
		if c, ok := service.ColumnByName(name); ok && c.Keeps && strings.TrimSpace(cell) == "" {
			wrong = append(wrong, service.FieldError{Column: name, Reason: "cannot be cleared; undo the event that set it, or leave it out"})
		}
	}
	if wrong != nil {
		slices.SortFunc(wrong, func(x, y service.FieldError) int { return strings.Compare(x.Column, y.Column) })
		return nil, &service.InvalidError{Fields: wrong}
	}
	return s.alter(ctx, a, id, wantRevision, func(context.Context, Writer, *service.Listing) (service.Cells, service.ChangeOptions, *service.Event, error) {
		return cells, service.ChangeOptions{}, nil, nil
	})
}

// alteration says how to change a listing that was found: the cells to read
// onto it, and the event that asked for it, where there was one.
type alteration func(context.Context, Writer, *service.Listing) (service.Cells, service.ChangeOptions, *service.Event, error)

// alter changes one listing on file.
func (s *Service) alter(ctx context.Context, a *service.Actor, id uuid.UUID, wantRevision *int64, how alteration) (change *service.Change, err error) {
	if err := a.NeedWrite(); err != nil {
		return nil, err
	}
	err = s.write(ctx, a, func(w Writer) error {
		old, err := listingToChange(ctx, a, w, id, wantRevision)
		if err != nil {
			return err
		}
		cells, options, event, err := how(ctx, w, old)
		if err != nil {
			return err
		}
		change, err = changeRow(ctx, a, w, old, cells, options)
		if err != nil {
			return err
		}
		if event != nil {
			change.Tell(event)
		}
		return newImporter(a, w, a.Reader()).save(ctx, []*service.Change{change})
	})
	return change, err
}

// changeRow reads cells onto a listing and checks it against its siblings.
func changeRow(ctx context.Context, a *service.Actor, w Writer, old *service.Listing, cells service.Cells, o service.ChangeOptions) (*service.Change, error) {
	if err := a.MayWriteColumns(old, cells); err != nil {
		return nil, err
	}
	change, wrong := a.Reader().Change(old, cells, o)
	if wrong != nil {
		return nil, service.WithoutRows(wrong)
	}
	if change.New.Outcome == service.OutcomeOpen && !change.New.IsObserved() && old.Outcome != service.OutcomeOpen {
		open, err := w.OpenListings(ctx, []uuid.UUID{old.PieceID})
		if err != nil {
			return nil, err
		}
		if other := open[old.PieceID]; other != nil && other.ID != old.ID {
			return nil, service.Refuse(service.ErrConflict, "the piece %s is still offered as %s; end that listing first", old.PieceRef, other.Ref)
		}
	}
	if change.New.Ref != old.Ref {
		taken, err := w.ListingsByRef(ctx, old.MemberID, []string{change.New.Ref})
		if err != nil {
			return nil, err
		}
		if len(taken) > 0 {
			return nil, service.Refuse(service.ErrConflict, "there is already a row with the ref %s", change.New.Ref)
		}
	}
	return change, nil
}

// Delete removes a mistaken row. Only its owner may: with it goes a ledger that
// nobody else can read, and so no audit made by another could keep.
func (s *Service) Delete(ctx context.Context, a *service.Actor, id uuid.UUID, wantRevision *int64) error {
	if err := a.NeedWrite(); err != nil {
		return err
	}
	return s.write(ctx, a, func(w Writer) error {
		old, err := listingToChange(ctx, a, w, id, wantRevision)
		if err != nil {
			return err
		}
		if old.MemberID != a.MemberID {
			return service.Refuse(service.ErrForbidden, "%s belongs to %s, who alone can delete it; end the listing instead", old.Ref, old.Member)
		}
		return w.Delete(ctx, old)
	})
}

func listingToChange(ctx context.Context, a *service.Actor, w Writer, id uuid.UUID, wantRevision *int64) (*service.Listing, error) {
	old, err := w.Listing(ctx, id)
	if err != nil {
		return nil, service.NoListing(err, id)
	}
	if old.MemberID != a.MemberID && !a.Can(service.ScopeAdmin) {
		return nil, service.Refuse(service.ErrForbidden, "%s belongs to %s; only %s or an admin key can change it", old.Ref, old.Member, old.Member)
	}
	if wantRevision != nil && *wantRevision != old.Revision {
		return nil, service.Refuse(service.ErrStale, "%s was changed in the meantime: it is at revision %d", old.Ref, old.Revision)
	}
	return old, nil
}

// errUnwritten rolls a transaction back although nothing failed: a dry run, or
// nothing to write.
var errUnwritten = errors.New("nothing to keep")

// wrapUnwritten turns errUnwritten into success.
func wrapUnwritten(err error, doing string) error {
	if err == nil || errors.Is(err, errUnwritten) {
		return nil
	}
	var refused *service.Error
	var invalid *service.InvalidError
	if errors.As(err, &refused) || errors.As(err, &invalid) {
		return err
	}
	return fmt.Errorf("%s: %w", doing, err)
}
