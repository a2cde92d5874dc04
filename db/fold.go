package db

import (
	"bytes"
	"context"
	"encoding/gob"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
)

// StoredModel reads what is kept of a model.
func (s *Store) StoredModel(ctx context.Context, t service.Tenant, design int) (*model.StoredModel, error) {
	m := &model.StoredModel{Statistics: &pricing.Statistics{}}
	err := s.atOneMoment(ctx, t, func(tx pgx.Tx) error {
		key := []any{t.Group, design}
		return send(ctx, tx,
			statement{sql: "select folded, statistics from value_statistics where group_id = $1 and design = $2", args: key, read: func(rows pgx.Rows) error {
				var packed []byte
				_, err := pgx.ForEachRow(rows, []any{&m.ChangeNo, &packed}, func() error { return unpack(packed, m.Statistics) })
				return err
			}},
			statement{sql: `select fitted_on, change_no, rates, (select count(*) from listing l
					where l.group_id = f.group_id and l.change_no > f.change_no and l.outcome in ('sold', 'withdrawn'))
				from rate_fit f where group_id = $1 and design = $2`, args: key, read: func(rows pgx.Rows) error { return readRates(rows, m) }},
		)
	})
	return m, err
}

func readRates(rows pgx.Rows, m *model.StoredModel) error {
	var on time.Time
	var changeNo int64
	var text []byte
	_, err := pgx.ForEachRow(rows, []any{&on, &changeNo, &text, &m.Closed}, func() error {
		m.Rates = &model.StoredRates{ChangeNo: changeNo}
		if err := json.Unmarshal(text, &m.Rates.Rates); err != nil {
			return fmt.Errorf("rates fitted on %s: %w", on.Format(time.DateOnly), err)
		}
		return nil
	})
	return err
}

func unpack(packed []byte, s *pricing.Statistics) error {
	if len(packed) == 0 {
		return nil
	}
	if err := gob.NewDecoder(bytes.NewReader(packed)).Decode(s); err != nil {
		return fmt.Errorf("statistics of the value model: %w", err)
	}
	return nil
}

// CatchUp brings statistics up to date: see model.Store. All of it sees one
// moment, so that the statistics are those of its change number. Who comes
// second waits for the lock and starts again, mostly to find the work done.
func (s *Store) CatchUp(ctx context.Context, t service.Tenant, design int, anew bool, do func(*model.CatchUp) error) error {
	const tries = 10
	for i := 1; ; i++ {
		nothing := func(pgx.Tx) error { return nil }
		err := inTransaction(ctx, s.pool, pgx.TxOptions{IsoLevel: pgx.RepeatableRead}, nothing, func(tx pgx.Tx) error {
			f := folding{tx: tx, tenant: t, design: design, added: make(map[uuid.UUID]pricing.SaleRow)}
			return f.run(ctx, anew, do)
		})
		if !hasCode(err, codeSerialization) || i == tries {
			return err
		}
	}
}

// folding is one attempt.
type folding struct {
	tx     pgx.Tx
	tenant service.Tenant
	design int

	folded int64 // so far
	fold   model.CatchUp
	added  map[uuid.UUID]pricing.SaleRow
}

func (f *folding) run(ctx context.Context, anew bool, do func(*model.CatchUp) error) error {
	if err := f.lock(ctx, anew); err != nil {
		return err
	}
	if f.folded > 0 {
		if err := f.readAdded(ctx); err != nil {
			return err
		}
	}
	// The offset keeps the search to the index of changes: without statistics of
	// its own the server takes a large group for a handful of sales.
	const sold = "(select * from (select * from listing where group_id = $1 and change_no > $2 offset 0) l where true" + ofSold + ")"
	rows, err := f.tx.Query(ctx, factsOf(sold), f.tenant.Group, f.folded)
	if err != nil {
		return err
	}
	if err := collectListings(&f.fold.Sold)(rows); err != nil {
		return err
	}
	f.fold.Added = f.added
	if err := do(&f.fold); err != nil {
		return err
	}
	return f.write(ctx)
}

