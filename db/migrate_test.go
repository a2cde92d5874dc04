package db_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/url"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"

	"askwright/db"
	"askwright/db/dbtest"
	"askwright/db/private"
	"askwright/service/servicetest"
)

func inDatabase(t *testing.T, dsn, name string) string {
	t.Helper()
	u, err := url.Parse(dsn)
	if err != nil {
		t.Fatal(err)
	}
	u.Path = "/" + name
	return u.String()
}

func asUser(t *testing.T, dsn, name string) string {
	t.Helper()
	u, err := url.Parse(dsn)
	if err != nil {
		t.Fatal(err)
	}
	u.User = url.User(name)
	return u.String()
}

const applied = "select string_agg(version || ' ' || name || ' ' || applied_at, E'\n' order by version) from schema_version"

func TestMigrateAnEmptyDatabaseAndAgain(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	admin := connect(t, d.AdminDSN, "")
	dsn := onServer(t, admin, d.AdminDSN, fmt.Sprintf("empty_%d", os.Getpid()))
	if err := db.Migrate(t.Context(), dsn, ""); err != nil {
		t.Fatal(err)
	}
	conn := connect(t, dsn, "")
	first := value[string](t, conn, applied)
	if err := db.Migrate(t.Context(), dsn, ""); err != nil {
		t.Fatalf("again: %v", err)
	}
	if again := value[string](t, conn, applied); again != first {
		t.Errorf("migrations after a second run:\n%s\nwant\n%s", again, first)
	}
	n, err := db.Migrations()
	if err != nil || strings.Count(first, "\n")+1 != n {
		t.Errorf("applied:\n%s\n%v; want %d", first, err, n)
	}
}

// Several servers may start at once on a database that none has seen.
func TestMigrationsTakeTurns(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	dsn := onServer(t, connect(t, d.AdminDSN, ""), d.AdminDSN, fmt.Sprintf("raced_%d", os.Getpid()))
	if err := migrateAtOnce(t.Context(), dsn, ""); err != nil {
		t.Fatal(err)
	}
	if n, err := db.Migrations(); err != nil || value[int](t, connect(t, dsn, ""), "select count(*) from schema_version") != n {
		t.Errorf("not every migration was applied once (%v)", err)
	}
}

func migrateAtOnce(ctx context.Context, dsn, login string) error {
	var group errgroup.Group
	for range 6 {
		group.Go(func() error { return db.Migrate(ctx, dsn, login) })
	}
	return group.Wait()
}

// A migration that lands after one with a higher number is applied, too.
func TestMigrateALateNumber(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	admin := connect(t, d.AdminDSN, "")
	mustExec(t, admin, "drop table suggestion")
	mustExec(t, admin, "delete from schema_version where version = 2")
	if _, err := db.Open(t.Context(), d.DSN, db.Options{}); !errors.Is(err, db.ErrNotMigrated) {
		t.Errorf("before: %v, want %v", err, db.ErrNotMigrated)
	}
	if err := db.Migrate(t.Context(), d.AdminDSN, ""); err != nil {
		t.Fatal(err)
	}
	if n, err := db.Migrations(); err != nil || value[int](t, admin, "select count(*) from schema_version") != n {
		t.Errorf("not every migration was applied once (%v)", err)
	}
	if !slices.Contains(tables(t, admin), "suggestion") {
		t.Error("migration 2 was noted, but not applied")
	}
}

// Migrations run again leave rows alone, and those to come can change all of
// them: forced row-level security hides nothing from the owner.
func TestMigrateAFilledDatabase(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	admin := connect(t, f.DB.AdminDSN, "")
	all := tables(t, admin)
	before := counts(t, admin, all)
	if err := db.Migrate(t.Context(), f.DB.AdminDSN, ""); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(before, counts(t, admin, all)); diff != "" {
		t.Errorf("rows by table (-before +after):\n%s", diff)
	}
	if before["listing"] < 300 || before["cost_line"] < 300 || before["event"] < 300 {
		t.Errorf("rows %v: nothing much was tested", before)
	}
	owner := connect(t, f.DB.AdminDSN, "askwright_owner")
	if value[string](t, owner, "select current_user::text || ' ' || rolsuper || ' ' || rolbypassrls from pg_roles where rolname = current_user") != "askwright_owner false false" {
		t.Fatal("the owner has rights that would hide a fault")
	}
	for _, table := range all {
		if n := mustExec(t, owner, "update "+table+" set group_id = group_id").RowsAffected(); int(n) != before[table] {
			t.Errorf("a backfill of %s reaches %d rows of %d", table, n, before[table])
		}
	}
}

