package db_test

import (
	"errors"
	"fmt"
	"os"
	"testing"

	"github.com/jackc/pgx/v5"

	"askwright/db"
	"askwright/db/dbtest"
	"askwright/db/private"
)

// refusesUnsafeRoles gives the service's role rights under which row-level
// security would be off, one after another.
func refusesUnsafeRoles(t *testing.T, s *private.Server, admin *pgx.Conn, dsn string) {
	t.Helper()
	login := asUser(t, dsn, private.LoginRole)
	for _, right := range []string{"superuser", "bypassrls"} {
		mustExec(t, admin, "alter role askwright_app "+right)
		_, err := db.Open(t.Context(), login, db.Options{})
		wantError(t, err, "askwright_app", "superuser, bypasses row-level security or owns the tables", "groups would not be kept apart")
		mustExec(t, admin, "alter role askwright_app no"+right)
	}
	store, err := db.Open(t.Context(), login, db.Options{})
	if err != nil {
		t.Fatalf("with the rights taken back: %v", err)
	}
	store.Close()
	mustExec(t, admin, "create role stranger login")
	_, err = db.Open(t.Context(), asUser(t, dsn, "stranger"), db.Options{})
	wantError(t, err, "askwright_app", "stranger", "grant askwright_app to")
}

func TestOpenActsAsTheServicesRole(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	for _, dsn := range []string{d.DSN, d.AdminDSN} { // a superuser's too
		store, err := db.Open(t.Context(), dsn, db.Options{})
		if err != nil {
			t.Fatal(err)
		}
		var who string
		if err := store.Pool().QueryRow(t.Context(), "select current_user::text").Scan(&who); err != nil || who != "askwright_app" {
			t.Errorf("acts as %q, %v; want askwright_app", who, err)
		}
		if err := store.Ready(t.Context()); err != nil {
			t.Errorf("not ready: %v", err)
		}
		store.Close()
	}
}

func TestOpenRefusesTheOwnerOfATable(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	admin := connect(t, d.AdminDSN, "")
	mustExec(t, admin, "alter table ledger owner to askwright_app")
	_, err := db.Open(t.Context(), d.DSN, db.Options{})
	wantError(t, err, "askwright_app", "owns the tables")
}

func TestOpenRefusesAnotherSchema(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	admin := connect(t, d.AdminDSN, "")
	empty := onServer(t, admin, d.DSN, fmt.Sprintf("bare_%d", os.Getpid()))
	if _, err := db.Open(t.Context(), empty, db.Options{}); !errors.Is(err, db.ErrNotMigrated) {
		t.Errorf("an empty database: %v, want %v", err, db.ErrNotMigrated)
	}
	mustExec(t, admin, "insert into schema_version select max(version) + 1, 'of_tomorrow', now() from schema_version")
	if _, err := db.Open(t.Context(), d.DSN, db.Options{}); !errors.Is(err, db.ErrOldBinary) {
		t.Errorf("a newer schema: %v, want %v", err, db.ErrOldBinary)
	}
	mustExec(t, admin, "delete from schema_version")
	if _, err := db.Open(t.Context(), d.DSN, db.Options{}); !errors.Is(err, db.ErrNotMigrated) {
		t.Errorf("an older schema: %v, want %v", err, db.ErrNotMigrated)
	}
}

func TestOpenNamesWhatIsWrongWithTheAddress(t *testing.T) {
	t.Parallel()
	_, err := db.Open(t.Context(), "postgres://host:notaport/x", db.Options{})
	wantError(t, err, "the database address")
	_, err = db.Open(t.Context(), "postgres://nobody@127.0.0.1:1/x?connect_timeout=2", db.Options{})
	wantError(t, err, "connect to the database", "127.0.0.1")
}