// lock takes the statistics' row, a new one where there is none. A first row
// sweeps away the designs before the last: that one may still be in use by a
// replica of the release before.
func (f *folding) lock(ctx context.Context, anew bool) error {
	var packed []byte
	key := []any{f.tenant.Group, f.design}
	if err := send(ctx, f.tx, tenantIs(f.tenant),
		statement{sql: "insert into value_statistics (group_id, design) values ($1, $2) on conflict do nothing", args: key},
		statement{sql: "select folded, corrections, statistics from value_statistics where group_id = $1 and design = $2 for update", args: key,
			read: one(&f.folded, &f.fold.Corrections, &packed)},
		statement{sql: "select change_no from groups where group_id = $1", args: key[:1], read: one(&f.fold.To)},
	); err != nil {
		return err
	}
	f.fold.Statistics = &pricing.Statistics{}
	if !anew && f.folded > 0 {
		return unpack(packed, f.fold.Statistics)
	}
	f.folded, f.fold.Corrections = 0, 0
	batch := &pgx.Batch{}
	batch.Queue("delete from sale_row where group_id = $1 and design = $2", key...)
	batch.Queue("delete from value_statistics where group_id = $1 and design < $2 - 1", key...)
	batch.Queue("delete from rate_fit where group_id = $1 and design < $2 - 1", key...)
	return f.tx.SendBatch(ctx, batch).Close()
}

const saleColumns = "listing_id, on_date, terms, term_values, y, weight"

// SaleRows reads the sales in the statistics, as of the change number that they
// are folded to.
func (s *Store) SaleRows(ctx context.Context, t service.Tenant, design int) ([]pricing.SaleRow, int64, error) {
	var folded int64
	var sales []pricing.SaleRow
	err := s.atOneMoment(ctx, t, func(tx pgx.Tx) error {
		key := []any{t.Group, design}
		return send(ctx, tx,
			statement{sql: "select folded from value_statistics where group_id = $1 and design = $2", args: key, read: oneOrNone(&folded)},
			statement{
				sql: "select " + saleColumns + " from sale_row where group_id = $1 and design = $2 order by listing_id", args: key,
				read: func(rows pgx.Rows) error {
					return eachSale(rows, func(_ uuid.UUID, row pricing.SaleRow) { sales = append(sales, row) })
				},
			})
	})
	return sales, folded, err
}

// readAdded reads what was added for listings that changed or went since.
func (f *folding) readAdded(ctx context.Context) error {
	rows, err := f.tx.Query(ctx, `
		select `+saleColumns+` from sale_row
		where group_id = $1 and design = $2 and listing_id in (
			select listing_id from listing where group_id = $1 and change_no > $3
			union all select listing_id from listing_deleted where group_id = $1 and change_no > $3)`,
		f.tenant.Group, f.design, f.folded)
	if err != nil {
		return err
	}
	return eachSale(rows, func(id uuid.UUID, row pricing.SaleRow) { f.added[id] = row })
}

// eachSale reads sales as they were added.
func eachSale(rows pgx.Rows, take func(uuid.UUID, pricing.SaleRow)) error {
	var id uuid.UUID
	var terms []string
	var values []float64
	var row pricing.SaleRow
	_, err := pgx.ForEachRow(rows, []any{&id, &row.On, &terms, &values, &row.Y, &row.Weight}, func() error {
		row.Listing, row.Terms = id.String(), make([]pricing.Term, len(terms))
		for i, name := range terms {
			row.Terms[i] = pricing.Term{Name: name, Value: values[i]}
		}
		take(id, row)
		return nil
	})
	return err
}