// lone starts a server whose roles the test may do with as it likes; roles
// belong to a server, not to a database.
func lone(t *testing.T) *private.Server {
	t.Helper()
	dir, err := os.MkdirTemp("", "askwright-roles-") //nolint:usetesting // PostgreSQL's user must get in
	if err != nil {
		t.Fatal(err)
	}
	s, err := private.Start(t.Context(), private.Options{
		DataDir: dir, BinDir: os.Getenv("ASKWRIGHT_POSTGRES_BIN"),
		Settings: map[string]string{"fsync": "off", "full_page_writes": "off"}, Logger: slog.New(slog.DiscardHandler),
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		if err := s.Stop(ctx); err != nil {
			t.Error(err)
		}
		if err := os.RemoveAll(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Error(err)
		}
	})
	return s
}

// The steps build on each other, from a server without any of the roles.
func TestRolesOfAServer(t *testing.T) { //nolint:tparallel // one step after another
	t.Parallel()
	s := lone(t)
	admin := connect(t, s.AdminDSN(), "")
	forget := func(names ...string) {
		t.Helper()
		for _, name := range names {
			mustExec(t, admin, "drop database "+name+" with (force)")
		}
		mustExec(t, admin, "drop role askwright_app, askwright_owner")
	}
	made := func(name, login string, rights ...string) string {
		t.Helper()
		mustExec(t, admin, "create database "+name)
		for _, sql := range rights {
			mustExec(t, admin, sql)
		}
		return asUser(t, inDatabase(t, s.AdminDSN(), name), login)
	}

	t.Run("unmigrated", func(t *testing.T) {
		_, err := db.Open(t.Context(), s.AdminDSN(), db.Options{})
		if !errors.Is(err, db.ErrNotMigrated) {
			t.Errorf("without the roles: %v, want %v", err, db.ErrNotMigrated)
		}
	})
	t.Run("a login without rights", func(t *testing.T) {
		dsn := made("one", "meek", "create role meek login")
		wantError(t, db.Migrate(t.Context(), dsn, ""), "create role askwright_owner", "deploy/roles.sql")
		mustExec(t, admin, "drop database one")
	})
	t.Run("an owner who may create roles", func(t *testing.T) {
		dsn := made("two", "chief", "create role chief login createrole", "grant create on database two to chief")
		migratesAs(t, s.AdminDSN(), dsn, "two")
		forget("two")
	})
	t.Run("roles made beforehand", func(t *testing.T) {
		dsn := made("three", "clerk", "create role clerk login", "create role askwright_owner nologin", "create role askwright_app nologin",
			"grant askwright_owner, askwright_app to clerk", "grant create on database three to clerk")
		migratesAs(t, s.AdminDSN(), dsn, "three")
		forget("three")
	})
	t.Run("at once", func(t *testing.T) {
		mustExec(t, admin, "create database four")
		if err := migrateAtOnce(t.Context(), inDatabase(t, s.AdminDSN(), "four"), private.LoginRole); err != nil {
			t.Fatal(err)
		}
		store, err := db.Open(t.Context(), asUser(t, inDatabase(t, s.AdminDSN(), "four"), private.LoginRole), db.Options{})
		if err != nil {
			t.Fatal(err)
		}
		store.Close()
	})
	t.Run("unsafe roles", func(t *testing.T) { refusesUnsafeRoles(t, s, admin, inDatabase(t, s.AdminDSN(), "four")) })
}

// migratesAs migrates as a login that is no superuser, fills rows in, migrates
// again and changes all rows as a migration would.
func migratesAs(t *testing.T, adminDSN, dsn, name string) {
	t.Helper()
	for range 2 {
		if err := db.Migrate(t.Context(), dsn, ""); err != nil {
			t.Fatal(err)
		}
		store, err := db.Open(t.Context(), dsn, db.Options{})
		if err != nil {
			t.Fatal(err)
		}
		store.Close()
	}
	admin := connect(t, inDatabase(t, adminDSN, name), "")
	if _, err := admin.PgConn().Exec(t.Context(), onFile).ReadAll(); err != nil {
		t.Fatal(err)
	}
	if err := db.Migrate(t.Context(), dsn, ""); err != nil {
		t.Fatalf("with rows on file: %v", err)
	}
	owner := connect(t, dsn, "askwright_owner")
	if n := mustExec(t, owner, "update listing set revision = revision + 1").RowsAffected(); n != 4 {
		t.Errorf("a backfill reaches %d rows of 4", n)
	}
	closeAll(t, admin, owner)
}

func closeAll(t *testing.T, all ...*pgx.Conn) {
	t.Helper()
	for _, conn := range all {
		if err := conn.Close(t.Context()); err != nil {
			t.Error(err)
		}
	}
}
