package db_test

import (
	"testing"

	"github.com/jackc/pgx/v5"

	"askwright/db/dbtest"
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
