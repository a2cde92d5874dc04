package service

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
)

// Piece is the physical thing with all its listings, the newest last.
type Piece struct {
	ID       uuid.UUID
	Ref      string
	MemberID uuid.UUID
	Member   string
	Listings []*Listing
}

// State says where the piece stands: a stage of the yard, the outcome of its
// last listing, or how it left without a sale.
func (p *Piece) State() string {
	last := p.newest()
	if last.IsOffered() {
		return cmp.Or(last.Left(), last.Outcome)
	}
	return cmp.Or(last.Left(), last.Stage)
}

// newest is the row that says what the piece is now.
func (p *Piece) newest() *Listing { return p.Listings[len(p.Listings)-1] }

// PieceQuery selects pieces.
type PieceQuery struct {
	Ref      string    // of the piece or of one of its rows; empty: any
	Member   uuid.UUID // zero: anybody's
	State    []string  // of Piece.State; empty: any
	AfterRef string    // of the last piece seen
	AfterID  uuid.UUID
	Limit    int
}

// PieceStates are what Piece.State can be.
var PieceStates = slices.Concat(stages, []string{LeftPassed}, outcomes, []string{LeftLetGo})

// Pieces reads a page of pieces.
func (s *Service) Pieces(ctx context.Context, a *Actor, q PieceQuery) (pieces []*Piece, more bool, err error) {
	return s.store.Pieces(ctx, a.Tenant(), q)
}

// Piece reads a piece with its listings.
func (s *Service) Piece(ctx context.Context, a *Actor, id uuid.UUID) (*Piece, error) {
	rows, _, err := s.store.Listings(ctx, a.Tenant(), Query{Piece: id, Sort: []SortKey{{Column: "listed_on"}}, Limit: 1000})
	if err != nil {
		return nil, err
	}
	if len(rows) == 0 {
		return nil, noPiece(id)
	}
	return PieceOf(rows), nil
}

func noPiece(id uuid.UUID) error { return refuse(ErrNotFound, "there is no piece with the id %s", id) }

// PieceOf gathers rows of one piece; a row not yet offered comes last, as what
// the piece is being made into.
func PieceOf(rows []*Listing) *Piece {
	slices.SortStableFunc(rows, func(x, y *Listing) int {
		switch {
		case x.IsOffered() == y.IsOffered():
			return cmp.Or(int(x.ListedOn-y.ListedOn), cmp.Compare(x.ID.String(), y.ID.String()))
		case x.IsOffered():
			return -1
		}
		return 1
	})
	first := rows[0]
	return &Piece{ID: first.PieceID, Ref: first.PieceRef, MemberID: first.MemberID, Member: first.Member, Listings: rows}
}

// PatchPiece changes the piece as it is now: its newest row.
func (s *Service) PatchPiece(ctx context.Context, a *Actor, id uuid.UUID, cells Cells) (*Piece, error) {
	piece, err := s.Piece(ctx, a, id)
	if err != nil {
		return nil, err
	}
	if _, err := s.Patch(ctx, a, piece.newest().ID, cells, nil); err != nil {
		return nil, err
	}
	return s.Piece(ctx, a, id)
}

// lookFields are what a refinish can change: columns of the row, and what was
// done to legs or top, which are told by the event alone.
var lookFields = []string{
	"finish", "color", "second_finish", "second_color", "topcoat", "sheen", "hardware", "condition", "flaws", "smell", "legs", "top",
}

// Refinish gives a piece another look: its open listing ends as withdrawn, and
// its next row begins, back at work or with listed_on and ask on offer at once.
// Made again with the same fields it changes nothing; made tells which it was.
func (s *Service) Refinish(ctx context.Context, a *Actor, piece uuid.UUID, n NewEvent, wantRevision *int64) (made bool, err error) {
	n.Kind = EventRefinish
	if err := n.check(); err != nil {
		return false, err
	}
	_, made, err = s.refinish(ctx, a, n, func(ctx context.Context, w Writer) (*Listing, error) {
		rows, err := w.PieceListings(ctx, piece)
		if err != nil {
			return nil, err
		}
		if len(rows) == 0 {
			return nil, noPiece(piece)
		}
		return a.listingToChange(ctx, w, PieceOf(rows).newest().ID, wantRevision)
	})
	return made, err
}

// refinish changes the look of the piece of a row, which must be its newest.
// What the piece did so far stays its history.
func (s *Service) refinish(ctx context.Context, a *Actor, n NewEvent, find func(context.Context, Writer) (*Listing, error)) (ended *Change, made bool, err error) {
	if err := a.needWrite(); err != nil {
		return nil, false, err
	}
	on, err := a.eventDay(n.On)
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
		piece := PieceOf(rows)
		if ended, err = n.refinished(ctx, w, piece, row); ended != nil || err != nil {
			return err
		}
		if newest := piece.newest(); newest.ID != row.ID {
			return refuse(ErrConflict, "the piece %s went on as %s; refinish that one", row.PieceRef, newest.Ref)
		}
		if ended, err = a.endForRefinish(ctx, w, row, n, on); err != nil {
			return err
		}
		next, err := a.nextRow(ctx, w, piece, n.Fields)
		if err != nil {
			return err
		}
		if next.New.IsOffered() && next.New.ListedOn < on {
			return Invalid("listed_on", "%s is before the refinish of %s", next.New.ListedOn, on)
		}
		made = true
		return newBatch(a, w, a.Reader()).save(ctx, []*Change{ended, next})
	})
	return ended, made, err
}

