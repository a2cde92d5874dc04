package watch

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
)

// When the work beside the answers is done.
const (
	upkeepEvery = 5 * time.Second  // looks whether rates are to be refitted
	upkeepTime  = 10 * time.Minute // of one pass
	pruneEvery  = 24 * time.Hour
)

// PruneStore drops what is no longer needed.
type PruneStore interface {
	groupStore
	GroupIDs(ctx context.Context) ([]uuid.UUID, error)
	// PruneSuggestions deletes kept suggestions that nothing rests on any more:
	// see Upkeep.RunOnce. It returns how many.
	PruneSuggestions(ctx context.Context, group uuid.UUID, endedBefore, openBefore, describedBefore pricing.Date) (int, error)
}

// How long kept suggestions stay at least.
const (
	keptAfterEnd  = 90  // days after the listing ended, in which it may be corrected
	keptOpen      = 30  // days, in which an ask may be recorded late
	keptDescribed = 365 // days for a ref that did not come on file
)

// RunOnce does what is due now: it refits the rates of large groups, where an
// answer found them old, and once a day drops kept suggestions.
//
// Of a listing that ended long ago two are still needed: the first, which says
// that an estimate came too late and that the first ask followed a suggestion,
// and the one that it is scored by. Of one on offer the first and, of those that
// are a month old, the last before each ask. Those for a ref that was only described go
// after a year. One pass runs at a time.
func (s *Upkeep) RunOnce(ctx context.Context) error {
	s.turn.Lock()
	defer s.turn.Unlock()
	var err error
	for _, id := range s.fits.TakeDue() {
		a, refitErr := s.actor(ctx, id)
		if refitErr == nil {
			refitErr = s.fits.Refit(ctx, a)
		}
		if refitErr != nil {
			err = errors.Join(err, fmt.Errorf("refit the rates of group %s: %w", id, refitErr))
		}
	}
	now := s.now()
	if now.Sub(s.prunedAt) < pruneEvery {
		return err
	}
	s.prunedAt = now
	groups, listErr := s.store.GroupIDs(ctx)
	err = errors.Join(err, listErr)
	today := pricing.DateOf(now.UTC())
	for _, id := range groups {
		n, pruneErr := s.store.PruneSuggestions(ctx, id, today-keptAfterEnd, today-keptOpen, today-keptDescribed)
		if pruneErr != nil {
			err = errors.Join(err, fmt.Errorf("drop old suggestions of group %s: %w", id, pruneErr))
		} else if n > 0 {
			s.logger.InfoContext(ctx, "old suggestions were dropped", "group", id, "number", n)
		}
	}
	return err
}
