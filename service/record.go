package service

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
)

// Kept is a suggestion as it was shown to the owner of a ref. It is judged when
// the listing ends: see Service.TrackRecord.
type Kept struct {
	ID        uuid.UUID
	MemberID  uuid.UUID // whose ref it is, who was shown it
	Ref       string
	ListingID uuid.UUID // zero: the ref was only described
	On        pricing.Date
	Model     string
	At        time.Time
	Estimate  Money      // sent with the request, or counting by then; zero: none
	SalePrice *KeptRange // nil where refused
	Promise   *KeptAsk   // nil where refused
}

// KeptRange is the sale price that was told.
type KeptRange struct {
	Likely, Low, High Money
	Level             float64
}

// KeptAsk is the ask that was told, with its chance, and what it takes to tell
// the chance at the ask that was really used.
type KeptAsk struct {
	Ask        Money
	WithinDays int
	Chance     float64
	Prospects  pricing.Prospects
}

// SuggestionStore keeps what was suggested.
type SuggestionStore interface {
	// KeepSuggestions adds suggestions of one group. Of each (member, ref, day,
	// model) the first one stays.
	KeepSuggestions(ctx context.Context, group uuid.UUID, kept []Kept) error
	// LastKept returns, for each own listing that has one, the last suggestion
	// kept before its last ask was set, under the listing's id.
	LastKept(ctx context.Context, t Tenant) ([]Kept, error)
}

const (
	recordEvery = 500 * time.Millisecond // what a crash can lose: with the writing itself, a second's worth
	recordMost  = 20_000                 // kept waiting while the database is away
	recordBatch = 500
)

// recorder gathers suggestions and writes them beside the requests that made
// them: an answer waits for no write, and a crash may lose the last second's.
type recorder struct {
	store  SuggestionStore
	logger *slog.Logger

	turn    sync.Mutex // of who writes
	mu      sync.Mutex
	waiting map[keptKey]Kept
}

// keptKey is what is kept once.
type keptKey struct {
	group, member uuid.UUID
	ref           string
	on            pricing.Date
	model         string
}

func newRecorder(store SuggestionStore, logger *slog.Logger) *recorder {
	return &recorder{store: store, logger: logger, waiting: make(map[keptKey]Kept)}
}

func (r *recorder) add(group uuid.UUID, k Kept) {
	key := keptKey{group, k.MemberID, k.Ref, k.On, k.Model}
	r.mu.Lock()
	defer r.mu.Unlock()
	if _, twice := r.waiting[key]; !twice && len(r.waiting) < recordMost {
		r.waiting[key] = k
	}
}

// flush writes what is waiting. What the database is too busy for goes on
// waiting; what it refuses is dropped and logged.
func (r *recorder) flush(ctx context.Context) error {
	r.turn.Lock()
	defer r.turn.Unlock()
	r.mu.Lock()
	taken := r.waiting
	if len(taken) > 0 {
		r.waiting = make(map[keptKey]Kept)
	}
	r.mu.Unlock()
	byGroup := make(map[uuid.UUID][]Kept)
	for key, k := range taken {
		byGroup[key.group] = append(byGroup[key.group], k)
	}
	var failed error
	for group, all := range byGroup {
		slices.SortFunc(all, func(a, b Kept) int { return cmp.Compare(a.ID.String(), b.ID.String()) })
		for batch := range slices.Chunk(all, recordBatch) {
			err := r.store.KeepSuggestions(ctx, group, batch)
			switch {
			case err == nil:
			case errors.Is(err, ErrUnavailable) || ctx.Err() != nil:
				for _, k := range batch {
					r.add(group, k)
				}
				failed = errors.Join(failed, err)
			default:
				r.logger.ErrorContext(ctx, "suggestions were not kept", "group", group, "number", len(batch), "error", err)
			}
		}
	}
	if failed != nil {
		return fmt.Errorf("keep suggestions: %w", failed)
	}
	return nil
}

