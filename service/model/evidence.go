package model

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// CompareIDs orders ids.
func CompareIDs(a, b uuid.UUID) int { return slices.Compare(a[:], b[:]) }

// RecordStore reads listings as models take them: with their dated readings,
// and with the estimates of all members, which no answer to another may show.
type RecordStore interface {
	// History reads every listing of the group as of one change number.
	History(ctx context.Context, t service.Tenant) ([]*Recorded, int64, error)
	// Records reads the listings named, each with all others of its piece.
	Records(ctx context.Context, t service.Tenant, w Selection) ([]*Recorded, error)
}

// Selection names listings: any of these.
type Selection struct {
	IDs  []uuid.UUID
	Refs []string // of the tenant's member
	Open bool     // all own listings on offer
}

// How many comparables are looked at for one subject.
const (
	NearestSold   = 100
	NearestUnsold = 30
	FewComparable = 5 // below so many sold in the category, others are looked at
)

// CompQuery is what comparables are searched by.
type CompQuery struct {
	Category  string
	Piece     uuid.UUID // that is never its own comparable; zero: none
	Volume    float64   // cubic centimetres of the main item; zero: unknown
	FewEnough int       // below so many sold in the category, all categories are searched
	SoldOnly  bool      // unsold ones are not asked for
}

// Recorded is a listing with its readings.
type Recorded struct {
	*service.Listing
	MessagesRead []pricing.Reading // by day; nil: unknown
	ViewsRead    []pricing.Reading

	Step    service.KeptStep        // that was told of its plan
	Checked map[string]pricing.Date // when each check was done

	PricedFromSuggestion bool // the owner saw a suggestion before the first ask, and no estimate counts

	// RecordedFrom is the day from which the owner's record holds sold and unsold
	// listings alike, where a whole history was read; see Began.
	RecordedFrom pricing.Date
}

// Began is when a member began to record.
type Began struct {
	First pricing.Date // the day of the first import or entry
	Said  pricing.Date // from when sold and unsold listings are all on file, in the member's words; zero: not said
}

// SetRecordedFrom notes on each own listing from when its owner's record is
// complete: the day that the owner says; else the first day on file, or, where
// as much had ended by then as was on offer, the first of those ends: who brings
// a past along brings what sold and what did not from there on.
func SetRecordedFrom(rows []*Recorded, began map[uuid.UUID]Began) {
	type past struct {
		open, ended int
		first       pricing.Date
	}
	brought := map[uuid.UUID]*past{}
	for _, r := range rows {
		if r.IsObserved() || !r.IsOffered() || r.ListedOn > began[r.MemberID].First {
			continue
		}
		p := brought[r.MemberID]
		if p == nil {
			p = &past{}
			brought[r.MemberID] = p
		}
		if r.EndedOn.IsZero() || r.EndedOn > began[r.MemberID].First {
			p.open++
			continue
		}
		p.ended++
		if p.first.IsZero() || r.EndedOn < p.first {
			p.first = r.EndedOn
		}
	}
	for _, r := range rows {
		b := began[r.MemberID]
		switch p := brought[r.MemberID]; {
		case r.IsObserved():
		case !b.Said.IsZero():
			r.RecordedFrom = b.Said
		case p != nil && p.ended >= p.open:
			r.RecordedFrom = p.first
		default:
			r.RecordedFrom = b.First
		}
	}
}

// Evidence is the listing as the engine takes it, with its readings.
func (r *Recorded) Evidence(c service.Currency) pricing.Listing {
	f := r.Facts(c, r.MessagesRead, r.ViewsRead)
	f.PricedFromSuggestion = r.PricedFromSuggestion && !r.EstimateCounts
	f.RecordedFrom = r.RecordedFrom
	return f
}

// Records are listings on file, each with all others of its piece.
type Records struct {
	All     []*Recorded // by id
	ByID    map[uuid.UUID]*Recorded
	ByRef   map[MemberRef]*Recorded
	byPiece map[uuid.UUID][]*Recorded
}

