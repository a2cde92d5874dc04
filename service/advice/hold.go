package advice

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// holds reads all holds of the group up to a day, by listing, with how they
// ended.
func (s *Service) holds(ctx context.Context, a *service.Actor, day pricing.Date) (map[uuid.UUID][]service.Hold, service.TurnUps, error) {
	var ended service.TurnUps
	events, sold, err := s.store.HoldEvents(ctx, a.Tenant(), day)
	if err != nil {
		return nil, ended, fmt.Errorf("read the holds: %w", err)
	}
	holds, err := service.HoldsOf(events)
	if err != nil {
		return nil, ended, err
	}
	for id, of := range holds {
		ended.Count(of, slices.Contains(sold, id))
	}
	return holds, ended, nil
}
