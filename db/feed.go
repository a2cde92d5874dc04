package db

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/service"
)

const stateColumns = "s.listing_id, s.state, s.action, s.since, s.updated_at"

func stateOf(r *service.ListingState) (service.ListingState, error) { return *r, nil }

// NoteStates notes the states of all open listings and queues what changed.
func (s *Store) NoteStates(ctx context.Context, group uuid.UUID, at time.Time, open []service.ListingState,
	tell func(changed []service.ListingState) []service.Notice) error {
	ids, states, actions := make([]uuid.UUID, len(open)), make([]string, len(open)), make([]string, len(open))
	for i, o := range open {
		ids[i], states[i], actions[i] = o.ListingID, o.State, o.Action
	}
	var changed []service.ListingState
	// A clock that was put back does not put back what is noted.
	note := []statement{
		{
			sql: `insert into listing_state as s (group_id, listing_id, state, action, since, updated_at)
				select $1, l.listing_id, told.state, told.action, $5, $5
				from unnest($2::uuid[], $3::text[], $4::text[]) as told (listing_id, state, action)
				join listing l on l.group_id = $1 and l.listing_id = told.listing_id
				for key share of l -- it may be being deleted
				on conflict (group_id, listing_id) do update set state = excluded.state, action = excluded.action,
					since = case when s.state = excluded.state then s.since else greatest(s.since, excluded.since) end,
					updated_at = greatest(s.updated_at, excluded.updated_at)
				where (s.state, s.action) is distinct from (excluded.state, excluded.action)
				returning ` + stateColumns,
			args: []any{group, ids, states, actions, at}, read: collect(&changed, stateOf),
		},
		{
			sql: `update listing_state s set state = 'ended', action = '', since = greatest(s.updated_at, $3), updated_at = greatest(s.updated_at, $3)
				where s.group_id = $1 and s.state <> 'ended' and s.listing_id <> all ($2::uuid[])
				returning ` + stateColumns,
			args: []any{group, ids, at}, read: collect(&changed, stateOf),
		},
	}
	begin := func(tx pgx.Tx) error {
		batch := &pgx.Batch{}
		batch.Queue(asTenant, group.String(), uuid.Nil.String())
		for _, st := range note {
			batch.Queue(st.sql, st.args...)
		}
		changed = nil
		return sendBatch(ctx, tx, batch, 1, note)
	}
	return inTransaction(ctx, s.pool, pgx.TxOptions{}, begin, func(tx pgx.Tx) error {
		notices := &pgx.Batch{}
		for _, m := range tell(changed) {
			queue := queueNotice(group, m)
			notices.Queue(queue.sql, queue.args...)
		}
		return tx.SendBatch(ctx, notices).Close()
	})
}

// States returns what is noted of all listings.
func (s *Store) States(ctx context.Context, t service.Tenant) ([]service.ListingState, error) {
	var found []service.ListingState
	err := s.run(ctx, t, statement{
		sql:  "select " + stateColumns + " from listing_state s where s.group_id = $1",
		args: []any{t.Group}, read: collect(&found, stateOf),
	})
	return found, err
}
