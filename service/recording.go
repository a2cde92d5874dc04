package service

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
)

// ListingStore keeps listings, pieces and events.
type ListingStore interface {
	Listing(ctx context.Context, t Tenant, id uuid.UUID) (*Listing, error)
	// Listings returns at most q.Limit rows, and whether there are more.
	Listings(ctx context.Context, t Tenant, q Query) ([]*Listing, bool, error)
	// EachListing streams all rows of the query, ignoring its limit.
	EachListing(ctx context.Context, t Tenant, q Query, yield func(*Listing) error) error
	// Pieces returns at most q.Limit pieces in the order of their refs, each
	// with its listings, and whether there are more.
	Pieces(ctx context.Context, t Tenant, q PieceQuery) ([]*Piece, bool, error)
	// Events tells a listing's facts in the order they were recorded.
	Events(ctx context.Context, t Tenant, listing uuid.UUID) ([]Event, error)
	// HoldEvents tells the holds of all listings and their releases up to a day,
	// undone ones left out, and which of these listings are sold.
	HoldEvents(ctx context.Context, t Tenant, until pricing.Date) (events []Event, sold []uuid.UUID, err error)
	// Write runs do in one transaction that holds the group's turn to write:
	// writes of one group follow one another. do may return a value that
	// wraps errUnwritten to roll back without that being a failure.
	Write(ctx context.Context, t Tenant, do func(Writer) error) error
}

// Writer is one transaction of one group.
type Writer interface {
	// ListingsByRef finds a member's rows; refs that are not on file are left out.
	ListingsByRef(ctx context.Context, member uuid.UUID, refs []string) (map[string]*Listing, error)
	Listing(ctx context.Context, id uuid.UUID) (*Listing, error)
	// PieceIDs finds pieces by the member's names for them.
	PieceIDs(ctx context.Context, member uuid.UUID, refs []string) (map[string]uuid.UUID, error)
	// OpenListings finds the open own listing of each piece that has one.
	OpenListings(ctx context.Context, pieces []uuid.UUID) (map[uuid.UUID]*Listing, error)
	// PieceListings reads all rows of a piece; none: there is no such piece.
	PieceListings(ctx context.Context, piece uuid.UUID) ([]*Listing, error)
	Event(ctx context.Context, id uuid.UUID) (*Event, error)
	// Events tells a listing's facts in the order they were recorded.
	Events(ctx context.Context, listing uuid.UUID) ([]Event, error)
	// EstimatesSeen returns, for each of the rows that a suggestion was kept
	// for, the estimate that came with the first one; zero: none did.
	EstimatesSeen(ctx context.Context, rows []*Listing) (map[uuid.UUID]Money, error)
	// Save writes the rows, their pieces where new, their events and ledger
	// lines, and stamps them with the group's next change number.
	Save(ctx context.Context, changes []*Change) error
	// Delete removes a mistaken row; the audit keeps what it was.
	Delete(ctx context.Context, l *Listing) error
}

// Query selects listings. Keys are column names; the api checks them against
// FilterColumns and SortColumns.
type Query struct {
	Words     map[string][]string // any of these values
	From, To  map[string]pricing.Date
	Min, Max  map[string]float64 // money in major units, lengths in the group's
	Member    uuid.UUID          // zero: anybody's
	Piece     uuid.UUID
	Sort      []SortKey // ties are broken by id
	After     []string  // values of Sort in the last row seen, in canonical text
	AfterID   uuid.UUID
	Limit     int
	InTheYard *bool // pieces not yet offered: only, or none
}

// SortKey orders by a column.
type SortKey struct {
	Column     string
	Descending bool
}

// What a list can be filtered and ordered by.
var (
	WordFilters   = []string{"ref", "piece_ref", "category", "material", "wood", "condition", "finish", "color", "hardware", "source", "stage", "outcome", "let_go", "area"}
	DateFilters   = []string{"listed_on", "ended_on", "last_seen_on", "let_go_on"}
	NumberFilters = []string{"ask", "sale_price", "seller_ask", "width", "depth", "height", "set_size"}
	SortColumns   = []string{"ref", "category", "listed_on", "ended_on", "ask", "sale_price"}
)

// Listing reads one row; of another member's without the owner-only columns.
func (s *Service) Listing(ctx context.Context, a *Actor, id uuid.UUID) (*Listing, error) {
	l, err := s.store.Listing(ctx, a.Tenant(), id)
	if isNotFound(err) {
		return nil, noListing(id)
	}
	return l, err
}

