package db_test

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"askwright/db"
	"askwright/db/dbtest"
	"askwright/service"
	"askwright/service/servicetest"
)

func TestRowLevelSecurityIsForcedOnEveryTable(t *testing.T) {
	t.Parallel()
	conn := connect(t, dbtest.New(t).AdminDSN, "")
	for _, table := range tables(t, conn) {
		var enabled, forced bool
		err := conn.QueryRow(t.Context(), "select relrowsecurity, relforcerowsecurity from pg_class where oid = $1::text::regclass", table).Scan(&enabled, &forced)
		if err != nil || !enabled || !forced {
			t.Errorf("%s: enabled %t, forced %t, %v; want both", table, enabled, forced, err)
		}
		for _, role := range []string{"askwright_app", "askwright_owner"} {
			n := value[int](t, conn, "select count(*) from pg_policies where schemaname = 'askwright' and tablename = $1 and $2::text = any(roles::text[])", table, role)
			if n == 0 {
				t.Errorf("%s has no policy for %s", table, role)
			}
		}
		if owner := value[string](t, conn, "select relowner::regrole::text from pg_class where oid = $1::text::regclass", table); owner != "askwright_owner" {
			t.Errorf("%s belongs to %s, want askwright_owner", table, owner)
		}
	}
	public := column[string](t, conn, "select tablename::text from pg_policies where schemaname = 'askwright' and 'public' = any(roles)")
	if len(public) > 0 {
		t.Errorf("policies for everybody on %v", public)
	}
	// Views and functions can run with the rights of who made them, and a
	// sequence is shared by the groups.
	others := column[string](t, conn, `
		select relname::text from pg_class where relnamespace = 'askwright'::regnamespace and relkind not in ('r', 'p', 'i', 'I')
		union all select proname::text from pg_proc where pronamespace = 'askwright'::regnamespace and prosecdef`)
	if len(others) > 0 {
		t.Errorf("neither tables nor indexes: %v", others)
	}
}

// Keys that begin with the group let rows be spread by group, and keep one
// group from learning by a conflict what another has.
func TestEveryKeyAndIndexBeginsWithTheGroup(t *testing.T) {
	t.Parallel()
	conn := connect(t, dbtest.New(t).AdminDSN, "")
	type key struct{ Table, Name, First string }
	check := func(kind, sql string, atLeast int) {
		t.Helper()
		rows, err := conn.Query(t.Context(), sql)
		if err != nil {
			t.Fatal(err)
		}
		found, err := pgx.CollectRows(rows, pgx.RowToStructByPos[key])
		if err != nil {
			t.Fatal(err)
		}
		if len(found) < atLeast {
			t.Fatalf("%d %s found, want %d or more", len(found), kind, atLeast)
		}
		for _, k := range found {
			if k.First != "group_id" {
				t.Errorf("%s %s of %s begins with %q", kind, k.Name, k.Table, k.First)
			}
		}
	}
	check("indexes", `
		select i.indrelid::regclass::text, i.indexrelid::regclass::text, coalesce(a.attname::text, 'an expression')
		from pg_index i join pg_class c on c.oid = i.indrelid
		left join pg_attribute a on a.attrelid = i.indrelid and a.attnum = i.indkey[0]
		where c.relnamespace = 'askwright'::regnamespace and c.relname <> 'schema_version'`, 20)
	check("foreign keys", `
		select x.conrelid::regclass::text, x.conname::text, a.attname::text
		from pg_constraint x join pg_attribute a on a.attrelid = x.conrelid and a.attnum = x.conkey[1]
		where x.contype = 'f' and x.connamespace = 'askwright'::regnamespace`, 8)
	check("referenced keys", `
		select x.confrelid::regclass::text, x.conname::text, a.attname::text
		from pg_constraint x join pg_attribute a on a.attrelid = x.confrelid and a.attnum = x.confkey[1]
		where x.contype = 'f' and x.connamespace = 'askwright'::regnamespace`, 8)
	without := column[string](t, conn, `
		select c.relname::text from pg_class c where c.relnamespace = 'askwright'::regnamespace and c.relkind in ('r', 'p')
		and not exists (select from pg_index i where i.indrelid = c.oid and i.indisprimary)`)
	if len(without) > 0 {
		t.Errorf("tables without a primary key: %v", without)
	}
}

// The tables as all migrations together leave them, for reading.
func TestTheWrittenSchemaIsThatOfTheMigrations(t *testing.T) {
	t.Parallel()
	conn := connect(t, dbtest.New(t).AdminDSN, "")
	var b strings.Builder
	b.WriteString("-- The schema after all migrations, for reading only: it is never run.\n" +
		"-- Rewrite it after a new migration: go test ./db -run Schema -update\n")
	for _, table := range tables(t, conn) {
		fmt.Fprintf(&b, "\ncreate table %s (\n%s\n);\n", table, strings.Join(column[string](t, conn, tableLines, table), ",\n"))
		for _, sql := range []string{tableIndexes, tablePolicies, tableComments} {
			for _, line := range column[string](t, conn, sql, table) {
				b.WriteString(line + ";\n")
			}
		}
	}
	if *servicetest.Update {
		if err := os.WriteFile("schema.sql", []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("schema.sql")
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), b.String()); diff != "" {
		t.Errorf("schema.sql is not what the migrations make; go test ./db -run Schema -update (-written +migrated):\n%s", diff)
	}
}

