package db

import (
	"context"
	"fmt"
	"sync"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

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

// write runs do in one transaction, which has the turn.
func (s *Store) write(ctx context.Context, t service.Tenant, do func(*writer) error) error {
	o, isOpen := opened(ctx, t)
	if !isOpen || *o.leave == nil {
		leave, err := s.turns.enter(ctx, t.Group)
		if err != nil {
			return err
		}
		if isOpen {
			*o.leave = leave
		} else {
			defer leave()
		}
	}
	w := &writer{tenant: t}
	begin := func(tx pgx.Tx) error { return w.begin(ctx, tx) }
	work := func(pgx.Tx) error { return do(w) }
	if isOpen {
		return translate(pgx.BeginFunc(ctx, o.tx, func(tx pgx.Tx) error {
			if err := begin(tx); err != nil {
				return err
			}
			return work(tx)
		}))
	}
	return inTransaction(ctx, s.pool, pgx.TxOptions{}, begin, work)
}

// begin takes the group's turn, which another replica may have.
func (w *writer) begin(ctx context.Context, tx pgx.Tx) error {
	w.tx = tx
	return send(ctx, tx, tenantIs(w.tenant),
		statement{sql: "set local lock_timeout = '" + turnTimeout + "'"},
		// Not "for update": foreign keys to the group are checked meanwhile.
		statement{
			sql:  "select change_no from groups where group_id = $1 for no key update",
			args: []any{w.tenant.Group}, read: one(&w.changeNo),
		},
		statement{sql: "set local lock_timeout = 0"},
	)
}
