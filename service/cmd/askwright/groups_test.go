package main

import (
	"encoding/json"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"askwright/db/dbtest"
	"askwright/service/demo"
)

// withDemoGroup is a database that holds the demo group and another one.
func withDemoGroup(t *testing.T) (d dbtest.DB, env map[string]string, id string) {
	t.Helper()
	d = dbtest.New(t)
	env = map[string]string{"DATABASE_URL": d.DSN, "ASKWRIGHT_LOG_LEVEL": "error"}
	mustRun(t, env, "demo")
	mustRun(t, env, "group", "create", "Mill Lane", "--currency", "EUR", "--unit", "cm", "--timezone", "UTC", "--member", "Wilda / W.")
	list, err := runCommand(t, env, "group", "list")
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(list) {
		if strings.Contains(line, demo.GroupName) {
			id, _, _ = strings.Cut(line, "  ")
		}
	}
	return d, env, id
}

// What is exported is taken again: by each member as CSV, row for row.
func TestExportAGroup(t *testing.T) {
	t.Parallel()
	_, env, id := withDemoGroup(t)
	out, err := runCommand(t, env, "group", "export", "--group", id)
	if err != nil {
		t.Fatal(err)
	}
	var exported struct {
		Group   struct{ Name, Currency string }
		Members []struct {
			Name string
			Rows []map[string]any
		}
	}
	if err := json.Unmarshal([]byte(out), &exported); err != nil {
		t.Fatalf("%v in %.300s", err, out)
	}
	if exported.Group.Name != demo.GroupName || exported.Group.Currency != demo.Currency || len(exported.Members) != 5 {
		t.Errorf("group %+v of %d members", exported.Group, len(exported.Members))
	}
	folder := filepath.Join(t.TempDir(), "export")
	paths, err := runCommand(t, env, "group", "export", "--group", id, "--folder", folder)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := runCommand(t, env, "group", "export", "--group", id, "--folder", folder); err == nil || !strings.Contains(err.Error(), "exist") {
		t.Errorf("written over what was there: %v", err)
	}
	c := startChildWith(t, dataFolder(t), []string{"DATABASE_URL=" + env["DATABASE_URL"]}, "serve")
	for i, m := range exported.Members {
		path := filepath.Join(folder, m.Name+".csv")
		if !strings.Contains(paths, path+"\n") {
			t.Errorf("%s is not among\n%s", path, paths)
		}
		csv, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range m.Rows {
			if row["member"] != m.Name {
				t.Fatalf("%s has a row of %v", m.Name, row["member"])
			}
		}
		if n := len(m.Rows); n < 40 || !slices.ContainsFunc(m.Rows, func(r map[string]any) bool { return r["purchase_cost"] != nil }) {
			t.Errorf("%s: %d rows, none of them with a purchase cost", m.Name, n)
		}
		key := mustRun(t, env, "key", "create", "--group", id, "--member", m.Name, "--scope", "write")
		status, body := do(t, "POST", c.urls[0]+"/v1/imports?commit=true", key, string(csv))
		var got struct{ Received, Unchanged int }
		if err := json.Unmarshal([]byte(body), &got); err != nil || status != 200 || got.Unchanged != len(m.Rows) || got.Received != len(m.Rows) {
			t.Errorf("%d, %s: the export taken again: %d %.300s; want %d unchanged", i, m.Name, status, body, len(m.Rows))
		}
	}
}

func TestDeleteAGroup(t *testing.T) {
	t.Parallel()
	d, env, id := withDemoGroup(t)
	for _, args := range [][]string{{"--group", id}, {"--group", "Mill Lane", "--yes"}, {"--group", "00000000-0000-7000-8000-000000000001", "--yes"}, {"--group", id, "--yes", "now"}} {
		if _, err := runCommand(t, env, append([]string{"group", "delete"}, args...)...); err == nil {
			t.Errorf("%v removed a group", args)
		}
	}
	before := mustRun(t, env, "verify")
	mustRun(t, env, "group", "delete", "--group", id, "--yes")
	conn, err := pgx.Connect(t.Context(), d.AdminDSN)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	rows, err := conn.Query(t.Context(), `select table_name::text from information_schema.columns where table_schema = 'askwright' and column_name = 'group_id'`)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil || len(tables) < 11 {
		t.Fatal(tables, err)
	}
	for _, table := range tables {
		var left, others int
		err := conn.QueryRow(t.Context(), "select count(*) filter (where group_id = $1), count(*) filter (where group_id <> $1) from askwright."+pgx.Identifier{table}.Sanitize(), id).Scan(&left, &others)
		if err != nil || left != 0 {
			t.Errorf("%s still has %d rows, %v", table, left, err)
		}
		if table == "group_settings" && others != 1 {
			t.Errorf("%d other groups, want the one that was there", others)
		}
	}
	if after := mustRun(t, env, "verify"); before != "All agrees." || after != "All agrees." {
		t.Errorf("verify said %q, then %q", before, after)
	}
}