const (
	tableLines = `(select '    ' || attname || ' ' || format_type(atttypid, atttypmod) || case
			when attgenerated <> '' then ' generated always as (' || pg_get_expr(adbin, adrelid) || ') stored'
			when adbin is not null then ' default ' || pg_get_expr(adbin, adrelid) else '' end ||
			case when attnotnull then ' not null' else '' end
		from pg_attribute left join pg_attrdef on adrelid = attrelid and adnum = attnum
		where attrelid = $1::text::regclass and attnum > 0 and not attisdropped order by attnum)
		union all (select '    constraint ' || conname || ' ' || pg_get_constraintdef(oid) from pg_constraint
		where conrelid = $1::text::regclass and contype in ('c', 'f', 'p', 'u') order by strpos('pufc', contype::text), conname)`
	tableIndexes = `select pg_get_indexdef(indexrelid) from pg_index where indrelid = $1::text::regclass
		and not exists (select from pg_constraint where conindid = indexrelid and contype in ('p', 'u')) order by indexrelid::regclass::text`
	tablePolicies = `select 'create policy ' || policyname || ' on ' || tablename || ' for ' || lower(cmd) || ' to ' ||
			array_to_string(roles, ', ') || coalesce(' using ' || qual, '') || coalesce(' with check ' || with_check, '')
		from pg_policies where schemaname = 'askwright' and tablename = $1 order by policyname`
	tableComments = `select 'comment on column ' || $1 || '.' || attname || ' is ' || quote_literal(col_description(attrelid, attnum))
		from pg_attribute where attrelid = $1::text::regclass and attnum > 0 and col_description(attrelid, attnum) is not null order by attnum`
)

// Migrations that databases have run never change: what they did not do, the
// next one does.
func TestMigrationsThatLandedStayAsTheyAre(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]string{
		"0001_listings.sql":    "7578daf59097c4b96f85115967fe86ec762a805e945116d55c7e7271d38be215",
		"0002_suggestions.sql": "f80a7c2294f0f12cde116a0688d06a5acc34cd34df07749926c24b2228e49698",
		"0003_model.sql":       "5610a29495a6ad302ec1cf35886dc575b392b0d5b1507d53981ee5a6daab7a6f",
		"0004_materials.sql":   "c40ebd7a8291a252cc196c4d8a4491fc4b92103a5cc8b95d8778ad9c7abddeb7",
		"0005_offers.sql":      "0751c90a0821eb68fffbdceb2803a263fb27f4f1004a3e6d7976696191845ad1",
		"0006_ledger.sql":      "ac0dbdc539b451ec59721ac428bc9edaaa6b6eeabecaa770dccc76a2a8ab36f9",
		"0007_pieces.sql":      "0a480b6d129161484547bbfff7559fcdb1e09641707a571716d87349e915e93c",
		"0008_idempotency.sql": "ed68c4b00f86ee5a2507ad3c451d43bf2d38c1a349803c915c0c4eecb9757d4b",
		"0009_session.sql":     "7c2e38d946da94eb422e02ff5acbbd9f0e83f12faa2d14a2fc8f5e8c0feece3c",
		"0010_webhooks.sql":    "b780412f911c784b4738f26249addddd666539dcb9f6d1308001e12ac5d1ce6a",
		"0011_plan.sql":        "301a66c6feff6ff0db9c1233e5df0b8082bcf12a04c4b5cf29f46754a6c2a33d",
	} {
		text, err := os.ReadFile("migrations/" + name)
		if err != nil {
			t.Error(err)
			continue
		}
		if got := fmt.Sprintf("%x", sha256.Sum256(text)); got != want {
			t.Errorf("%s has changed: its sum is %s, want %s; write a new migration instead", name, got, want)
		}
	}
}

// What stays, and for how long, is said of every table.
func TestOperatorsAreToldHowLongEachTableKeepsItsRows(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../docs/operations.md")
	if err != nil {
		t.Fatal(err)
	}
	_, text, _ = bytes.Cut(text, []byte("## What is kept, and how long"))
	for _, table := range tables(t, connect(t, dbtest.New(t).AdminDSN, "")) {
		if name := strings.TrimPrefix(table, "askwright."); !bytes.Contains(text, []byte("`"+name+"`")) {
			t.Errorf("docs/operations.md does not say how long %s keeps its rows", name)
		}
	}
}

// Each column of the row is stored, or is one of another table.
func TestEveryColumnOfTheRowIsStored(t *testing.T) {
	t.Parallel()
	// Read from the arrays of asks, from events and from the pauses.
	elsewhere := []string{"ask", "ask_history", "paused_on", "resumed_on"}
	stored := append(db.RowColumns(), elsewhere...)
	for _, c := range service.Columns {
		if !c.ReadOnly && !slices.Contains(stored, c.Name) && !slices.Contains(service.CostKinds, service.CostKind(c.Name)) {
			t.Errorf("the column %s has no field in db/listing.go", c.Name)
		}
	}
}