func noListing(id uuid.UUID) error {
	return refuse(ErrNotFound, "there is no listing with the id %s", id)
}

// Listings reads a page of rows.
func (s *Service) Listings(ctx context.Context, a *Actor, q Query) (rows []*Listing, more bool, err error) {
	return s.store.Listings(ctx, a.Tenant(), a.stored(q))
}

// EachListing streams rows for an export.
func (s *Service) EachListing(ctx context.Context, a *Actor, q Query, yield func(*Listing) error) error {
	return s.store.EachListing(ctx, a.Tenant(), a.stored(q), yield)
}

// stored turns the bounds of a query into the units of the store: minor units
// of money, millimetres.
func (a *Actor) stored(q Query) Query {
	scale := func(bounds map[string]float64) map[string]float64 {
		scaled := maps.Clone(bounds)
		for column := range scaled {
			switch column {
			case "ask", "sale_price", "seller_ask":
				scaled[column] *= math.Pow10(a.Group.Currency.Digits)
			case "width", "depth", "height":
				scaled[column] = centimetres(scaled[column], a.Group.Unit) * 10
			}
		}
		return scaled
	}
	q.Min, q.Max = scale(q.Min), scale(q.Max)
	return q
}

// Events tells a listing's story.
func (s *Service) Events(ctx context.Context, a *Actor, listing uuid.UUID) ([]Event, error) {
	if _, err := s.Listing(ctx, a, listing); err != nil {
		return nil, err
	}
	return s.store.Events(ctx, a.Tenant(), listing)
}

// Record keeps one row: a new one, or another state of the row with that ref.
func (s *Service) Record(ctx context.Context, a *Actor, cells Cells) (*Change, error) {
	return s.record(ctx, a, cells, false)
}

// record takes one row; one that must be new and is on file is an ErrConflict.
func (s *Service) record(ctx context.Context, a *Actor, cells Cells, mustBeNew bool) (change *Change, err error) {
	if err := a.needWrite(); err != nil {
		return nil, err
	}
	err = s.write(ctx, a, func(w Writer) error {
		b := newBatch(a, w, a.Reader())
		outcome, err := b.take(ctx, []numbered{{Row: 1, Cells: cells}})
		if err != nil {
			return err
		}
		if len(outcome.errors) > 0 {
			return withoutRows(outcome.errors)
		}
		change = outcome.changes[0]
		if mustBeNew && change.Old != nil {
			return refuse(ErrConflict, "%s is on file already; choose another name", change.Old.Ref)
		}
		return b.save(ctx, outcome.changes)
	})
	return change, err
}

// Patch changes some columns of a row. A blank cell of a column that blanks
// leave alone is refused rather than ignored. With wantRevision the row must
// still be at it.
func (s *Service) Patch(ctx context.Context, a *Actor, id uuid.UUID, cells Cells, wantRevision *int64) (*Change, error) {
	var wrong []FieldError
	for name, cell := range cells {
		if c, ok := ColumnByName(name); ok && c.Keeps && strings.TrimSpace(cell) == "" {
			wrong = append(wrong, FieldError{Column: name, Reason: "cannot be cleared; undo the event that set it, or leave it out"})
		}
	}
	if wrong != nil {
		slices.SortFunc(wrong, func(x, y FieldError) int { return strings.Compare(x.Column, y.Column) })
		return nil, &InvalidError{Fields: wrong}
	}
	return s.alter(ctx, a, id, wantRevision, func(context.Context, Writer, *Listing) (Cells, changeOptions, *Event, error) {
		return cells, changeOptions{}, nil, nil
	})
}

// alteration says how to change a listing that was found: the cells to read
// onto it, and the event that asked for it, where there was one.
type alteration func(context.Context, Writer, *Listing) (Cells, changeOptions, *Event, error)

// alter changes one listing on file.
func (s *Service) alter(ctx context.Context, a *Actor, id uuid.UUID, wantRevision *int64, how alteration) (change *Change, err error) {
	if err := a.needWrite(); err != nil {
		return nil, err
	}
	err = s.write(ctx, a, func(w Writer) error {
		old, err := a.listingToChange(ctx, w, id, wantRevision)
		if err != nil {
			return err
		}
		cells, options, event, err := how(ctx, w, old)
		if err != nil {
			return err
		}
		change, err = a.changed(ctx, w, old, cells, options)
		if err != nil {
			return err
		}
		if event != nil {
			change.tell(event)
		}
		return newBatch(a, w, a.Reader()).save(ctx, []*Change{change})
	})
	return change, err
}

