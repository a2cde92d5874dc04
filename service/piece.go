package service

import (
	"cmp"
	"slices"

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
	last := p.Newest()
	if last.IsOffered() {
		return cmp.Or(last.Left(), last.Outcome)
	}
	return cmp.Or(last.Left(), last.Stage)
}

// Newest is the row that says what the piece is now.
func (p *Piece) Newest() *Listing { return p.Listings[len(p.Listings)-1] }

// PieceStates are what Piece.State can be.
var PieceStates = slices.Concat(stages, []string{LeftPassed}, outcomes, []string{LeftRetired})

// NoPiece says that a piece was not found.
func NoPiece(id uuid.UUID) error { return Refuse(ErrNotFound, "there is no piece with the id %s", id) }

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

// LookFields are what a refinish can change: columns of the row, and what was
// done to legs or top, which are told by the event alone.
var LookFields = []string{
	"finish", "color", "second_finish", "second_color", "topcoat", "sheen", "hardware", "condition", "flaws", "smell", "legs", "top",
}

// DaysOwned counts the days from the purchase until it left, or today; zero:
// unknown, as it is to all but the owner.
func (p *Piece) DaysOwned(today pricing.Date) int {
	var bought pricing.Date
	for _, l := range p.Listings {
		bought = cmp.Or(bought, l.Ledger.BoughtOn)
	}
	if bought.IsZero() {
		return 0
	}
	end := today
	if last := p.Newest(); last.ClosedAs != "" {
		end = last.ClosedOn
	} else if last.Outcome == OutcomeSold {
		end = last.EndedOn
	}
	return max(1, int(end-bought))
}
