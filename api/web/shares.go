package web

import (
	"context"
	"sync"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/semaphore"
)

// Answers that take long to work out or to send: how many of a group at once,
// and in all, and how long one waits for its turn.
const (
	answersOfGroup = 2
	answersInAll   = 32
	workInAll      = 4 // answers being worked out; each may hold a connection to the database
	turnPatience   = 5 * time.Second
)

// Shares bound how much of one kind of work goes on at once, for each group and
// in all, so that no group takes what the others need.
type Shares struct {
	perGroup int64
	patience time.Duration // how long one waits for a turn
	all      *semaphore.Weighted

	mu     sync.Mutex
	groups map[uuid.UUID]*groupShare
}

// groupShare is what a group has at work; it is forgotten when that is nothing.
type groupShare struct {
	turns *semaphore.Weighted
	users int
}

// NewShares returns Shares.
func NewShares(perGroup, inAll int64, patience time.Duration) *Shares {
	return &Shares{
		perGroup: perGroup,
		patience: patience,
		all:      semaphore.NewWeighted(inAll),
		groups:   make(map[uuid.UUID]*groupShare),
	}
}

// Take waits for a turn of the group; the function returned ends it. Where none
// comes soon the answer is 503.
func (s *Shares) Take(ctx context.Context, group uuid.UUID) (end func(), err error) {
	share := s.enter(group)
	waiting, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	if err = share.turns.Acquire(waiting, 1); err == nil {
		if err = s.all.Acquire(waiting, 1); err != nil {
			share.turns.Release(1)
		}
	}
	if err == nil {
		return sync.OnceFunc(func() {
			s.all.Release(1)
			share.turns.Release(1)
			s.leave(group, share)
		}), nil
	}
	s.leave(group, share)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	return nil, Refuse(Unavailable, "as much of this is being worked on as goes at once; ask again in a moment")
}

func (s *Shares) enter(group uuid.UUID) *groupShare {
	s.mu.Lock()
	defer s.mu.Unlock()
	share := s.groups[group]
	if share == nil {
		share = &groupShare{turns: semaphore.NewWeighted(s.perGroup)}
		s.groups[group] = share
	}
	share.users++
	return share
}

func (s *Shares) leave(group uuid.UUID, share *groupShare) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if share.users--; share.users == 0 {
		delete(s.groups, group)
	}
}
