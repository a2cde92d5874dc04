package service

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"time"
)

// OnceRequest is a request that a client may repeat because it does not know
// whether it arrived: it names the repetition by a key of its own.
type OnceRequest struct {
	Operation string            // method and path
	Key       string            // of the client's making, at most 255 bytes
	Sum       [sha256.Size]byte // of all that the answer depends on
	At        time.Time
}

// OnceAnswer is a kept answer.
type OnceAnswer struct {
	Status  int
	Headers map[string]string
	Body    []byte
}

// OnceStore keeps answers.
type OnceStore interface {
	// Once runs do in a transaction that every write made with its context
	// joins, and keeps the answer in the same one: either both are on file or
	// neither. It returns the answer kept under the key since the given time,
	// if there is one, and then runs nothing. ErrInProgress while another request
	// with the key is; ErrAnotherRequest when the kept one was another.
	// What do refuses is not kept.
	Once(ctx context.Context, t Tenant, r OnceRequest, since time.Time, do func(context.Context) (*OnceAnswer, error)) (*OnceAnswer, error)
}

// keepAnswers is how long a request can be repeated.
const keepAnswers = 48 * time.Hour

// Once does what a request asks for, unless it has been done: then it returns
// the answer given at that time.
func (s *Service) Once(ctx context.Context, a *Actor, r OnceRequest, do func(context.Context) (*OnceAnswer, error)) (*OnceAnswer, error) {
	// Now, because the transaction keeps a connection while do runs.
	if err := s.recorder.flush(ctx); err != nil {
		return nil, err
	}
	r.At = a.Now
	answer, err := s.store.Once(ctx, a.Tenant(), r, a.Now.Add(-keepAnswers), do)
	if errors.Is(err, ErrAnotherRequest) {
		return nil, Invalid("Idempotency-Key", "was used for another request; give each request a key of its own")
	}
	if err != nil {
		return nil, fmt.Errorf("once: %w", err)
	}
	return answer, nil
}

// ErrAnotherRequest says that a key of a repetition belongs to another request.
var ErrAnotherRequest = errors.New("another request")
