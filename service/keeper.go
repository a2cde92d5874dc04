package service

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
)

// ModelStore gives the models their facts.
type ModelStore interface {
	// History reads every listing of the group with its dated readings, as of
	// one change number.
	History(ctx context.Context, t Tenant) ([]*Recorded, int64, error)
	// Nearest finds, for each subject, the sold and unsold listings nearest to
	// it in kind and size: see NearestSold and NearestUnsold.
	Nearest(ctx context.Context, t Tenant, subjects []Near) ([][]*Listing, error)
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

// known is what a group knew at a change number, and the model fitted on it.
type known struct {
	changeNo int64
	day      pricing.Date
	model    *pricing.Model
	byID     map[uuid.UUID]*Recorded
	byPiece  map[uuid.UUID][]*Recorded
	byRef    map[memberRef]*Recorded
	history  pricing.History

	replaying sync.Mutex
	replayed  *Replay // made when first asked for
}

// memberRef is a member's own name for a row.
type memberRef struct {
	member uuid.UUID
	ref    string
}

// modelDesign is the version of the model's design.
const modelDesign = 2

// version names the model: its design, the change number that it knows, and
// the day that it was fitted for.
func (n *known) version() string {
	return fmt.Sprintf("%d.%d.%s", modelDesign, n.changeNo, n.model.FittedOn())
}

// keeper keeps the models of the groups that were asked about lately. What it
// holds can be dropped at any time: it is made anew from the store.
type keeper struct {
	store    ModelStore
	metrics  *metrics
	usedKeys usedKeys

	mu     sync.Mutex
	groups map[uuid.UUID]*groupModel
}

// groupModel serialises the work for one group: many requests wait for one fit.
type groupModel struct {
	mu     sync.Mutex
	now    *known
	usedAt time.Time
}

// maxGroups bounds how many groups' models stay in memory.
const maxGroups = 64

func newKeeper(store ModelStore, m *metrics) *keeper {
	return &keeper{store: store, metrics: m, groups: make(map[uuid.UUID]*groupModel), usedKeys: usedKeys{at: make(map[uuid.UUID]time.Time)}}
}

// current returns what the actor's group knows at the actor's day. The change
// number came with the key, so that a change is never missed.
func (k *keeper) current(ctx context.Context, a *Actor) (*known, error) {
	g := k.group(a.Group.ID, a.Now)
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.now != nil && g.now.changeNo >= a.Group.ChangeNo && g.now.day == a.Today {
		return g.now, nil
	}
	fresh, err := k.fit(ctx, a, a.Today)
	if err != nil {
		return nil, err
	}
	g.now = fresh
	return fresh, nil
}

// asOf returns what the group could know at the end of an earlier day, in the
// state of today's record. It is not kept.
func (k *keeper) asOf(ctx context.Context, a *Actor, day pricing.Date) (*known, error) {
	if day == a.Today {
		return k.current(ctx, a)
	}
	return k.fit(ctx, a, day)
}

func (k *keeper) fit(ctx context.Context, a *Actor, day pricing.Date) (*known, error) {
	rows, changeNo, err := k.store.History(ctx, a.Tenant())
	if err != nil {
		return nil, fmt.Errorf("read the group's history: %w", err)
	}
	n := &known{changeNo: changeNo, day: day, byID: make(map[uuid.UUID]*Recorded), byPiece: make(map[uuid.UUID][]*Recorded), byRef: make(map[memberRef]*Recorded)}
	for _, r := range rows {
		n.byID[r.ID] = r
		n.byRef[memberRef{r.MemberID, r.Ref}] = r
		n.byPiece[r.PieceID] = append(n.byPiece[r.PieceID], r)
		if r.IsOffered() {
			n.history.Listings = append(n.history.Listings, r.facts(a.Group.Currency))
		}
	}
	n.history = pricing.Cut(n.history, day)
	began := time.Now() // how long it takes, not what day it is
	n.model = pricing.Fit(n.history, day)
	k.metrics.fit(began, len(n.history.Listings))
	return n, nil
}

func (r *Recorded) facts(c Currency) pricing.Listing {
	f := r.Facts(c, r.MessagesRead, r.ViewsRead)
	f.PricedFromSuggestion = r.PricedFromSuggestion && !r.EstimateCounts
	return f
}

// standing gathers an open listing with its piece's past, as known on n.day.
func (n *known) standing(r *Recorded, c Currency) pricing.Standing {
	var h pricing.History
	for _, other := range n.byPiece[r.PieceID] {
		if other.IsOffered() && other.ID != r.ID && other.ListedOn < r.ListedOn {
			h.Listings = append(h.Listings, other.facts(c))
		}
	}
	one := pricing.Cut(pricing.History{Listings: []pricing.Listing{r.facts(c)}}, n.day)
	st := pricing.Standing{Earlier: pricing.Cut(h, n.day).Listings}
	if len(one.Listings) == 1 {
		st.Listing = one.Listings[0]
	}
	return st
}

// group finds the group's place, making room by dropping the one that was
// longest unused.
func (k *keeper) group(id uuid.UUID, now time.Time) *groupModel {
	k.mu.Lock()
	defer k.mu.Unlock()
	g, ok := k.groups[id]
	if !ok {
		if len(k.groups) >= maxGroups {
			var oldest uuid.UUID
			for other, m := range k.groups {
				if oldest == uuid.Nil || m.usedAt.Before(k.groups[oldest].usedAt) {
					oldest = other
				}
			}
			delete(k.groups, oldest)
		}
		g = &groupModel{}
		k.groups[id] = g
	}
	g.usedAt = now
	return g
}

// usedKeys remembers when the use of a key was last noted.
type usedKeys struct {
	mu sync.Mutex
	at map[uuid.UUID]time.Time
}

// due reports, once in each span, that the use of the key is to be noted.
func (u *usedKeys) due(key uuid.UUID, now time.Time, span time.Duration) bool {
	u.mu.Lock()
	defer u.mu.Unlock()
	if last, ok := u.at[key]; ok && now.Sub(last) < span {
		return false
	}
	const most = 10_000
	if len(u.at) >= most {
		clear(u.at)
	}
	u.at[key] = now
	return true
}
