package web

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/google/uuid"
)

// A group that has all of its turns waits, and is sent away in time; the others
// notice nothing of it.
func TestAGroupTakesNoMoreThanItsShare(t *testing.T) {
	t.Parallel()
	s := NewShares(2, 3, 10*time.Millisecond)
	one, another := uuid.New(), uuid.New()
	var ends []func()
	for _, group := range []uuid.UUID{one, one, another} {
		end, err := s.Take(t.Context(), group)
		if err != nil {
			t.Fatal(err)
		}
		ends = append(ends, end)
	}
	for _, group := range []uuid.UUID{one, another} { // its share, all there is
		if _, err := s.Take(t.Context(), group); ProblemOf(err).Status != 503 {
			t.Errorf("%v", err)
		}
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Take(gone, one); !errors.Is(err, context.Canceled) {
		t.Errorf("of a client that is gone: %v", err)
	}
	ends[0]()
	ends[0]() // once is enough
	end, err := s.Take(t.Context(), one)
	if err != nil {
		t.Fatal(err)
	}
	for _, end := range append(ends[1:], end) {
		end()
	}
	if len(s.groups) != 0 {
		t.Errorf("%d groups are remembered that have nothing at work", len(s.groups))
	}
}
