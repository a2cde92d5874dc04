package advice

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// NextStep is what to do next about an open listing, and when.
type NextStep struct {
	Review
	On      pricing.Date
	Overdue int // days since it fell due; zero: it is not
}

// NextSteps are the next steps of the open listings of one member or, with a
// zero member, of all: what is longest due first.
func (s *Service) NextSteps(ctx context.Context, a *service.Actor, member uuid.UUID) ([]NextStep, error) {
	reviews, err := s.Reviews(ctx, a, ReviewQuery{Member: member})
	if err != nil {
		return nil, err
	}
	var out []NextStep
	for _, r := range reviews {
		if !r.NextStepOn.IsZero() {
			out = append(out, NextStep{Review: r, On: r.NextStepOn, Overdue: max(0, int(a.Today-r.NextStepOn))})
		}
	}
	slices.SortStableFunc(out, func(x, y NextStep) int { // the reviews come the most urgent first
		return cmp.Compare(x.On, y.On)
	})
	return out, nil
}
