package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"askwright/service"
	"askwright/service/members"
)

// Counts counts the tenant's rows.
func (s *Store) Counts(ctx context.Context, t service.Tenant) (members.Counts, error) {
	var c members.Counts
	err := s.run(ctx, t, statement{
		sql: `select (select count(*) from member where group_id = $1), (select count(*) from api_key where group_id = $1),
			(select count(*) from piece where group_id = $1), (select count(*) from listing where group_id = $1),
			(select count(*) from event where group_id = $1 and owner_id = $2),
			(select count(*) from cost_line where group_id = $1), (select count(*) from suggestion where group_id = $1)`,
		args: []any{t.Group, t.Member},
		read: one(&c.Members, &c.Keys, &c.Pieces, &c.Listings, &c.Events, &c.CostLines, &c.Suggestions),
	})
	return c, err
}

// contradictions find what foreign keys and checks of one row cannot, each as
// a sentence. Owner-only rows are those of the tenant's member.
var contradictions = []string{
	`select 'the piece ' || ref || ' has no row' from piece p where group_id = $1
		and not exists (select from listing l where l.group_id = p.group_id and l.piece_id = p.piece_id)`,
	`select 'the row ' || l.ref || ' and its piece ' || p.ref || ' belong to different members'
		from listing l join piece p using (group_id, piece_id) where l.group_id = $1 and l.member_id <> p.member_id`,
	`select 'the row ' || l.ref || ' has a change number that the group has not reached' from listing l join groups g using (group_id)
		where l.group_id = $1 and l.change_no > g.change_no`,
	`select 'an event of ' || l.ref || ' has a change number that the group has not reached'
		from event e join listing l using (group_id, listing_id) join groups g using (group_id)
		where e.group_id = $1 and e.change_no > g.change_no`,
	`select 'an event of ' || l.ref || ' names another owner' from event e join listing l using (group_id, listing_id)
		where e.group_id = $1 and e.owner_id <> l.member_id`,
	`select 'the event ' || e.event_id || ' of ' || l.ref || ' undoes one that is not undone by it'
		from event e join listing l using (group_id, listing_id) left join event v on v.group_id = e.group_id and v.event_id = e.voids
		where e.group_id = $1 and e.owner_id = $2 and e.voids is not null
		and (v.voided_by is distinct from e.event_id or v.listing_id is distinct from e.listing_id)`,
	`select 'the event ' || e.event_id || ' of ' || l.ref || ' was undone by one that does not say so'
		from event e join listing l using (group_id, listing_id) left join event v on v.group_id = e.group_id and v.event_id = e.voided_by
		where e.group_id = $1 and e.owner_id = $2 and e.voided_by is not null and v.voids is distinct from e.event_id`,
	// A day ahead may be today's in a zone of the east.
	`select 'the event ' || e.event_id || ' (' || e.kind || ') of ' || l.ref || ' is of ' || e.on_date || ', which lies ahead: a wrong clock; undo it'
		from event e join listing l using (group_id, listing_id)
		where e.group_id = $1 and e.owner_id = $2 and e.voided_by is null and e.on_date > current_date + 1`,
	`select 'the ledger of ' || l.ref || ' belongs to another member' from ledger x join listing l using (group_id, listing_id)
		where x.group_id = $1 and x.member_id <> l.member_id`,
	`select 'a cost line of ' || l.ref || ' belongs to another member' from cost_line x join listing l using (group_id, listing_id)
		where x.group_id = $1 and x.member_id <> l.member_id`,
	`select 'a cost line of ' || l.ref || ' undoes one of another kind or row'
		from cost_line x join cost_line v on v.group_id = x.group_id and v.line_id = x.voids join listing l on l.group_id = x.group_id and l.listing_id = x.listing_id
		where x.group_id = $1 and (x.kind <> v.kind or x.listing_id <> v.listing_id or x.amount <> -v.amount)`,
	`select 'a suggestion for ' || s.ref || ' belongs to another member than its row' from suggestion s join listing l using (group_id, listing_id)
		where s.group_id = $1 and s.member_id <> l.member_id`,
	`select m.name || ' left and has a key that is not revoked' from api_key k join member m using (group_id, member_id)
		where k.group_id = $1 and m.left_at is not null and k.revoked_at is null`,
}

// Contradictions tells which of the tenant's rows do not agree.
func (s *Store) Contradictions(ctx context.Context, t service.Tenant) ([]string, error) {
	var found []string
	statements := make([]statement, len(contradictions))
	for i, sql := range contradictions {
		// Each takes both arguments, whether it needs the second or not.
		statements[i] = statement{
			sql:  "select x.* from (" + sql + ") x where $2::uuid is not null order by 1",
			args: []any{t.Group, t.Member},
			read: func(rows pgx.Rows) error {
				texts, err := pgx.CollectRows(rows, pgx.RowTo[string])
				found = append(found, texts...)
				return err
			},
		}
	}
	err := s.run(ctx, t, statements...)
	return found, err
}

// Unguarded tells which tables do not keep groups apart, which constraints were
// never checked, and what is not as the migrations make it.
func (s *Store) Unguarded(ctx context.Context) ([]string, error) {
	rows, err := s.pool.Query(ctx, `
		select 'the table ' || relname || ' does not keep groups apart: row-level security is off' from pg_class
		where relnamespace = 'askwright'::regnamespace and relkind = 'r' and relname <> 'schema_version'
		and not (relrowsecurity and relforcerowsecurity)
		union all
		select 'the constraint ' || conname || ' of ' || conrelid::regclass::text || ' was never checked against the rows that were there'
		from pg_constraint where connamespace = 'askwright'::regnamespace and not convalidated
		order by 1`)
	if err != nil {
		return nil, translate(err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, translate(err)
	}
	strange, err := s.strangeSchema(ctx)
	return append(found, strange...), err
}

// EachEvent streams the events of the member's own listings.
func (s *Store) EachEvent(ctx context.Context, t service.Tenant, yield func(service.Event) error) error {
	return s.run(ctx, t, statement{
		sql:  selectEvents + " and e.owner_id = $2 order by e.listing_id, e.change_no, e.event_id",
		args: []any{t.Group, t.Member},
		read: each(eventFields, func(e *service.Event) error { return yield(*e) }),
	})
}

// DeleteGroup removes the tenant's group. Rows and pieces go first: nothing
// else holds on to a member.
func (s *Store) DeleteGroup(ctx context.Context, t service.Tenant) error {
	return s.write(ctx, t, func(w *writer) error {
		for _, sql := range []string{"delete from listing where group_id = $1", "delete from piece where group_id = $1"} {
			if err := w.exec(ctx, sql, t.Group); err != nil {
				return fmt.Errorf("the rows of the group: %w", err)
			}
		}
		return w.execOne(ctx, "delete from groups where group_id = $1", t.Group)
	})
}