// write stores what the fold made.
func (f *folding) write(ctx context.Context) error {
	batch := &pgx.Batch{}
	if len(f.fold.Drop) > 0 {
		batch.Queue("delete from sale_row where group_id = $1 and design = $2 and listing_id = any($3)", f.tenant.Group, f.design, f.fold.Drop)
	}
	for id, row := range f.fold.Put {
		terms, values := make([]string, len(row.Terms)), make([]float64, len(row.Terms))
		for i, t := range row.Terms {
			terms[i], values[i] = t.Name, t.Value
		}
		batch.Queue(`
			insert into sale_row (group_id, design, listing_id, on_date, terms, term_values, y, weight) values ($1, $2, $3, $4, $5, $6, $7, $8)
			on conflict (group_id, design, listing_id) do update set on_date = excluded.on_date, terms = excluded.terms,
				term_values = excluded.term_values, y = excluded.y, weight = excluded.weight`,
			f.tenant.Group, f.design, id, row.On, terms, values, row.Y, row.Weight)
	}
	if batch.Len() == 0 && f.folded > 0 {
		batch.Queue("update value_statistics set folded = $3 where group_id = $1 and design = $2", f.tenant.Group, f.design, f.fold.To)
		return f.tx.SendBatch(ctx, batch).Close()
	}
	var packed bytes.Buffer
	if err := gob.NewEncoder(&packed).Encode(f.fold.Statistics); err != nil {
		return fmt.Errorf("pack the statistics: %w", err)
	}
	batch.Queue("update value_statistics set folded = $3, corrections = $4, statistics = $5 where group_id = $1 and design = $2",
		f.tenant.Group, f.design, f.fold.To, f.fold.Corrections, packed.Bytes())
	return f.tx.SendBatch(ctx, batch).Close()
}

// putRates stores a fit unless one of a newer change, or of the same change
// and a newer day, is there.
func putRates(group uuid.UUID, design int, r model.StoredRates) (statement, error) {
	text, err := json.Marshal(r.Rates)
	if err != nil {
		return statement{}, fmt.Errorf("write the rates: %w", err)
	}
	return statement{
		sql: `insert into rate_fit (group_id, design, fitted_on, change_no, rates) values ($1, $2, $3, $4, $5)
			on conflict (group_id, design) do update
			set fitted_on = excluded.fitted_on, change_no = excluded.change_no, rates = excluded.rates, taken_until = null
			where (rate_fit.change_no, rate_fit.fitted_on) < (excluded.change_no, excluded.fitted_on)`,
		args: []any{group, design, r.FittedOn, r.ChangeNo, text},
	}, nil
}

// KeepRates stores a fit.
func (s *Store) KeepRates(ctx context.Context, t service.Tenant, design int, r model.StoredRates) error {
	put, err := putRates(t.Group, design, r)
	if err != nil {
		return err
	}
	return s.run(ctx, t, put)
}

// TakeRefit takes the turn to fit anew. It holds no lock on the row, so that
// nobody waits for it, and a program that died at it is waited for no longer
// than until the time given.
func (s *Store) TakeRefit(ctx context.Context, t service.Tenant, design int, storedAt int64, now, until time.Time) (bool, error) {
	taken := 0
	err := s.run(ctx, t, statement{
		sql: `update rate_fit set taken_until = $5 where group_id = $1 and design = $2 and change_no = $3
			and (taken_until is null or taken_until <= $4) returning 1`,
		args: []any{t.Group, design, storedAt, now, until}, read: oneOrNone(&taken),
	})
	return taken == 1, err
}

// KeepRefit stores a fit and raises the change number.
func (s *Store) KeepRefit(ctx context.Context, t service.Tenant, design int, r model.StoredRates) error {
	put, err := putRates(t.Group, design, r)
	if err != nil {
		return err
	}
	return s.write(ctx, t, func(w *writer) error {
		if err := w.raise(ctx); err != nil {
			return err
		}
		return w.exec(ctx, put.sql, put.args...)
	})
}
