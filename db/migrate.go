package db

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

// The roles that the schema knows; see deploy/roles.sql.
const (
	ownerRole = "askwright_owner" // owns the tables
	appRole   = "askwright_app"   // reads and writes rows under row-level security
)

const schema = "askwright"

// migrationLock is the advisory lock that migrations of one database take in
// turn.
const migrationLock = 0x61736b77 // "askw"

type migration struct {
	version int
	name    string
	sql     string
}

// Migrate brings the schema up to date: it makes the roles where they are
// missing, lets loginRole (empty: the connection's own user) act as the
// service's role, and applies all pending migrations in one transaction.
// adminDSN must be a direct connection of a user who may create roles, or for
// whom deploy/roles.sql was run.
func Migrate(ctx context.Context, adminDSN, loginRole string) error {
	conn, err := pgx.Connect(ctx, adminDSN)
	if err != nil {
		return fmt.Errorf("connect to migrate: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if err := makeRoles(ctx, conn, loginRole); err != nil {
		return err
	}
	all, err := migrations()
	if err != nil {
		return err
	}
	return pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, "select pg_advisory_xact_lock($1)", int64(migrationLock)); err != nil {
			return fmt.Errorf("wait for other migrations: %w", err)
		}
		done, err := prepareSchema(ctx, tx)
		if err != nil {
			return err
		}
		for _, m := range all {
			if slices.Contains(done, m.version) {
				continue
			}
			if _, err := tx.Exec(ctx, m.sql); err != nil {
				return fmt.Errorf("migration %s: %w", m.name, err)
			}
			if _, err := tx.Exec(ctx, "insert into schema_version (version, name, applied_at) values ($1, $2, clock_timestamp())", m.version, m.name); err != nil {
				return fmt.Errorf("note migration %s: %w", m.name, err)
			}
		}
		return nil
	})
}

// makeRoles creates the two roles and their memberships where they are missing.
func makeRoles(ctx context.Context, conn *pgx.Conn, loginRole string) error {
	if loginRole == "" {
		if err := conn.QueryRow(ctx, "select session_user::text").Scan(&loginRole); err != nil {
			return fmt.Errorf("ask for the user: %w", err)
		}
	}
	login := pgx.Identifier{loginRole}.Sanitize()
	steps := []struct{ unless, do string }{
		{"select 1 from pg_roles where rolname = '" + ownerRole + "'", "create role " + ownerRole + " nologin"},
		{"select 1 from pg_roles where rolname = '" + appRole + "'", "create role " + appRole + " nologin"},
		{"select 1 where pg_has_role(session_user, '" + ownerRole + "', 'member')", "grant " + ownerRole + " to session_user"},
		{"select 1 where pg_has_role('" + strings.ReplaceAll(loginRole, "'", "''") + "', '" + appRole + "', 'member')", "grant " + appRole + " to " + login},
	}
	for _, step := range steps {
		var one int
		err := conn.QueryRow(ctx, step.unless).Scan(&one)
		if err == nil {
			continue
		}
		if !errors.Is(err, pgx.ErrNoRows) {
			return fmt.Errorf("look for the roles: %w", err)
		}
		if _, err := conn.Exec(ctx, step.do); err != nil && !hasCode(err, codeDuplicateObject, codeUniqueViolation) {
			return fmt.Errorf("%s: %w; have an administrator run deploy/roles.sql first", step.do, err)
		}
	}
	return nil
}

// putAwaySchema is where restore.sh put what it replaced, up to the release in
// which it still could be interrupted in between.
const putAwaySchema = "askwright_before_restore"

// ErrPutAway says that an empty schema would be made beside the one in use.
var ErrPutAway = errors.New("a restore was interrupted: what was there before it is in the schema " + putAwaySchema +
	"; bring it back (alter schema " + putAwaySchema + " rename to " + schema + ") or drop it")

// selectApplied lists the migrations that the schema has.
const selectApplied = "select coalesce(array_agg(version order by version), '{}') from schema_version"

// prepareSchema makes the schema with its version table and returns the
// versions applied. From here on the transaction acts as the owner.
func prepareSchema(ctx context.Context, tx pgx.Tx) (applied []int, err error) {
	for _, sql := range []string{
		"create schema if not exists " + schema + " authorization " + ownerRole,
		"set local role " + ownerRole,
		"set local search_path = " + schema,
		"grant usage on schema " + schema + " to " + appRole,
		`create table if not exists schema_version (
		    version    integer     not null,
		    name       text        not null,
		    applied_at timestamptz not null,
		    constraint schema_version_pkey primary key (version)
		)`,
		"grant select on schema_version to " + appRole,
	} {
		if strings.HasPrefix(sql, "create schema") {
			var exists bool
			if err := tx.QueryRow(ctx, "select exists (select from pg_namespace where nspname = $1)", schema).Scan(&exists); err != nil {
				return nil, fmt.Errorf("look for the schema: %w", err)
			}
			if exists {
				continue
			}
			var putAway bool
			const find = "select exists (select from pg_namespace where nspname = $1)"
			if err := tx.QueryRow(ctx, find, putAwaySchema).Scan(&putAway); err != nil {
				return nil, fmt.Errorf("look for the schema: %w", err)
			}
			if putAway {
				return nil, ErrPutAway
			}
		}
		if _, err := tx.Exec(ctx, sql); err != nil {
			return nil, fmt.Errorf("prepare the schema: %w", err)
		}
	}
	err = tx.QueryRow(ctx, selectApplied).Scan(&applied)
	return applied, err
}

// migrations reads the embedded files: four digits, an underscore, a subject.
// A number may be missing; one that comes late is applied late.
func migrations() ([]migration, error) {
	files, err := fs.Glob(migrationFiles, "migrations/*.sql") // in order of name
	if err != nil {
		return nil, err
	}
	var all []migration
	for _, file := range files {
		name := strings.TrimSuffix(path.Base(file), ".sql")
		number, _, _ := strings.Cut(name, "_")
		version, err := strconv.Atoi(number)
		if err != nil || len(number) != 4 || (len(all) > 0 && version <= all[len(all)-1].version) {
			return nil, fmt.Errorf("migration %s: expected a number of four digits that no other has", name)
		}
		text, err := migrationFiles.ReadFile(file)
		if err != nil {
			return nil, err
		}
		all = append(all, migration{version: version, name: name, sql: string(text)})
	}
	return all, nil
}
