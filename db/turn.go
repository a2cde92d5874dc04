package db

import (
	"context"
	"fmt"
	"sync"

	"github.com/google/uuid"

	"askwright/service"
)

// maxWaiting is how many requests of a group may wait for its turn to write, in
// this program.
const maxWaiting = 32

// turnTimeout is how long the turn is waited for in the database, where another
// replica has it.
const turnTimeout = "10s"

// queues lets few requests of each group go on at once, in their order. Who
// waits here holds no connection, so that a group never takes those of others.
type queues struct {
	width int // how many of a group go on at once

	mu     sync.Mutex
	groups map[uuid.UUID]*queue // those with somebody in them
}

type queue struct {
	going chan struct{}
	count int // going and waiting
}

func newQueues(width int) *queues {
	return &queues{width: width, groups: make(map[uuid.UUID]*queue)}
}

// enter waits for a place; leave gives it up.
func (q *queues) enter(ctx context.Context, group uuid.UUID) (leave func(), err error) {
	q.mu.Lock()
	at, ok := q.groups[group]
	if !ok {
		at = &queue{going: make(chan struct{}, q.width)}
		q.groups[group] = at
	}
	if at.count >= maxWaiting+q.width {
		q.mu.Unlock()
		return nil, fmt.Errorf("%w: %d requests of the group wait to write", service.ErrUnavailable, maxWaiting)
	}
	at.count++
	q.mu.Unlock()
	select {
	case at.going <- struct{}{}:
		return func() {
			<-at.going
			q.drop(group, at)
		}, nil
	case <-ctx.Done():
		q.drop(group, at)
		return nil, translate(ctx.Err())
	}
}

func (q *queues) drop(group uuid.UUID, at *queue) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if at.count--; at.count == 0 {
		delete(q.groups, group)
	}
}