// changed reads cells onto a listing and checks it against its siblings.
func (a *Actor) changed(ctx context.Context, w Writer, old *Listing, cells Cells, o changeOptions) (*Change, error) {
	if err := a.mayWriteColumns(old, cells); err != nil {
		return nil, err
	}
	change, wrong := a.Reader().change(old, cells, o)
	if wrong != nil {
		return nil, withoutRows(wrong)
	}
	if change.New.Outcome == OutcomeOpen && !change.New.IsObserved() && old.Outcome != OutcomeOpen {
		open, err := w.OpenListings(ctx, []uuid.UUID{old.PieceID})
		if err != nil {
			return nil, err
		}
		if other := open[old.PieceID]; other != nil && other.ID != old.ID {
			return nil, refuse(ErrConflict, "the piece %s is still offered as %s; end that listing first", old.PieceRef, other.Ref)
		}
	}
	if change.New.Ref != old.Ref {
		taken, err := w.ListingsByRef(ctx, old.MemberID, []string{change.New.Ref})
		if err != nil {
			return nil, err
		}
		if len(taken) > 0 {
			return nil, refuse(ErrConflict, "there is already a row with the ref %s", change.New.Ref)
		}
	}
	return change, nil
}

// tell puts the requested event first: it takes over the facts of the event
// that the difference found for the same thing.
func (c *Change) tell(e *Event) {
	for i, found := range c.Events {
		isHold := e.Kind == EventHold || e.Kind == EventRelease
		if found.Kind == e.Kind || (isHold && found.Kind == EventPause) {
			e.Changes = found.Changes
			c.Events = slices.Delete(c.Events, i, i+1)
			break
		}
	}
	c.Events = slices.Insert(c.Events, 0, *e)
}

// Delete removes a mistaken row. Only its owner may: with it goes a ledger that
// nobody else can read, and so no audit made by another could keep.
func (s *Service) Delete(ctx context.Context, a *Actor, id uuid.UUID, wantRevision *int64) error {
	if err := a.needWrite(); err != nil {
		return err
	}
	return s.write(ctx, a, func(w Writer) error {
		old, err := a.listingToChange(ctx, w, id, wantRevision)
		if err != nil {
			return err
		}
		if old.MemberID != a.MemberID {
			return refuse(ErrForbidden, "%s belongs to %s, who alone can delete it; end the listing instead", old.Ref, old.Member)
		}
		return w.Delete(ctx, old)
	})
}

func (a *Actor) listingToChange(ctx context.Context, w Writer, id uuid.UUID, wantRevision *int64) (*Listing, error) {
	old, err := w.Listing(ctx, id)
	if isNotFound(err) {
		return nil, noListing(id)
	}
	if err != nil {
		return nil, err
	}
	if old.MemberID != a.MemberID && !a.Can(ScopeAdmin) {
		return nil, refuse(ErrForbidden, "%s belongs to %s; only %s or an admin key can change it", old.Ref, old.Member, old.Member)
	}
	if wantRevision != nil && *wantRevision != old.Revision {
		return nil, refuse(ErrStale, "%s was changed in the meantime: it is at revision %d", old.Ref, old.Revision)
	}
	return old, nil
}

// mayWriteColumns keeps owner-only columns to the owner.
func (a *Actor) mayWriteColumns(l *Listing, cells Cells) error {
	if l.MemberID == a.MemberID {
		return nil
	}
	for name, cell := range cells {
		if c, ok := ColumnByName(name); ok && c.OwnerOnly && strings.TrimSpace(cell) != "" {
			return Invalid(name, "belongs to %s alone, also with an admin key", l.Member)
		}
	}
	return nil
}

func (a *Actor) needWrite() error {
	if !a.Can(ScopeWrite) {
		return refuse(ErrForbidden, "changing rows needs a key with the scope write; this one has %s", a.Scope)
	}
	return nil
}

func withoutRows(wrong []FieldError) error {
	for i := range wrong {
		wrong[i].Row = 0
	}
	return &InvalidError{Fields: wrong}
}

// errUnwritten rolls a transaction back although nothing failed: a dry run, or
// nothing to write.
var errUnwritten = errors.New("nothing to keep")

// wrapUnwritten turns errUnwritten into success.
func wrapUnwritten(err error, doing string) error {
	if err == nil || errors.Is(err, errUnwritten) {
		return nil
	}
	var refused *Error
	var invalid *InvalidError
	if errors.As(err, &refused) || errors.As(err, &invalid) {
		return err
	}
	return fmt.Errorf("%s: %w", doing, err)
}
