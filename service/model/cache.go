// Package model keeps each group's fit: made from stored statistics, brought up
// to date by what changed, remembered by the change number.
package model

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"

	"askwright/pricing"
	"askwright/service"
)

// Store gives the models their facts and keeps what they are made from.
type Store interface {
	RecordStore
	// StoredModel reads what is kept of a design's model.
	StoredModel(ctx context.Context, t service.Tenant, design int) (*StoredModel, error)
	// CatchUp brings the statistics of a design up to the group's newest change,
	// in one transaction that holds their lock: do is given the changes and
	// leaves what to write. anew forgets what was folded so far.
	CatchUp(ctx context.Context, t service.Tenant, design int, anew bool, do func(*CatchUp) error) error
	// SaleRows reads the sales in the statistics one by one, in the order of their
	// listings, and the change number that they are of.
	SaleRows(ctx context.Context, t service.Tenant, design int) ([]pricing.SaleRow, int64, error)
	// KeepRates stores a fit, unless one of a newer change or day is there.
	KeepRates(ctx context.Context, t service.Tenant, design int, r StoredRates) error
	// TakeRefit takes the turn to fit anew what was stored at a change number,
	// from now until a time; false: another has it, or has done it.
	TakeRefit(ctx context.Context, t service.Tenant, design int, storedAt int64, now, until time.Time) (bool, error)
	// KeepRefit stores a fit made beside the answers and raises the group's
	// change number, so that every replica notices.
	KeepRefit(ctx context.Context, t service.Tenant, design int, r StoredRates) error
}

// StoredModel is what is kept of a model.
type StoredModel struct {
	Statistics *pricing.Statistics // never nil
	ChangeNo   int64               // up to which listings are in the statistics
	Rates      *StoredRates        // nil: never fitted
	Closed     int                 // ended listings that are new or changed since the rates were fitted
}

// StoredRates are rates with the last change number that they know.
type StoredRates struct {
	pricing.Rates
	ChangeNo int64
}

// Fit is what a group's record says at a change number, for a day. It holds
// no listings: see records.
type Fit struct {
	changeNo int64
	Day      pricing.Date
	Model    *pricing.Model

	memos sync.Map // what others work out from it: see Memo
}

// memo is a value that is worked out when it is first asked for.
type memo[T any] struct {
	mu    sync.Mutex
	known bool
	value T
}

// Memo returns what work gives for a fit, worked out once for as long as the
// fit is the group's. There is one value of each type.
func Memo[T any](fit *Fit, work func() (T, error)) (T, error) {
	at, _ := fit.memos.LoadOrStore(reflect.TypeFor[T](), &memo[T]{})
	m := at.(*memo[T]) //nolint:forcetypeassert // stored under its type
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.known {
		return m.value, nil
	}
	value, err := work()
	if err != nil {
		return value, err
	}
	m.value, m.known = value, true
	return value, nil
}

// Version names the model: its design, the change number that it knows, and
// the day that its rates were fitted for. A group of more than AtOnce listings
// has rates that are older than the change number; a newer fit takes a change
// number of its own, so that a version names one model.
func (fit *Fit) Version() string {
	return fmt.Sprintf("%d.%d.%s", pricing.Design, fit.changeNo, fit.Model.FittedOn())
}

// Cache keeps the models of the groups that were asked about lately. What it
// holds can be dropped at any time: it is made anew from the store, where the
// replicas share what takes long to make.
//
// A model is never older than the group's last commit that the asker's key
// came with. The value model is fitted on statistics into which the changed
// listings are folded first; that takes milliseconds at any size. The rates are
// refitted on the whole history: before the answer while it is small, beside
// the answers later.
type Cache struct {
	store   Store
	metrics fitMetrics
	atOnce  int // listings up to which rates are refitted before an answer

	mu     sync.Mutex
	groups map[uuid.UUID]*groupModel
	due    map[uuid.UUID]bool // groups whose rates answers found to be refitted
}

// groupModel serialises the work for one group: many requests wait for one fit.
type groupModel struct {
	mu     sync.Mutex
	now    *Fit
	usedAt time.Time
}

// maxGroups bounds how many groups' models stay in memory.
const maxGroups = 64

// AtOnce is how many listings a group may have for its rates to be refitted
// before each answer that follows a change.
const AtOnce = 5000