// Each kind of contradiction, made by hand in a database that agreed, is named.
func TestVerifyFindsWhatDoesNotAgree(t *testing.T) {
	t.Parallel()
	d, env, _ := withDemoGroup(t)
	out, err := runCommand(t, env, "verify")
	if err != nil || !strings.Contains(out, demo.GroupName+": 5 members") || !strings.HasSuffix(out, "\nAll agrees.\n") {
		t.Fatalf("the demo does not agree: %v\n%s", err, out)
	}
	conn, err := pgx.Connect(t.Context(), d.AdminDSN)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	const other = "(select member_id from member m where m.group_id = x.group_id and m.member_id <> x.member_id limit 1)"
	for want, sql := range map[string]string{
		"M-52: outcome was \"\"": `insert into event (group_id, event_id, listing_id, owner_id, member_id, kind, on_date, at, change_no, changes)
			select group_id, 'ffffffff-ffff-7fff-bfff-ffffffffffff', listing_id, member_id, member_id, 'correction', now(), now(), change_no, '{"outcome": {"old": "open", "new": ""}}' from listing where ref = 'M-52'`,
		"T-12: no event put it on file":                                                         "delete from event where kind = 'listed' and listing_id = (select listing_id from listing where ref = 'T-12')",
		"the row B-17 and its piece B-17 belong to different members":                           "update piece x set member_id = " + other + " where ref = 'B-17'",
		"the piece lonely has no row":                                                           "insert into piece select group_id, gen_random_uuid(), member_id, 'lonely' from piece where ref = 'M-52'",
		"the row M-2 has a change number":                                                       "update listing set change_no = 1000000 where ref = 'M-2'",
		"an event of M-1 names another owner":                                                   "update event x set owner_id = " + other + " where listing_id = (select listing_id from listing where ref = 'M-1')",
		"a cost line of M-3 belongs to another member":                                          "update cost_line x set member_id = " + other + " where listing_id = (select listing_id from listing where ref = 'M-3')",
		"the table ledger does not keep groups apart":                                           "alter table ledger no force row level security",
		"left and has a key that is not revoked":                                                "update member set left_at = now() where member_id = (select member_id from api_key where revoked_at is null limit 1)",
		"the column webhook.failing_since is missing: the database was migrated by other files": "alter table webhook drop column failing_since",
		"the column piece.by_hand was made by no migration":                                     "alter table piece add column by_hand text",
		"the constraint late of piece was never checked against the rows":                       "alter table piece add constraint late check (ref <> 'x') not valid",
	} {
		tx, err := conn.Begin(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if _, err := tx.Exec(t.Context(), "set local search_path to askwright"); err != nil {
			t.Fatal(err)
		}
		tag, err := tx.Exec(t.Context(), sql)
		if err != nil || (tag.RowsAffected() == 0 && !strings.HasPrefix(sql, "alter")) {
			t.Fatalf("%s: %v, %s", sql, err, tag)
		}
		if err := tx.Commit(t.Context()); err != nil {
			t.Fatal(err)
		}
		out, err := runCommand(t, env, "verify")
		if err == nil || !strings.Contains(err.Error(), "do not agree") || !strings.Contains(out, want) {
			t.Errorf("after %s: %v\n%s\nwant %q", sql, err, out, want)
		}
	}
}

// A taken address is found before a database is started or a key made.
func TestATakenAddressStartsNothing(t *testing.T) {
	t.Parallel()
	taken, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	data := dataFolder(t)
	for variable, other := range map[string]string{"ASKWRIGHT_ADDR": "ASKWRIGHT_OPS_ADDR", "ASKWRIGHT_OPS_ADDR": "ASKWRIGHT_ADDR"} {
		out, err := runCommand(t, map[string]string{"ASKWRIGHT_DATA": data, variable: taken.Addr().String(), other: "127.0.0.1:0"}, "serve", "--demo")
		if err == nil || !strings.HasPrefix(err.Error(), variable+": something already serves on "+taken.Addr().String()) || out != "" {
			t.Errorf("%v, %q; want that %s is taken", err, out, variable)
		}
	}
	if _, err := os.Stat(data); !os.IsNotExist(err) {
		t.Errorf("the data folder was made: %v", err)
	}
}

func TestInviteAMember(t *testing.T) {
	t.Parallel()
	_, env, id := withDemoGroup(t)
	out, err := runCommand(t, env, "member", "invite", "Tamsin", "--group", id, "--scope", "read")
	if err != nil || !strings.Contains(out, "Tamsin can redeem this until") || !strings.Contains(out, "\nask_i") {
		t.Errorf("%v: %s", err, out)
	}
	if _, err := runCommand(t, env, "member", "invite", "Brisa", "--group", id); err == nil || !strings.Contains(err.Error(), "already a member") {
		t.Errorf("a member is invited: %v", err)
	}
}
