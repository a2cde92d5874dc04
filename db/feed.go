package db

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
)

const stateColumns = "s.listing_id, s.state, s.action, s.since, s.updated_at"

// NoteStates notes the states of all open listings and queues what changed.
func (s *Store) NoteStates(ctx context.Context, group uuid.UUID, at time.Time, open []service.ListingState,
	tell func(changed []service.ListingState) []service.Notice) error {
	ids, states, actions := make([]uuid.UUID, len(open)), make([]string, len(open)), make([]string, len(open))
	var steps stepColumns
	for i, o := range open {
		ids[i], states[i], actions[i] = o.ListingID, o.State, o.Action
		steps.add(o.Step)
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
			args: []any{group, ids, states, actions, at}, read: collectStates(&changed),
		},
		{
			sql: `update listing_state s set state = 'ended', action = '', since = greatest(s.updated_at, $3), updated_at = greatest(s.updated_at, $3)
				where s.group_id = $1 and s.state <> 'ended' and s.listing_id <> all ($2::uuid[])
				returning ` + stateColumns,
			args: []any{group, ids, at}, read: collectStates(&changed),
		},
	}
	note = append(note, statement{
		sql: `update listing_state s set step_from = told.step_from, step_at_age = told.step_at_age, step_to = told.step_to,
				checks_from = told.checks_from, step_is_due = told.step_is_due
			from unnest($2::uuid[], $3::bigint[], $4::float8[], $5::bigint[], $6::date[], $7::bool[])
				as told (listing_id, step_from, step_at_age, step_to, checks_from, step_is_due)
			where s.group_id = $1 and s.listing_id = told.listing_id
			and (s.step_from, s.step_at_age, s.step_to, s.checks_from, s.step_is_due) is distinct from
				(told.step_from, told.step_at_age, told.step_to, told.checks_from, told.step_is_due)`,
		args: []any{group, ids, steps.from, steps.atAge, steps.to, steps.checks, steps.due},
	})
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

// stepColumns are the kept steps of listings by column.
type stepColumns struct {
	from, to []*int64
	atAge    []*float64
	checks   []*time.Time
	due      []bool
}

func (c *stepColumns) add(s service.KeptStep) {
	known := func(m service.Money) *int64 {
		if m == 0 {
			return nil
		}
		return new(int64(m))
	}
	var atAge *float64
	var checks *time.Time
	if s.From != 0 {
		atAge = &s.AtAge
	}
	if !s.ChecksFrom.IsZero() {
		checks = new(s.ChecksFrom.Time())
	}
	c.from, c.to = append(c.from, known(s.From)), append(c.to, known(s.To))
	c.atAge, c.checks, c.due = append(c.atAge, atAge), append(c.checks, checks), append(c.due, s.IsDue)
}

// keptSteps reads what was told of the next steps of listings, and which checks
// were done.
func keptSteps(byID map[uuid.UUID]*model.Recorded, group uuid.UUID, ids []uuid.UUID) []statement {
	return []statement{
		{
			sql: `select s.listing_id, s.step_from, coalesce(s.step_at_age, 0), coalesce(s.step_to, 0), s.checks_from, s.step_is_due
				from listing_state s where s.group_id = $1 and s.listing_id = any($2::uuid[]) and s.step_from is not null`,
			args: []any{group, ids}, read: func(rows pgx.Rows) error {
				var id uuid.UUID
				var step service.KeptStep
				var checks *pricing.Date
				_, err := pgx.ForEachRow(rows, []any{&id, &step.From, &step.AtAge, &step.To, &checks, &step.IsDue}, func() error {
					step.ChecksFrom = 0
					if checks != nil {
						step.ChecksFrom = *checks
					}
					byID[id].Step = step
					return nil
				})
				return err
			},
		},
		{
			sql: `select e.listing_id, e.on_date, coalesce(e.details->>'check', '') from event e
				where e.group_id = $1 and e.listing_id = any($2::uuid[]) and e.kind = 'check' and e.voided_by is null
				order by e.on_date, e.change_no`,
			args: []any{group, ids}, read: func(rows pgx.Rows) error {
				var id uuid.UUID
				var on pricing.Date
				var check string
				_, err := pgx.ForEachRow(rows, []any{&id, &on, &check}, func() error {
					r := byID[id]
					if r.Checked == nil {
						r.Checked = make(map[string]pricing.Date)
					}
					r.Checked[check] = on
					return nil
				})
				return err
			},
		},
	}
}

// States returns what is noted of all listings.
func (s *Store) States(ctx context.Context, t service.Tenant) ([]service.ListingState, error) {
	var found []service.ListingState
	err := s.run(ctx, t, statement{
		sql:  "select " + stateColumns + " from listing_state s where s.group_id = $1",
		args: []any{t.Group}, read: collectStates(&found),
	})
	return found, err
}

// collectStates reads states, without the steps that were told.
func collectStates(into *[]service.ListingState) func(pgx.Rows) error {
	return func(rows pgx.Rows) (err error) {
		*into, err = pgx.AppendRows(*into, rows, pgx.RowToStructByNameLax[service.ListingState])
		return err
	}
}
