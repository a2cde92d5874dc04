package recording

import (
	"context"
	"errors"
	"fmt"
	"time"

	"askwright/service"
)

// keepAnswers is how long a request can be repeated.
const keepAnswers = 48 * time.Hour

// Once does what a request asks for, unless it has been done: then it returns
// the answer given at that time.
func (s *Service) Once(ctx context.Context, a *service.Actor, r service.OnceRequest, do func(context.Context) (*service.OnceAnswer, error)) (*service.OnceAnswer, error) {
	// Now, because the transaction keeps a connection while do runs.
	if err := s.shown.Flush(ctx); err != nil {
		return nil, err
	}
	r.At = a.Now
	answer, err := s.store.Once(ctx, a.Tenant(), r, a.Now.Add(-keepAnswers), do)
	if errors.Is(err, service.ErrAnotherRequest) {
		return nil, service.Invalid("Idempotency-Key", "was used for another request; give each request a key of its own")
	}
	if err != nil {
		return nil, fmt.Errorf("once: %w", err)
	}
	return answer, nil
}