// When rates are refitted beside the answers.
const (
	refitShare = 100             // one in so many listings closed since, at least one
	refitDays  = 7               //
	refitTurn  = 2 * time.Minute // after which a replica that died at it is taken to be gone
)

// NewCache returns an empty Cache. registry takes its metrics; nil: nobody does.
func NewCache(store Store, registry prometheus.Registerer, atOnce int) *Cache {
	return &Cache{
		store: store, metrics: newFitMetrics(registry), atOnce: atOnce, groups: make(map[uuid.UUID]*groupModel), due: make(map[uuid.UUID]bool),
	}
}

// Current returns the group's model for the actor's day. The change number came
// with the key, so that a change is never missed.
func (k *Cache) Current(ctx context.Context, a *service.Actor) (*Fit, error) {
	g := k.group(a.Group.ID, a.Now)
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.now != nil && g.now.changeNo >= a.Group.ChangeNo && g.now.Day == a.Today {
		return g.now, nil
	}
	fresh, err := k.load(ctx, a)
	if err != nil {
		return nil, err
	}
	g.now = fresh
	return fresh, nil
}

// load makes the model from what is stored, after bringing that up to date.
func (k *Cache) load(ctx context.Context, a *service.Actor) (*Fit, error) {
	const tries = 3 // of a moment between two commits
	for i := 1; ; i++ {
		stored, err := k.caughtUp(ctx, a)
		if err != nil {
			return nil, err
		}
		rows, at, err := k.saleRows(ctx, a, stored)
		if err != nil {
			return nil, err
		}
		if at != stored.ChangeNo && i < tries {
			continue // something was folded in between
		}
		rates := stored.Rates
		if k.mustRefit(stored, a.Today) {
			if rates, err = k.fitRates(ctx, a, stored.Statistics, rows); err != nil {
				return nil, err
			}
			if rates.ChangeNo != stored.ChangeNo && i < tries {
				continue // something was written in between
			}
			if rates.ChangeNo == stored.ChangeNo {
				if err := k.store.KeepRates(ctx, a.Tenant(), pricing.Design, *rates); err != nil {
					return nil, fmt.Errorf("keep the rates: %w", err)
				}
			}
		} else if stored.refitDue(a.Today) {
			k.mu.Lock()
			k.due[a.Group.ID] = true
			k.mu.Unlock()
		}
		return &Fit{changeNo: stored.ChangeNo, Day: a.Today, Model: pricing.NewModel(stored.Statistics, rows, rates.Rates)}, nil
	}
}

// saleRows reads the sales one by one, by which each is weighed against the
// others. Of many it reads none: there a single one hardly counts, and each goes
// by the price and the ask of its own row.
func (k *Cache) saleRows(ctx context.Context, a *service.Actor, stored *StoredModel) ([]pricing.SaleRow, int64, error) {
	if stored.Statistics.Sales > k.atOnce {
		return nil, stored.ChangeNo, nil
	}
	rows, at, err := k.store.SaleRows(ctx, a.Tenant(), pricing.Design)
	if err != nil {
		return nil, 0, fmt.Errorf("read the group's sales: %w", err)
	}
	return rows, at, nil
}

// mustRefit reports whether no answer may be given with the stored rates. It
// rests on what is stored, so that all replicas decide alike.
func (k *Cache) mustRefit(m *StoredModel, today pricing.Date) bool {
	r := m.Rates
	return r == nil || (r.Listings <= k.atOnce && (r.ChangeNo != m.ChangeNo || r.FittedOn != today))
}

// refitDue reports whether the rates are to be refitted beside the answers.
func (m *StoredModel) refitDue(today pricing.Date) bool {
	r := m.Rates
	return m.Closed >= max(1, r.Listings/refitShare) || today >= r.FittedOn+refitDays
}

// fitRates fits the rates on the whole history. What it is given rests on the
// same change number, or on one just before.
func (k *Cache) fitRates(ctx context.Context, a *service.Actor, s *pricing.Statistics, sales []pricing.SaleRow) (*StoredRates, error) {
	rows, changeNo, err := k.store.History(ctx, a.Tenant())
	if err != nil {
		return nil, fmt.Errorf("read the group's history: %w", err)
	}
	h := History(rows, a.Group.Currency)
	began := time.Now() // how long it takes, not what day it is
	rates := pricing.FitRates(s, sales, h, a.Today)
	k.metrics.observe(began, len(h.Listings))
	return &StoredRates{Rates: rates, ChangeNo: changeNo}, nil
}