// RunRecorder writes the suggestions that were made, within a second, until
// the context ends. FlushSuggestions writes what came after.
func (s *Service) RunRecorder(ctx context.Context) error {
	tick := time.NewTicker(recordEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			if err := s.recorder.flush(ctx); err != nil && ctx.Err() == nil {
				s.logger.WarnContext(ctx, "suggestions wait to be kept", "error", err)
			}
		}
	}
}

// FlushSuggestions writes the suggestions made so far.
func (s *Service) FlushSuggestions(ctx context.Context) error { return s.recorder.flush(ctx) }

// write is the store's Write, after what was suggested so far is on file:
// whether an estimate came before a suggestion depends on it.
func (s *Service) write(ctx context.Context, a *Actor, do func(Writer) error) error {
	if err := s.recorder.flush(ctx); err != nil {
		return err
	}
	return s.store.Write(ctx, a.Tenant(), do)
}

// keep takes the answers that are promises to a seller: those that name a ref
// or a listing of the actor's own that has not ended, as it is on file. What a
// feed reads and what is only tried out are none.
func (s *Service) keep(a *Actor, group *known, subjects []subject, answers []Suggestion) {
	c := a.Group.Currency
	for i, sub := range subjects {
		if !sub.isPromise(a) {
			continue
		}
		answer := answers[i]
		k := Kept{
			ID: newID(), MemberID: a.MemberID, Ref: sub.row.Ref, ListingID: sub.row.ID, On: a.Today, Model: answer.Model, At: a.Now,
			Estimate: sub.estimate,
		}
		if r := answer.SalePrice; r != nil {
			k.SalePrice = &KeptRange{Likely: MoneyOf(r.Likely, c), Low: MoneyOf(r.Low, c), High: MoneyOf(r.High, c), Level: r.Level}
		}
		outline := group.model.Outline(sub.query(c, 0), a.Today, a.Group.SettingsFor(sub.row.Venue, a.Today))
		if chance := answer.ChanceSold; chance != nil && outline.Prospects != nil {
			k.Promise = &KeptAsk{Ask: MoneyOf(answer.Ask, c), WithinDays: chance.WithinDays, Chance: chance.Probability, Prospects: *outline.Prospects}
		}
		s.recorder.add(a.Group.ID, k)
	}
}

// isPromise reports whether what is suggested is told to the seller of a piece
// that can still be priced.
func (s *subject) isPromise(a *Actor) bool {
	if a.Scope == ScopeFeed {
		return false // it is read by anybody
	}
	isMine := s.onFile == nil || s.onFile.MemberID == a.MemberID
	isOver := s.row.Outcome == OutcomeSold || s.row.Outcome == OutcomeWithdrawn
	return s.row.Ref != "" && isMine && !isOver && !s.row.IsObserved() && len(s.changed) == 0
}

// askForEstimate is told before the suggestion to a seller who gave none.
const askForEstimate = "Record your own estimate (what you would ask by your own judgement) before you look at a suggestion: it is the single most useful figure, and one given afterwards no longer counts."

// settleEstimates takes the weight from new estimates that follow a
// suggestion: what was read is not one's own judgement. An estimate that came
// with the first suggestion's own request stays.
func settleEstimates(ctx context.Context, w Writer, changes []*Change) error {
	fresh := make(map[uuid.UUID]*Listing)
	for _, c := range changes {
		if c.New.EstimateCounts && (c.Old == nil || c.Old.Estimate != c.New.Estimate) {
			fresh[c.New.ID] = c.New
		}
	}
	if len(fresh) == 0 {
		return nil
	}
	seen, err := w.EstimatesSeen(ctx, slices.Collect(maps.Values(fresh)))
	if err != nil {
		return fmt.Errorf("look for suggestions before the estimate: %w", err)
	}
	for id, estimate := range seen {
		if l := fresh[id]; l.Estimate != estimate {
			l.EstimateCounts = false
		}
	}
	return nil
}
