package recording

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"github.com/google/uuid"

	"askwright/service"
)

// write is the store's Write, after what was suggested so far is on file:
// whether an estimate came before a suggestion depends on it.
func (s *Service) write(ctx context.Context, a *service.Actor, do func(Writer) error) error {
	if err := s.shown.Flush(ctx); err != nil {
		return err
	}
	return s.store.Write(ctx, a.Tenant(), do)
}

// discountLateEstimates takes the weight from new estimates that follow a
// suggestion: what was read is not one's own judgement. An estimate that came
// with the first suggestion's own request stays.
func discountLateEstimates(ctx context.Context, w Writer, changes []*service.Change) error {
	fresh := make(map[uuid.UUID]*service.Listing)
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
