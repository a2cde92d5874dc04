// Package db keeps the group's record in PostgreSQL. It knows every table and
// all SQL; it turns the driver's errors into the service's. Each statement
// runs as the role askwright_app inside the row-level security of one group.
package db

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"golang.org/x/sync/semaphore"

	"askwright/service"
)

// Store is the service's storage: it has what each component of the service
// declares that it needs, as app.Store lists. It is safe for concurrent use.
type Store struct {
	pool       *pgxpool.Pool
	reserved   *pgxpool.Pool       // for authentication and the sign of life, whatever else goes on
	turns      *queues             // of who writes
	keyed      *queues             // of transactions of Once: two of a group, so that a repetition meets the first
	repeatable *semaphore.Weighted // the same of all groups: at most half of the connections
}

// Options limit the pool.
type Options struct {
	MaxConns         int32         // the reserved ones included; zero: pgx's default, the greater of 4 and the cores
	StatementTimeout time.Duration // zero: 30 s
}

// ErrOldBinary says that the schema is newer than this program.
var ErrOldBinary = errors.New("the database was migrated by a newer askwright; install that version")

// ErrNotMigrated says that migrations are pending.
var ErrNotMigrated = errors.New("the database is not up to date; run: askwright migrate")

// Open connects as the service's role and refuses a connection for which
// row-level security would be off, and a schema of another version.
func Open(ctx context.Context, dsn string, o Options) (*Store, error) {
	config, err := pgxpool.ParseConfig(dsn)
	if err != nil {
		return nil, fmt.Errorf("the database address: %w", err)
	}
	if o.MaxConns > 0 {
		config.MaxConns = o.MaxConns
	}
	if o.StatementTimeout == 0 {
		o.StatementTimeout = 30 * time.Second
	}
	for name, value := range map[string]string{
		"role": appRole, "search_path": schema, "timezone": "UTC", "application_name": "askwright",
		"statement_timeout":                   fmt.Sprint(o.StatementTimeout.Milliseconds()),
		"idle_in_transaction_session_timeout": "60000",
		"jit":                                 "off", // statements are short: compiling one takes longer than all its runs
	} {
		config.ConnConfig.RuntimeParams[name] = value
	}
	config.AfterConnect = registerCodecs // of the copy too
	s := &Store{turns: newQueues(1), keyed: newQueues(2)}
	reserved := config.Copy()
	reserved.MaxConns = min(2, max(1, config.MaxConns/4))
	if s.reserved, err = pgxpool.NewWithConfig(ctx, reserved); err != nil {
		return nil, fmt.Errorf("open the database pool: %w", err)
	}
	config.MaxConns = max(1, config.MaxConns-reserved.MaxConns)
	if s.pool, err = pgxpool.NewWithConfig(ctx, config); err != nil {
		s.reserved.Close()
		return nil, fmt.Errorf("open the database pool: %w", err)
	}
	s.repeatable = semaphore.NewWeighted(int64((config.MaxConns + 1) / 2))
	if err := s.check(ctx); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// check looks at who we are and what version the schema has.
func (s *Store) check(ctx context.Context) error {
	var user string
	var unsafe bool
	err := s.pool.QueryRow(ctx, `
		select current_user::text,
		       rolsuper or rolbypassrls or exists (
		           select from pg_class c join pg_namespace n on n.oid = c.relnamespace
		           where n.nspname = 'askwright' and c.relowner = r.oid)
		from pg_roles r where rolname = current_user`).Scan(&user, &unsafe)
	if hasCode(err, codeUndefinedObject, codeInvalidParameter) {
		return ErrNotMigrated
	}
	if hasCode(err, codeNotPermitted) {
		user := s.pool.Config().ConnConfig.User
		return fmt.Errorf("the database user %s may not act as %s; run as an administrator: grant %s to %s (%w)", user, appRole, appRole, user, err)
	}
	if err != nil {
		return fmt.Errorf("connect to the database: %w", err)
	}
	if unsafe {
		return fmt.Errorf("the database user %s is a superuser, bypasses row-level security or owns the tables: groups would not be kept apart", user)
	}
	all, err := migrations()
	if err != nil {
		return err
	}
	var applied []int
	err = s.pool.QueryRow(ctx, selectApplied).Scan(&applied)
	isPending := slices.ContainsFunc(all, func(m migration) bool { return !slices.Contains(applied, m.version) })
	switch {
	case hasCode(err, codeUndefinedTable, codeInvalidSchema) || (err == nil && isPending):
		return ErrNotMigrated
	case err != nil:
		return fmt.Errorf("read the schema's version: %w", err)
	case len(applied) > len(all):
		return ErrOldBinary
	}
	return nil
}

// Close ends all connections.
func (s *Store) Close() {
	s.pool.Close()
	s.reserved.Close()
}

// Pool is for metrics.
func (s *Store) Pool() *pgxpool.Pool { return s.pool }

// Ready asks the database for a sign of life.
func (s *Store) Ready(ctx context.Context) error {
	return onConnection(ctx, s.reserved, func(conn *pgxpool.Conn) (bool, error) { return true, conn.Ping(ctx) })
}

// statement is a query with what to do with its rows.
type statement struct {
	sql  string
	args []any
	read func(pgx.Rows) error // nil: it returns nothing
}

// tenantIs is the statement that every batch and transaction begins with: from
// here to its end, row-level security shows this group, and of the owner-only
// tables this member.
func tenantIs(t service.Tenant) statement {
	return statement{
		sql:  "select set_config('app.group_id', $1, true), set_config('app.member_id', $2, true)",
		args: []any{t.Group.String(), t.Member.String()},
	}
}

// run sends the statements in one round trip, as one implicit transaction of
// the tenant. What only reads is sent again where the connection was lost.
func (s *Store) run(ctx context.Context, t service.Tenant, statements ...statement) error {
	return s.runOn(ctx, s.pool, t, statements)
}

func (s *Store) runOn(ctx context.Context, pool *pgxpool.Pool, t service.Tenant, statements []statement) error {
	fresh := true
	tenant := tenantIs(t)
	tenant.read = func(rows pgx.Rows) error {
		rows.Close()
		fresh = rows.Err() != nil
		return rows.Err()
	}
	all := append([]statement{tenant}, statements...)
	if o, ok := opened(ctx, t); ok {
		return translate(send(ctx, o.tx, all...))
	}
	return onConnection(ctx, pool, func(conn *pgxpool.Conn) (bool, error) {
		err := send(ctx, conn, all...)
		return fresh && (pgconn.SafeToRetry(err) || !slices.ContainsFunc(statements, isNoRead)), err
	})
}

// atOneMoment runs do in a transaction of the tenant whose statements all see
// the same commits.
func (s *Store) atOneMoment(ctx context.Context, t service.Tenant, do func(pgx.Tx) error) error {
	options := pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}
	begin := func(tx pgx.Tx) error { return send(ctx, tx, tenantIs(t)) }
	return inTransaction(ctx, s.pool, options, begin, do)
}