// TakeDue returns the groups whose rates are to be refitted beside the answers,
// once.
func (k *Cache) TakeDue() []uuid.UUID {
	k.mu.Lock()
	defer k.mu.Unlock()
	due := slices.Collect(maps.Keys(k.due))
	clear(k.due)
	return due
}

// Refit fits the rates anew if they are still due and no other replica is at it.
func (k *Cache) Refit(ctx context.Context, a *service.Actor) error {
	stored, err := k.caughtUp(ctx, a)
	if err != nil || stored.Rates == nil || !stored.refitDue(a.Today) {
		return err
	}
	mine, err := k.store.TakeRefit(ctx, a.Tenant(), pricing.Design, stored.Rates.ChangeNo, a.Now, a.Now.Add(refitTurn))
	if err != nil || !mine {
		return err
	}
	sales, _, err := k.saleRows(ctx, a, stored)
	if err != nil {
		return err
	}
	rates, err := k.fitRates(ctx, a, stored.Statistics, sales)
	if err != nil {
		return err
	}
	return k.store.KeepRefit(ctx, a.Tenant(), pricing.Design, *rates)
}

// caughtUp reads what is stored, with the statistics brought up to the actor's
// change number.
func (k *Cache) caughtUp(ctx context.Context, a *service.Actor) (*StoredModel, error) {
	stored, err := k.store.StoredModel(ctx, a.Tenant(), pricing.Design)
	if err != nil {
		return nil, fmt.Errorf("read the group's model: %w", err)
	}
	if stored.ChangeNo >= a.Group.ChangeNo {
		return stored, nil
	}
	fold := func(f *CatchUp) error {
		if err := f.apply(a.Group.Currency); err != nil {
			return err
		}
		stored.Statistics, stored.ChangeNo = f.Statistics, f.To
		return nil
	}
	err = k.store.CatchUp(ctx, a.Tenant(), pricing.Design, false, fold)
	if errors.Is(err, errAnew) {
		err = k.store.CatchUp(ctx, a.Tenant(), pricing.Design, true, fold)
	}
	if err != nil {
		return nil, fmt.Errorf("bring the group's model up to date: %w", err)
	}
	return stored, nil
}

// CatchUp is what changed since statistics were last brought up to date, and what
// that makes of them.
type CatchUp struct {
	Statistics  *pricing.Statistics           // to be changed
	Corrections int                           // sales taken back so far; to be raised
	To          int64                         // the change number that they will be of
	Sold        []*service.Listing            // sold with a price, and changed since
	Added       map[uuid.UUID]pricing.SaleRow // of listings changed or deleted since: what is in the statistics

	Put  map[uuid.UUID]pricing.SaleRow // rows to store
	Drop []uuid.UUID                   // rows to delete
}

// errAnew says that the statistics are to be built from nothing.
var errAnew = errors.New("the statistics must be built anew")

// apply takes back the sales that are no longer what they were and adds those
// that are new, in the order of their ids. Rounding adds up with corrections:
// after as many as there are sales, all is built anew.
func (f *CatchUp) apply(c service.Currency) error {
	const fewCorrections = 1000
	if !f.Statistics.Current() || f.Corrections > max(fewCorrections, f.Statistics.Sales) {
		return errAnew
	}
	f.Put = make(map[uuid.UUID]pricing.SaleRow, len(f.Sold))
	for _, l := range f.Sold {
		if row, ok := pricing.NewSaleRow(l.Facts(c, nil, nil)); ok {
			f.Put[l.ID] = row
		}
	}
	for _, id := range slices.SortedFunc(maps.Keys(f.Added), CompareIDs) {
		was := f.Added[id]
		now, isSale := f.Put[id]
		if isSale && now.Equal(was) {
			delete(f.Put, id)
			continue
		}
		if err := f.Statistics.Remove(was); err != nil {
			return fmt.Errorf("%w: %w", errAnew, err)
		}
		f.Corrections++
		if !isSale {
			f.Drop = append(f.Drop, id)
		}
	}
	for _, id := range slices.SortedFunc(maps.Keys(f.Put), CompareIDs) {
		f.Statistics.Add(f.Put[id])
	}
	return nil
}

// group finds the group's place, making room by dropping the one that was
// longest unused.
func (k *Cache) group(id uuid.UUID, now time.Time) *groupModel {
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
