package db

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/recording"
)

// writer is one transaction of one tenant, which holds the group's turn to
// write.
type writer struct {
	tx       pgx.Tx
	tenant   service.Tenant
	changeNo int64 // of the group before this transaction
	raised   bool
	saves    int
}

var _ recording.Writer = (*writer)(nil)

// Write runs do in one transaction; see recording.Store.
func (s *Store) Write(ctx context.Context, t service.Tenant, do func(recording.Writer) error) error {
	return s.write(ctx, t, func(w *writer) error { return do(w) })
}

// raise takes the group's next change number, once in a transaction.
func (w *writer) raise(ctx context.Context) error {
	if w.raised {
		return nil
	}
	w.raised = true
	w.changeNo++
	return w.execOne(ctx, "update groups set change_no = $2 where group_id = $1", w.tenant.Group, w.changeNo)
}

func (w *writer) exec(ctx context.Context, sql string, args ...any) error {
	_, err := w.tx.Exec(ctx, sql, args...)
	return translate(err)
}

// execOne insists on exactly one row; none is ErrNotFound.
func (w *writer) execOne(ctx context.Context, sql string, args ...any) error {
	tag, err := w.tx.Exec(ctx, sql, args...)
	switch {
	case err != nil:
		return translate(err)
	case tag.RowsAffected() == 0:
		return service.ErrNotFound
	case tag.RowsAffected() > 1:
		return fmt.Errorf("%d rows changed where one was meant", tag.RowsAffected())
	}
	return nil
}

// audit notes a change of what is no listing, or the removal of one. owner is
// set where the detail holds owner-only columns.
func (w *writer) audit(ctx context.Context, what string, subject, owner uuid.UUID, detail any) error {
	if err := w.raise(ctx); err != nil {
		return err
	}
	return w.note(ctx, what, subject, owner, detail)
}

// note is audit of what changes no answer: it takes no change number.
func (w *writer) note(ctx context.Context, what string, subject, owner uuid.UUID, detail any) error {
	text, err := json.Marshal(detail)
	if err != nil {
		return err
	}
	if detail == nil {
		text = []byte("{}")
	}
	return w.exec(ctx, `
		insert into audit (group_id, audit_id, member_id, owner_id, at, change_no, what, subject, detail)
		values (@group, @id, @member, @owner, @at, @change, @what, @subject, @detail)`, pgx.StrictNamedArgs{
		"group":   w.tenant.Group,
		"id":      uuid.Must(uuid.NewV7()),
		"member":  w.tenant.Member,
		"owner":   unlessZero(owner),
		"at":      w.tenant.At,
		"change":  w.changeNo,
		"what":    what,
		"subject": subject,
		"detail":  text,
	})
}

// Save writes rows with their pieces, events and ledger lines.
func (w *writer) Save(ctx context.Context, changes []*service.Change) error {
	if err := w.raise(ctx); err != nil {
		return err
	}
	if err := w.replan(ctx); err != nil {
		return err
	}
	batch := &pgx.Batch{}
	for _, c := range changes {
		if c.NewPiece {
			batch.Queue("insert into piece (group_id, piece_id, member_id, ref) values ($1, $2, $3, $4)",
				w.tenant.Group, c.New.PieceID, c.New.MemberID, c.New.PieceRef)
		}
		c.New.ChangeNo = w.changeNo
		row := places(listingFields, c.New)
		if c.Old == nil {
			batch.Queue(insertListing, append([]any{w.tenant.Group}, row...)...)
		} else {
			batch.Queue(updateListing, append([]any{w.tenant.Group, w.tenant.Member}, row...)...)
		}
		if c.Old != nil && c.Old.PieceRef != c.New.PieceRef {
			batch.Queue("update piece set ref = $3 where group_id = $1 and piece_id = $2", w.tenant.Group, c.New.PieceID, c.New.PieceRef)
		}
		for _, e := range c.Events {
			if err := w.queueEvent(batch, c.New, e); err != nil {
				return err
			}
		}
		if c.New.MemberID == w.tenant.Member {
			w.queueLedger(batch, c)
		}
		for _, m := range c.Notices {
			queue := queueNotice(w.tenant.Group, m)
			batch.Queue(queue.sql, queue.args...)
		}
	}
	return translate(w.tx.SendBatch(ctx, batch).Close())
}

// replan drops the server's plans when a transaction has doubled what it wrote.
// Plans made while the tables were empty see no difference between the primary
// key and any other index of the group, and the checks of foreign keys would
// then read the whole group for each row: a first large import in minutes
// instead of seconds.
func (w *writer) replan(ctx context.Context) error {
	w.saves++
	if before := w.saves - 1; before == 0 || before&(before-1) != 0 {
		return nil
	}
	return w.exec(ctx, "discard plans")
}

