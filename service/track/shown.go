package track

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// Shown is a suggestion as it was shown to the owner of a ref. It is judged when
// the listing ends: see Service.Record. Without a ref only its Asks are kept.
type Shown struct {
	ID        uuid.UUID
	MemberID  uuid.UUID // whose ref it is, who was shown it
	Ref       string
	Category  string
	Asks      []service.Money // told for a piece that is not on offer yet: such an ask is no judgement of its seller's
	ListingID uuid.UUID       // zero: the ref was only described
	On        pricing.Date
	Model     string
	At        time.Time
	Estimate  service.Money // sent with the request, or counting by then; zero: none
	SalePrice *ShownRange   // nil where refused
	Promise   *ShownAsk     // nil where refused
}

// ShownRange is the sale price that was told.
type ShownRange struct {
	Likely, Low, High service.Money
	Level             float64
}

// ShownAsk is the ask that was told, with its chance, and what it takes to tell
// the chance at the ask that was really used.
type ShownAsk struct {
	Ask        service.Money
	WithinDays int
	Chance     float64
	Prospects  pricing.Prospects
}

const (
	recordTime  = 30 * time.Second       // of one pass
	recordEvery = 500 * time.Millisecond // what a crash can lose: with the writing itself, a second's worth
	recordMost  = 20_000                 // kept waiting while the database is away
	recordBatch = 500

	// MostDescribed bounds how many refs that are not on file are kept of a member
	// in a day: asking for advice must not fill the database.
	MostDescribed = 1000
)

// Recorder gathers suggestions and writes them beside the requests that made
// them: an answer waits for no write, and a crash may lose the last second's.
type Recorder struct {
	store  Store
	logger *slog.Logger

	turn    sync.Mutex // of who writes
	mu      sync.Mutex
	waiting map[shownKey]Shown
	asked   map[askedKey]Asked

	day       pricing.Date // the newest that any ref was described on
	described map[uuid.UUID]map[string]bool
}

// shownKey is what is kept once.
type shownKey struct {
	group, member uuid.UUID
	ref           string
	on            pricing.Date
	model         string
}

// name tells apart what was shown to a member on a day.
func (k *Shown) name() string {
	if k.Ref != "" {
		return k.Ref
	}
	return fmt.Sprint("\x00", k.Category, k.Asks)
}

// NewRecorder returns a Recorder with nothing waiting.
func NewRecorder(store Store, logger *slog.Logger) *Recorder {
	return &Recorder{store: store, logger: logger, waiting: make(map[shownKey]Shown), asked: make(map[askedKey]Asked),
		described: make(map[uuid.UUID]map[string]bool)}
}

// Add lets a suggestion of a group wait to be written.
func (r *Recorder) Add(group uuid.UUID, k Shown) {
	key := shownKey{group, k.MemberID, k.name(), k.On, k.Model}
	r.mu.Lock()
	defer r.mu.Unlock()
	if _, twice := r.waiting[key]; !twice && len(r.waiting) < recordMost && r.hasRoom(k) {
		r.waiting[key] = k
	}
}

// hasRoom counts what a member only described, by the day.
func (r *Recorder) hasRoom(k Shown) bool {
	if k.ListingID != uuid.Nil {
		return true
	}
	if k.On > r.day {
		r.day = k.On
		clear(r.described)
	}
	refs := r.described[k.MemberID]
	if refs == nil {
		refs = make(map[string]bool)
		r.described[k.MemberID] = refs
	}
	name := k.name()
	if !refs[name] && len(refs) >= MostDescribed {
		return false
	}
	refs[name] = true
	return true
}

// Flush writes what is waiting, prices asked first. What the database is too busy for goes on
// waiting; what it refuses is dropped and logged.
func (r *Recorder) Flush(ctx context.Context) error {
	r.turn.Lock()
	defer r.turn.Unlock()
	r.mu.Lock()
	taken := r.waiting
	if len(taken) > 0 {
		r.waiting = make(map[shownKey]Shown)
	}
	r.mu.Unlock()
	byGroup := make(map[uuid.UUID][]Shown)
	for key, k := range taken {
		byGroup[key.group] = append(byGroup[key.group], k)
	}
	failed := r.flushAsked(ctx)
	for group, all := range byGroup {
		slices.SortFunc(all, func(a, b Shown) int { return cmp.Compare(a.ID.String(), b.ID.String()) })
		for batch := range slices.Chunk(all, recordBatch) {
			err := r.store.KeepSuggestions(ctx, group, batch)
			switch {
			case err == nil:
			case errors.Is(err, service.ErrUnavailable) || ctx.Err() != nil:
				for _, k := range batch {
					r.Add(group, k)
				}
				failed = errors.Join(failed, err)
			default:
				r.logger.ErrorContext(ctx, "suggestions were not kept", "group", group, "number", len(batch), "error", err)
			}
		}
	}
	if failed != nil {
		return fmt.Errorf("keep suggestions and prices asked: %w", failed)
	}
	return nil
}