// refinished finds the row that this very refinish ended before: one with the
// same fields, of which the piece's newest row came. row is either of the two.
func (n *NewEvent) refinished(ctx context.Context, w Writer, piece *Piece, row *Listing) (*Change, error) {
	if len(piece.Listings) < 2 {
		return nil, nil
	}
	before := piece.Listings[len(piece.Listings)-2]
	if row.ID != before.ID && row.ID != piece.newest().ID {
		return nil, nil
	}
	events, err := w.Events(ctx, before.ID)
	if err != nil {
		return nil, err
	}
	for _, e := range events {
		sameDay := n.On == "" || n.On == e.On.String()
		if e.Kind == EventRefinish && e.VoidedBy == uuid.Nil && sameDay && maps.Equal(e.Details, n.details()) {
			return &Change{Old: before, New: before}, nil
		}
	}
	return nil, nil
}

// details are the fields as the event keeps them for all to see.
func (n *NewEvent) details() map[string]string {
	details := make(map[string]string)
	for name, text := range n.Fields {
		if c, ok := ColumnByName(name); !ok || !c.OwnerOnly {
			details[name] = strings.TrimSpace(text)
		}
	}
	return details
}

// isNewest refuses a row after which the piece went on.
func isNewest(ctx context.Context, w Writer, l *Listing) error {
	rows, err := w.PieceListings(ctx, l.PieceID)
	if err != nil {
		return err
	}
	if newest := PieceOf(rows).newest(); newest.ID != l.ID {
		return refuse(ErrConflict, "the piece %s went on as %s; if that is wrong, delete that row first", l.PieceRef, newest.Ref)
	}
	return nil
}

// endForRefinish ends the listing, where it has not ended yet, with the event.
func (a *Actor) endForRefinish(ctx context.Context, w Writer, row *Listing, n NewEvent, on pricing.Date) (*Change, error) {
	switch {
	case row.IsObserved():
		return nil, refuse(ErrConflict, "%s is a stranger's; only a piece of your own can be refinished", row.Ref)
	case row.Outcome == OutcomeSold:
		return nil, refuse(ErrConflict, "%s was sold on %s for %s; a sold piece cannot be refinished (if the sale fell through, reopen it first)", row.Ref, row.EndedOn, row.SalePrice.Format(a.Group.Currency))
	case row.LetGo != "":
		return nil, refuse(ErrConflict, "%s %s; reopen it first", row.Ref, row.howItLeft())
	case row.Stage == StageFound:
		return nil, refuse(ErrConflict, "%s is only found, not bought yet", row.Ref)
	case row.Stage != "":
		return nil, refuse(ErrConflict, "%s is in the yard (%s), not on offer: change what it becomes in its own row, and list it", row.Ref, row.Stage)
	case on < row.EndedOn:
		return nil, Invalid("on", "%s is before %s ended on %s", on, row.Ref, row.EndedOn)
	case on < row.ListedOn:
		return nil, Invalid("on", "%s is before %s was listed on %s", on, row.Ref, row.ListedOn)
	}
	if err := n.changesLook(row, a.Group.Currency); err != nil {
		return nil, err
	}
	if err := a.mayWriteColumns(row, n.Fields); err != nil {
		return nil, err
	}
	var end changeOptions
	if row.Outcome == OutcomeOpen {
		end = ending(OutcomeWithdrawn, on)
	}
	ended, err := a.changed(ctx, w, row, nil, end)
	if err != nil {
		return nil, err
	}
	ended.tell(&Event{Kind: EventRefinish, On: on, Details: n.details()})
	return ended, nil
}

// changesLook refuses a refinish that says nothing new.
func (n *NewEvent) changesLook(row *Listing, currency Currency) error {
	for _, name := range lookFields {
		text, sent := n.Fields[name]
		text = strings.TrimSpace(text)
		c, isColumn := ColumnByName(name)
		switch {
		case !sent:
		case isColumn && canonicalWord(text) != canonicalWord(c.Value(row, currency)), !isColumn && text != "":
			return nil
		}
		if err := checkText(text, 200); !isColumn && err != nil {
			return Invalid(name, "%v", err)
		}
	}
	return Invalid("finish", "says nothing that changes: give the new finish, color, hardware, legs or top; to offer the piece as it is, end the listing and list it anew")
}

// nextRow is the piece's next row: the description of its newest with what
// changed, under the ref that was asked for or the next free one.
func (a *Actor) nextRow(ctx context.Context, w Writer, piece *Piece, changed map[string]string) (*Change, error) {
	l := piece.newest()
	cells := Cells{}
	for name, text := range changed {
		if _, isColumn := ColumnByName(name); isColumn {
			cells[name] = text
		}
	}
	ref, err := freeRef(ctx, w, piece, strings.TrimSpace(cells["ref"]))
	if err != nil {
		return nil, err
	}
	cells["ref"] = ref
	change, wrong := a.Reader().change(nil, cells, applying(func(d *draft) {
		d.PieceRef, d.Stage, d.Venue, d.Area = l.PieceRef, StageInWork, l.Venue, l.Area
		for i := range descriptionColumns {
			descriptionColumns[i].copy(&d.Listing, l)
		}
	}))
	if wrong != nil {
		return nil, withoutRows(wrong)
	}
	next := change.New
	next.ID, next.PieceID, next.MemberID, next.Member = newID(), l.PieceID, l.MemberID, l.Member
	return change, nil
}

// freeRef checks that the wanted ref is free; without one it is the piece's
// with the number of the row, B-17-2 after B-17.
func freeRef(ctx context.Context, w Writer, piece *Piece, wanted string) (string, error) {
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
	return "", refuse(ErrConflict, "there is already a row with the ref %s; give another one", clip(candidates[0]))
}