func (w *writer) queueEvent(batch *pgx.Batch, l *service.Listing, e service.Event) error {
	changes, err := json.Marshal(storedChanges{&e.Changes})
	if err != nil {
		return err
	}
	details, err := json.Marshal(storedDetails{&e.Details})
	if err != nil {
		return err
	}
	ownerDetails, err := json.Marshal(storedDetails{&e.OwnerDetails})
	if err != nil {
		return err
	}
	batch.Queue(`
		insert into event (group_id, event_id, listing_id, owner_id, member_id, kind, on_date, at, change_no, private,
			changes, details, owner_details, voids)
		values (@group, @id, @listing, @owner, @member, @kind, @on, @at, @change, @private,
			@changes, @details, @owner_details, @voids)`, pgx.StrictNamedArgs{
		"group":         w.tenant.Group,
		"id":            e.ID,
		"listing":       l.ID,
		"owner":         l.MemberID,
		"member":        e.MemberID,
		"kind":          storedWord{&e.Kind},
		"on":            e.On,
		"at":            e.At,
		"change":        w.changeNo,
		"private":       e.Private,
		"changes":       changes,
		"details":       details,
		"owner_details": ownerDetails,
		"voids":         unlessZero(e.Voids),
	})
	if e.Voids != uuid.Nil {
		batch.Queue("update event set voided_by = $3 where group_id = $1 and event_id = $2", w.tenant.Group, e.Voids, e.ID)
	}
	return nil
}

// queueLedger keeps the owner's own columns; costs are lines that are only
// ever added.
func (w *writer) queueLedger(batch *pgx.Batch, c *service.Change) {
	var before service.Ledger
	if c.Old != nil {
		before = c.Old.Ledger
	}
	after := c.New.Ledger
	if before.BoughtOn != after.BoughtOn || before.BoughtFrom != after.BoughtFrom || before.ConditionFound != after.ConditionFound || before.Notes != after.Notes {
		batch.Queue(`
			insert into ledger (group_id, listing_id, member_id, bought_on, bought_from, condition_found, notes)
			values ($1, $2, $3, $4, $5, $6, $7)
			on conflict (group_id, listing_id) do update set bought_on = excluded.bought_on, bought_from = excluded.bought_from,
				condition_found = excluded.condition_found, notes = excluded.notes`,
			w.tenant.Group, c.New.ID, c.New.MemberID, after.BoughtOn, after.BoughtFrom, unlessZero(after.ConditionFound), after.Notes)
	}
	w.queueCosts(batch, c, before, after)
}

const insertCostLine = `
	insert into cost_line (group_id, line_id, listing_id, member_id, kind, amount, on_date, at, change_no, step, note, voids)
	values (@group, @line, @listing, @member, @kind, @amount, @on, @at, @change, @step, @note, @voids)`

// queueCosts adds the line that an event came with, and of every other total
// the difference. A total that became unknown has each of its lines undone.
func (w *writer) queueCosts(batch *pgx.Batch, c *service.Change, before, after service.Ledger) {
	var told service.CostKind
	add := func(l service.CostLine) {
		batch.Queue(insertCostLine, pgx.StrictNamedArgs{
			"group":   w.tenant.Group,
			"line":    l.ID,
			"listing": c.New.ID,
			"member":  c.New.MemberID,
			"kind":    l.Kind,
			"amount":  l.Amount,
			"on":      l.On,
			"at":      c.Events[0].At,
			"change":  w.changeNo,
			"step":    l.Step,
			"note":    l.Note,
			"voids":   unlessZero(l.Voids),
		})
	}
	for _, e := range c.Events {
		if e.Line != nil {
			told = e.Line.Kind
			add(*e.Line)
		}
	}
	for _, kind := range service.CostKinds {
		old, wasKnown := before.Costs[kind]
		total, known := after.Costs[kind]
		if kind == told || (total == old && known == wasKnown) {
			continue
		}
		if !known {
			batch.Queue(`
				insert into cost_line (group_id, line_id, listing_id, member_id, kind, amount, on_date, at, change_no, voids)
				select group_id, gen_random_uuid(), listing_id, member_id, kind, -amount, on_date, $4, $5, line_id from cost_line x
				where group_id = $1 and listing_id = $2 and kind = $3 and voids is null
				and not exists (select from cost_line v where v.group_id = x.group_id and v.voids = x.line_id)`,
				w.tenant.Group, c.New.ID, string(kind), c.Events[0].At, w.changeNo)
			continue
		}
		add(service.CostLine{ID: uuid.Must(uuid.NewV7()), Kind: kind, Amount: total - old, On: costDay(kind, c.New, c.Events[0].On)})
	}
}

// costDay is the day of an amount that came without one: what buying the piece
// cost is of the day it was bought, what its sale did of the day it ended.
func costDay(kind service.CostKind, l *service.Listing, otherwise pricing.Date) pricing.Date {
	switch kind {
	case service.CostPurchase, service.CostPickup:
		return cmp.Or(l.Ledger.BoughtOn, otherwise)
	case service.CostFees, service.CostDelivery, service.CostDeliveryCharged:
		return cmp.Or(l.EndedOn, otherwise)
	}
	return otherwise
}