// MemberRef is a member's own name for a row.
type MemberRef struct {
	Member uuid.UUID
	Ref    string
}

func newRecords(rows []*Recorded) *Records {
	n := &Records{All: rows, ByID: make(map[uuid.UUID]*Recorded), ByRef: make(map[MemberRef]*Recorded), byPiece: make(map[uuid.UUID][]*Recorded)}
	for _, r := range rows {
		n.ByID[r.ID] = r
		n.ByRef[MemberRef{r.MemberID, r.Ref}] = r
		n.byPiece[r.PieceID] = append(n.byPiece[r.PieceID], r)
	}
	return n
}

// Records reads the listings named; none for no names.
func (k *Cache) Records(ctx context.Context, a *service.Actor, w Selection) (*Records, error) {
	if len(w.IDs) == 0 && len(w.Refs) == 0 && !w.Open {
		return newRecords(nil), nil
	}
	rows, err := k.store.Records(ctx, a.Tenant(), w)
	if err != nil {
		return nil, fmt.Errorf("read the listings: %w", err)
	}
	return newRecords(rows), nil
}

// RecordOf reads a listing, with all others of its piece.
func (k *Cache) RecordOf(ctx context.Context, a *service.Actor, id uuid.UUID) (*Records, *Recorded, error) {
	rows, err := k.Records(ctx, a, Selection{IDs: []uuid.UUID{id}})
	if err != nil {
		return nil, nil, err
	}
	row := rows.ByID[id]
	if row == nil {
		return nil, nil, service.Refuse(service.ErrNotFound, "there is no listing with the id %s", id)
	}
	return rows, row, nil
}

// AllRecords reads all listings of the group.
func (k *Cache) AllRecords(ctx context.Context, a *service.Actor) (*Records, error) {
	rows, _, err := k.store.History(ctx, a.Tenant())
	if err != nil {
		return nil, fmt.Errorf("read the group's history: %w", err)
	}
	return newRecords(rows), nil
}

// History is what pricing takes of rows.
func History(rows []*Recorded, c service.Currency) pricing.History {
	h := pricing.History{Listings: make([]pricing.Listing, 0, len(rows))}
	for _, r := range rows {
		if r.IsOffered() {
			h.Listings = append(h.Listings, r.Evidence(c))
		}
	}
	return h
}

// Standing gathers an open listing with its piece's past, as known on a day.
func (n *Records) Standing(r *Recorded, c service.Currency, day pricing.Date) pricing.Standing {
	var h pricing.History
	for _, other := range n.byPiece[r.PieceID] {
		if other.IsOffered() && other.ID != r.ID && other.ListedOn < r.ListedOn {
			h.Listings = append(h.Listings, other.Evidence(c))
		}
	}
	one := pricing.Cut(pricing.History{Listings: []pricing.Listing{r.Evidence(c)}}, day)
	st := pricing.Standing{Earlier: pricing.Cut(h, day).Listings, Kept: r.Step.Kept(c)}
	for check, on := range r.Checked {
		if on <= day {
			if st.Done == nil {
				st.Done = make(map[string]pricing.Date)
			}
			st.Done[check] = on
		}
	}
	if len(one.Listings) == 1 {
		st.Listing = one.Listings[0]
	}
	return st
}

// OpenRecords reads the listings that were on offer at the end of a day, among
// others; of an earlier day all listings.
func (k *Cache) OpenRecords(ctx context.Context, a *service.Actor, day pricing.Date) (*Records, error) {
	if day < a.Today {
		return k.AllRecords(ctx, a)
	}
	return k.Records(ctx, a, Selection{Open: true})
}

// OpenOn reports whether an own listing was on offer at the end of that day.
func (r *Recorded) OpenOn(day pricing.Date) bool {
	return r.IsOffered() && !r.IsObserved() && r.ListedOn <= day && (r.EndedOn.IsZero() || r.EndedOn > day)
}
