package db_test

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"askwright/db/dbtest"
	"askwright/service"
	"askwright/service/recording"
	"askwright/service/servicetest"
)

func TestMain(m *testing.M) {
	code := m.Run()
	dbtest.Stop()
	os.Exit(code)
}

// connect opens a raw connection with askwright's schema in its search path.
// role is whom it acts as; empty: the user of the DSN.
func connect(t *testing.T, dsn, role string) *pgx.Conn {
	t.Helper()
	config, err := pgx.ParseConfig(dsn)
	if err != nil {
		t.Fatal(err)
	}
	config.RuntimeParams["search_path"] = "askwright"
	if role != "" {
		config.RuntimeParams["role"] = role
	}
	conn, err := pgx.ConnectConfig(t.Context(), config)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close(context.Background()) })
	return conn
}

// asApp opens a raw connection as the service's role, set to a tenant as the
// store does it; a zero group leaves the settings alone.
func asApp(t *testing.T, dsn string, group, member uuid.UUID) *pgx.Conn {
	t.Helper()
	conn := connect(t, dsn, "askwright_app")
	if group != uuid.Nil {
		mustExec(t, conn, "select set_config('app.group_id', $1, false)", group.String())
	}
	if member != uuid.Nil {
		mustExec(t, conn, "select set_config('app.member_id', $1, false)", member.String())
	}
	return conn
}

func mustExec(t *testing.T, conn *pgx.Conn, sql string, args ...any) pgconn.CommandTag {
	t.Helper()
	tag, err := conn.Exec(t.Context(), sql, args...)
	if err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return tag
}

// value reads one value.
func value[T any](t *testing.T, conn *pgx.Conn, sql string, args ...any) (v T) {
	t.Helper()
	if err := conn.QueryRow(t.Context(), sql, args...).Scan(&v); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return v
}

// column reads one column.
func column[T any](t *testing.T, conn *pgx.Conn, sql string, args ...any) []T {
	t.Helper()
	rows, err := conn.Query(t.Context(), sql, args...)
	if err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowTo[T])
	if err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return all
}

// tables lists the tables that hold rows of groups: all but the list of
// migrations.
func tables(t *testing.T, conn *pgx.Conn) []string {
	t.Helper()
	found := column[string](t, conn, `select relname::text from pg_class where relnamespace = 'askwright'::regnamespace
		and relkind in ('r', 'p') and relname <> 'schema_version' order by relname`)
	if !slices.Contains(found, "listing") {
		t.Fatalf("tables %v, want listing among them", found)
	}
	return found
}

// counts counts the rows of each table that the connection sees.
func counts(t *testing.T, conn *pgx.Conn, tables []string) map[string]int {
	t.Helper()
	n := make(map[string]int)
	for _, table := range tables {
		n[table] = value[int](t, conn, "select count(*) from "+pgx.Identifier{table}.Sanitize())
	}
	return n
}

const rowHeader = "ref,category,width,depth,height,unit,listed_on,ask,ask_history,pauses,outcome,ended_on,sale_price,own_price,purchase_cost,notes,messages\n"

// someRows are a row of each kind: open, sold, pulled.
const someRows = rowHeader + `R-1,desk,48,24,30,in,2026-03-01,300,,,,,,320,50,from a barn,3
R-2,desk,110.5,55,76,cm,2026-01-05,180,2026-01-05:200;2026-01-20:180,2026-01-10/2026-01-12,sold,2026-02-01,175,190,40,,5
R-3,dresser,,,,,2026-02-01,400,,,pulled,2026-03-01,,,60,,
`

// filled returns a service whose group has two members with rows of their own
// and, of each, an offer, which is private.
func filled(t *testing.T) *servicetest.Fixture {
	t.Helper()
	f := servicetest.New(t, "Wilda", "Orrin")
	for _, name := range []string{"Wilda", "Orrin"} {
		importRows(t, f, name, someRows)
		row := rowByRef(t, f, name, "R-1")
		offer := service.NewEvent{Kind: "offer", On: "2026-03-20", Fields: map[string]string{"amount": "250"}}
		if _, err := f.Recording.AddEvent(t.Context(), f.Actor(t, name), row.ID, offer, nil); err != nil {
			t.Fatal(err)
		}
	}
	return f
}

// modelled is filled, after a row was deleted and the model was asked for.
func modelled(t *testing.T) *servicetest.Fixture {
	t.Helper()
	f := filled(t)
	if err := f.Recording.Delete(t.Context(), f.Actor(t, "Orrin"), rowByRef(t, f, "Orrin", "R-3").ID, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Advice.Describe(t.Context(), f.Actor(t, "Wilda")); err != nil {
		t.Fatal(err)
	}
	return f
}

func importRows(t *testing.T, f *servicetest.Fixture, member, rows string) {
	t.Helper()
	got, err := f.Recording.Import(t.Context(), f.Actor(t, member), servicetest.Rows(t, rows), recording.ImportOptions{})
	if err != nil || got.Rejected > 0 {
		t.Fatalf("import for %s: %+v, %v", member, got, err)
	}
}

func rowByRef(t *testing.T, f *servicetest.Fixture, member, ref string) *service.Listing {
	t.Helper()
	a := f.Actor(t, member)
	rows, _, err := f.Recording.Listings(t.Context(), a, service.Query{Member: a.MemberID, Limit: 1000})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(rows, func(l *service.Listing) bool { return l.Ref == ref })
	if i < 0 {
		t.Fatalf("%s has no row %s", member, ref)
	}
	return rows[i]
}

// wantError insists on an error that says each of the words.
func wantError(t *testing.T, err error, words ...string) {
	t.Helper()
	if err == nil {
		t.Fatalf("no error, want one that says %q", words)
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("error %q does not say %q", err, w)
		}
	}
}

// onServer returns the DSN of another database on the same server, made for
// the test, which migrations have not seen.
func onServer(t *testing.T, admin *pgx.Conn, dsn, name string) string {
	t.Helper()
	mustExec(t, admin, "create database "+name)
	t.Cleanup(func() {
		if _, err := admin.Exec(context.Background(), fmt.Sprintf("drop database %s with (force)", name)); err != nil {
			t.Error(err)
		}
	})
	return inDatabase(t, dsn, name)
}