// Delete removes a row and, with its last row, the piece.
func (w *writer) Delete(ctx context.Context, l *service.Listing) error {
	// The detail holds the owner's columns, so it is the owner's alone.
	if err := w.audit(ctx, "listing deleted", l.ID, l.MemberID, l); err != nil {
		return err
	}
	if err := w.execOne(ctx, "delete from listing where group_id = $1 and listing_id = $2", w.tenant.Group, l.ID); err != nil {
		return err
	}
	if err := w.exec(ctx, "insert into listing_deleted (group_id, listing_id, change_no) values ($1, $2, $3)", w.tenant.Group, l.ID, w.changeNo); err != nil {
		return err
	}
	return w.exec(ctx, `
		delete from piece p where group_id = $1 and piece_id = $2
		and not exists (select from listing l where l.group_id = p.group_id and l.piece_id = p.piece_id)`, w.tenant.Group, l.PieceID)
}

// Listing reads one row.
func (w *writer) Listing(ctx context.Context, id uuid.UUID) (*service.Listing, error) {
	found, err := w.listings(ctx, selectListings+" and l.listing_id = $2", w.tenant.Group, id)
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		return nil, service.ErrNotFound
	}
	return found[0], nil
}

// PieceListings reads all rows of a piece.
func (w *writer) PieceListings(ctx context.Context, piece uuid.UUID) ([]*service.Listing, error) {
	return w.listings(ctx, selectListings+" and l.piece_id = $2", w.tenant.Group, piece)
}

// ListingsByRef finds a member's rows by their refs.
func (w *writer) ListingsByRef(ctx context.Context, member uuid.UUID, refs []string) (map[string]*service.Listing, error) {
	found, err := w.listings(ctx, rowsOf(eachOf("$3::text[]", "listing", "x.member_id = $2 and x.ref = wanted.one")), w.tenant.Group, member, refs)
	byRef := make(map[string]*service.Listing, len(found))
	for _, l := range found {
		byRef[l.Ref] = l
	}
	return byRef, err
}

// ListingsByID finds rows of any member.
func (w *writer) ListingsByID(ctx context.Context, ids []uuid.UUID) ([]*service.Listing, error) {
	return w.listings(ctx, rowsOf(eachOf("$2::uuid[]", "listing", "x.listing_id = wanted.one")), w.tenant.Group, ids)
}

// OpenListings finds the open own listing of each piece that has one.
func (w *writer) OpenListings(ctx context.Context, pieces []uuid.UUID) (map[uuid.UUID]*service.Listing, error) {
	found, err := w.listings(ctx, rowsOf(eachOf("$2::uuid[]", "listing", "x.piece_id = wanted.one and x.outcome = 'open' and x.source = 'own'")), w.tenant.Group, pieces)
	byPiece := make(map[uuid.UUID]*service.Listing, len(found))
	for _, l := range found {
		byPiece[l.PieceID] = l
	}
	return byPiece, err
}

// eachOf is a subquery that finds a table's rows of the group by one index
// search for each wanted value. With "= any(...)" the server, which knows
// nothing of a table just being filled, takes a member for a handful of rows
// and reads them all for every batch. The distinct keeps the rows apart from
// repeats of a value; the offset keeps the searches from being joined.
func eachOf(array, table, condition string) string {
	return "(select found.* from (select distinct unnest(" + array + ") as one) wanted cross join lateral (select * from " + table +
		" x where x.group_id = $1 and " + condition + " offset 0) found)"
}

func (w *writer) listings(ctx context.Context, sql string, args ...any) ([]*service.Listing, error) {
	var found []*service.Listing
	rows, err := w.tx.Query(ctx, sql, args...)
	if err == nil {
		err = collectListings(&found)(rows)
	}
	return found, translate(err)
}

// PieceIDs finds a member's pieces by their refs.
func (w *writer) PieceIDs(ctx context.Context, member uuid.UUID, refs []string) (map[string]uuid.UUID, error) {
	rows, err := w.tx.Query(ctx, "select ref, piece_id from "+eachOf("$3::text[]", "piece", "x.member_id = $2 and x.ref = wanted.one")+" p", w.tenant.Group, member, refs)
	if err != nil {
		return nil, translate(err)
	}
	byRef := make(map[string]uuid.UUID)
	var ref string
	var id uuid.UUID
	_, err = pgx.ForEachRow(rows, []any{&ref, &id}, func() error {
		byRef[ref] = id
		return nil
	})
	return byRef, translate(err)
}

// Event reads one event.
func (w *writer) Event(ctx context.Context, id uuid.UUID) (*service.Event, error) {
	found, err := w.events(ctx, selectEvents+" and e.event_id = $2", w.tenant.Group, id)
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		return nil, service.ErrNotFound
	}
	return &found[0], nil
}

// Events tells a listing's facts in the order they were recorded.
func (w *writer) Events(ctx context.Context, listing uuid.UUID) ([]service.Event, error) {
	return w.events(ctx, selectListingEvents, w.tenant.Group, listing)
}

func (w *writer) events(ctx context.Context, sql string, args ...any) ([]service.Event, error) {
	var found []service.Event
	rows, err := w.tx.Query(ctx, sql, args...)
	if err == nil {
		err = collect(&found, eventFields)(rows)
	}
	return found, translate(err)
}