// batchSender is a connection or a transaction.
type batchSender interface {
	SendBatch(ctx context.Context, b *pgx.Batch) pgx.BatchResults
}

// send sends the statements in one round trip and reads what they return.
func send(ctx context.Context, to batchSender, statements ...statement) (err error) {
	batch := &pgx.Batch{} // a new one each time: it remembers plans of its connection
	for _, st := range statements {
		batch.Queue(st.sql, st.args...)
	}
	results := to.SendBatch(ctx, batch)
	defer func() {
		if closing := results.Close(); err == nil {
			err = closing
		}
	}()
	for _, st := range statements {
		if st.read == nil {
			if _, err := results.Exec(); err != nil {
				return err
			}
			continue
		}
		rows, err := results.Query()
		if err != nil {
			return err
		}
		if err := st.read(rows); err != nil {
			return err
		}
	}
	return nil
}

// oneOrNone reads a row into the destinations, if there is one.
func oneOrNone(dest ...any) func(pgx.Rows) error {
	return func(rows pgx.Rows) error {
		_, err := pgx.ForEachRow(rows, dest, func() error { return nil })
		return err
	}
}

// one reads exactly one row into the destinations; no row is ErrNotFound.
func one(dest ...any) func(pgx.Rows) error {
	return func(rows pgx.Rows) error {
		defer rows.Close()
		if !rows.Next() {
			if err := rows.Err(); err != nil {
				return err
			}
			return pgx.ErrNoRows
		}
		if err := rows.Scan(dest...); err != nil {
			return err
		}
		rows.Close()
		return rows.Err()
	}
}
