package service

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"askwright/pricing"
)

// RecordStore reads listings as models take them: with their dated readings,
// and with the estimates of all members, which no answer to another may show.
type RecordStore interface {
	// History reads every listing of the group as of one change number.
	History(ctx context.Context, t Tenant) ([]*Recorded, int64, error)
	// Records reads the listings named, each with all others of its piece.
	Records(ctx context.Context, t Tenant, w Which) ([]*Recorded, error)
}

// Which names listings: any of these.
type Which struct {
	IDs  []uuid.UUID
	Refs []string // of the tenant's member
	Open bool     // all own listings on offer
}

// How many comparables are looked at for one subject.
const (
	NearestSold   = 100
	NearestUnsold = 30
	fewComparable = 5 // below so many sold in the category, others are looked at
)

// Near is what comparables are searched by.
type Near struct {
	Category  string
	Volume    float64 // cubic centimetres of the main item; zero: unknown
	FewEnough int     // below so many sold in the category, all categories are searched
}

// Recorded is a listing with its readings.
type Recorded struct {
	*Listing
	MessagesRead []pricing.Reading // by day; nil: unknown
	ViewsRead    []pricing.Reading

	PricedFromSuggestion bool // the owner saw a suggestion before the first ask, and no estimate counts
}

func (r *Recorded) facts(c Currency) pricing.Listing {
	f := r.Facts(c, r.MessagesRead, r.ViewsRead)
	f.PricedFromSuggestion = r.PricedFromSuggestion && !r.EstimateCounts
	return f
}

// records are listings on file, each with all others of its piece.
type records struct {
	all     []*Recorded // by id
	byID    map[uuid.UUID]*Recorded
	byRef   map[memberRef]*Recorded
	byPiece map[uuid.UUID][]*Recorded
}

// memberRef is a member's own name for a row.
type memberRef struct {
	member uuid.UUID
	ref    string
}

func newRecords(rows []*Recorded) *records {
	n := &records{all: rows, byID: make(map[uuid.UUID]*Recorded), byRef: make(map[memberRef]*Recorded), byPiece: make(map[uuid.UUID][]*Recorded)}
	for _, r := range rows {
		n.byID[r.ID] = r
		n.byRef[memberRef{r.MemberID, r.Ref}] = r
		n.byPiece[r.PieceID] = append(n.byPiece[r.PieceID], r)
	}
	return n
}

// records reads the listings named; none for no names.
func (s *Service) records(ctx context.Context, a *Actor, w Which) (*records, error) {
	if len(w.IDs) == 0 && len(w.Refs) == 0 && !w.Open {
		return newRecords(nil), nil
	}
	rows, err := s.store.Records(ctx, a.Tenant(), w)
	if err != nil {
		return nil, fmt.Errorf("read the listings: %w", err)
	}
	return newRecords(rows), nil
}

// recordOf reads a listing, with all others of its piece.
func (s *Service) recordOf(ctx context.Context, a *Actor, id uuid.UUID) (*records, *Recorded, error) {
	rows, err := s.records(ctx, a, Which{IDs: []uuid.UUID{id}})
	if err != nil {
		return nil, nil, err
	}
	row := rows.byID[id]
	if row == nil {
		return nil, nil, refuse(ErrNotFound, "there is no listing with the id %s", id)
	}
	return rows, row, nil
}

// allRecords reads all listings of the group.
func (s *Service) allRecords(ctx context.Context, a *Actor) (*records, error) {
	rows, _, err := s.store.History(ctx, a.Tenant())
	if err != nil {
		return nil, fmt.Errorf("read the group's history: %w", err)
	}
	return newRecords(rows), nil
}

// history is what pricing takes of rows.
func history(rows []*Recorded, c Currency) pricing.History {
	h := pricing.History{Listings: make([]pricing.Listing, 0, len(rows))}
	for _, r := range rows {
		if r.IsOffered() {
			h.Listings = append(h.Listings, r.facts(c))
		}
	}
	return h
}

// standing gathers an open listing with its piece's past, as known on a day.
func (n *records) standing(r *Recorded, c Currency, day pricing.Date) pricing.Standing {
	var h pricing.History
	for _, other := range n.byPiece[r.PieceID] {
		if other.IsOffered() && other.ID != r.ID && other.ListedOn < r.ListedOn {
			h.Listings = append(h.Listings, other.facts(c))
		}
	}
	one := pricing.Cut(pricing.History{Listings: []pricing.Listing{r.facts(c)}}, day)
	st := pricing.Standing{Earlier: pricing.Cut(h, day).Listings}
	if len(one.Listings) == 1 {
		st.Listing = one.Listings[0]
	}
	return st
}
