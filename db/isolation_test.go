package db_test

import (
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/db"
)

func TestWithoutAGroupNothingIsSeen(t *testing.T) {
	t.Parallel()
	f := modelled(t)
	admin := connect(t, f.DB.AdminDSN, "")
	all := tables(t, admin)
	there := counts(t, admin, all)
	app := asApp(t, f.DB.DSN, uuid.Nil, uuid.Nil)
	for _, setting := range []string{"never set", "empty"} {
		if setting == "empty" { // as a connection pool may leave it
			mustExec(t, app, "select set_config('app.group_id', '', false), set_config('app.member_id', '', false)")
		}
		for table, n := range counts(t, app, all) {
			want := 0
			if table == "groups" {
				want = there[table]
			}
			if n != want {
				t.Errorf("%s, group %s: %d rows of %d seen, want %d", table, setting, n, there[table], want)
			}
		}
	}
	for _, table := range []string{"groups", "group_settings", "member", "api_key", "piece", "listing", "event", "ledger", "cost_line", "audit", "value_statistics", "sale_row", "rate_fit", "listing_deleted"} {
		if there[table] == 0 {
			t.Errorf("%s is empty: nothing was tested", table)
		}
	}
}

func TestAnotherGroupIsOutOfReachInRawSQL(t *testing.T) {
	t.Parallel()
	f := modelled(t)
	theirs := f.Actor(t, "Orrin").Tenant()
	f.AddGroup(t, "Tamsin")
	mine := f.Actor(t, "Tamsin").Tenant()
	app := asApp(t, f.DB.DSN, mine.Group, mine.Member)
	for _, table := range tables(t, app) {
		if table == "groups" {
			continue
		}
		if n := value[int](t, app, "select count(*) from "+table+" where group_id = $1", theirs.Group); n > 0 {
			t.Errorf("%d rows of another group seen in %s", n, table)
		}
	}
	for _, sql := range []string{
		"update groups set change_no = change_no + 1 where group_id = $1",
		"delete from groups where group_id = $1",
		"update listing set category = 'taken' where group_id = $1",
		"delete from listing where group_id = $1",
		"delete from member where group_id = $1",
		"update ledger set notes = 'read' where group_id = $1",
		"update rate_fit set rates = '{}' where group_id = $1",
		"delete from sale_row where group_id = $1",
	} {
		if n := mustExec(t, app, sql, theirs.Group).RowsAffected(); n > 0 {
			t.Errorf("%s: %d rows of another group", sql, n)
		}
	}
	for _, sql := range []string{
		"insert into groups (group_id) values (gen_random_uuid())",
		"insert into piece (group_id, piece_id, member_id, ref) values ('" + theirs.Group.String() + "', gen_random_uuid(), '" + theirs.Member.String() + "', 'X')",
		"update group_settings set group_id = '" + theirs.Group.String() + "'", // carry one's own into another group
		"insert into schema_version values (99, 'x', now())",
		"update audit set what = 'nothing'",
		"delete from audit",
		"update cost_line set amount = 0",
		"delete from cost_line",
		"delete from listing_deleted",
		"set role askwright_owner",
		"alter table listing disable row level security",
		"create table askwright.mine (n integer)",
	} {
		_, err := app.Exec(t.Context(), sql)
		if code := sqlState(err); code != "42501" { // insufficient_privilege, also of row-level security
			t.Errorf("%s: %v, want SQLSTATE 42501", sql, err)
		}
	}
}

// What the ledger, private events and the audit of owner-only columns hold
// stays with its owner, whatever the statement.
func TestOwnersRowsAreInvisibleToTheirGroup(t *testing.T) {
	t.Parallel()
	f := filled(t)
	wilda, orrin := f.Actor(t, "Wilda").Tenant(), f.Actor(t, "Orrin").Tenant()
	doomed := rowByRef(t, f, "Orrin", "R-3")
	if err := f.Recording.Delete(t.Context(), f.Actor(t, "Orrin"), doomed.ID, nil); err != nil {
		t.Fatal(err)
	}
	secrets := map[string]string{
		"ledger":    "select count(*) from ledger where member_id = $1",
		"cost_line": "select count(*) from cost_line where member_id = $1",
		"event":     "select count(*) from event where private and owner_id = $1",
		"audit":     "select count(*) from audit where owner_id = $1",
	}
	owner := asApp(t, f.DB.DSN, orrin.Group, orrin.Member)
	other := asApp(t, f.DB.DSN, wilda.Group, wilda.Member)
	nobody := asApp(t, f.DB.DSN, orrin.Group, uuid.Nil)
	for table, sql := range secrets {
		if n := value[int](t, owner, sql, orrin.Member); n == 0 {
			t.Errorf("the owner sees none of their own rows of %s", table)
		}
		for who, conn := range map[string]*pgx.Conn{"another member": other, "no member": nobody} {
			if n := value[int](t, conn, sql, orrin.Member); n > 0 {
				t.Errorf("%s sees %d rows of %s", who, n, table)
			}
		}
	}
	if n := value[int](t, other, "select count(*) from listing where member_id = $1", orrin.Member); n != 2 {
		t.Errorf("another member sees %d listings, want 2: these are shared", n)
	}
	_, err := other.Exec(t.Context(), `insert into cost_line (group_id, line_id, listing_id, member_id, kind, amount, on_date, at, change_no)
		select group_id, gen_random_uuid(), listing_id, member_id, 'fees', 1, current_date, now(), 1 from listing where member_id = $1 limit 1`, orrin.Member)
	if sqlState(err) != "42501" {
		t.Errorf("a line in another's ledger: %v, want SQLSTATE 42501", err)
	}
}

// The settings live as long as the transaction: the next user of a pooled
// connection starts without a group.
func TestTheGroupEndsWithTheTransaction(t *testing.T) {
	t.Parallel()
	f := filled(t)
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	if _, err := store.Group(t.Context(), f.Actor(t, "Wilda").Tenant()); err != nil {
		t.Fatal(err)
	}
	var seen int
	if err := store.Pool().QueryRow(t.Context(), "select count(*) from listing").Scan(&seen); err != nil || seen != 0 {
		t.Errorf("the connection still sees %d listings, %v", seen, err)
	}
}
