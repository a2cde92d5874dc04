package db

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/service"
)

const stateColumns = "s.listing_id, s.state, s.action, s.since, s.updated_at"

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
		tenantIs(service.Tenant{Group: group}),
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
			args: []any{group, ids, states, actions, at}, read: collectByName(&changed),
		},
		{
			sql: `update listing_state s set state = 'ended', action = '', since = greatest(s.updated_at, $3), updated_at = greatest(s.updated_at, $3)
				where s.group_id = $1 and s.state <> 'ended' and s.listing_id <> all ($2::uuid[])
				returning ` + stateColumns,
			args: []any{group, ids, at}, read: collectByName(&changed),
		},
	}
	begin := func(tx pgx.Tx) error {
		changed = nil
		return send(ctx, tx, note...)
	}
	return inTransaction(ctx, s.pool, pgx.TxOptions{}, begin, func(tx pgx.Tx) error {
		var notices []statement
		for _, m := range tell(changed) {
			notices = append(notices, queueNotice(group, m))
		}
		return send(ctx, tx, notices...)
	})
}

// States returns what is noted of all listings.
func (s *Store) States(ctx context.Context, t service.Tenant) ([]service.ListingState, error) {
	var found []service.ListingState
	err := s.run(ctx, t, statement{
		sql:  "select " + stateColumns + " from listing_state s where s.group_id = $1",
		args: []any{t.Group}, read: collectByName(&found),
	})
	return found, err
}
