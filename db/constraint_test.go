package db_test

import (
	"errors"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5/pgconn"

	"askwright/db"
	"askwright/db/dbtest"
	"askwright/service"
	"askwright/service/servicetest"
)

// onFile is a group with rows of each kind, made by plain SQL: O is open, S
// sold, Y in the yard, W a stranger's.
const onFile = `
insert into groups values ('00000000-0000-7000-8000-000000000001', 1);
insert into group_settings (group_id, name, currency, unit, timezone, fee_rate, holding_rate, salvage_rate, horizon_days, flag_gain, created_at)
	select group_id, 'G', 'USD', 'in', 'UTC', 0, 0.002, 0.15, 90, 0.05, now() from groups;
insert into member select group_id, group_id, 'Wilda', now() from groups;
insert into api_key (group_id, key_id, member_id, hash, scope, created_at) select group_id, group_id, group_id, sha256('k'), 'read', now() from groups;
insert into piece select group_id, gen_random_uuid(), group_id, r from groups, unnest('{O,S,Y,W}'::text[]) r;
insert into listing (group_id, listing_id, piece_id, member_id, revision, change_no, ref, source, category, unit, listed_on, stage, outcome, ended_on, sale_price, ask_on, ask_amount)
	select group_id, piece_id, piece_id, member_id, 1, 1, ref, case ref when 'W' then 'observed' else 'own' end, 'desk', 'in',
		case when ref <> 'Y' then date '2026-02-01' end, case ref when 'Y' then 'bought' end,
		case ref when 'S' then 'sold' when 'Y' then null else 'open' end,
		case ref when 'S' then date '2026-03-01' end, case ref when 'S' then 9000 end,
		case ref when 'Y' then '{}' else array[date '2026-02-01'] end, case ref when 'Y' then '{}' else '{10000}'::bigint[] end
	from piece;
insert into event (group_id, event_id, listing_id, owner_id, member_id, kind, on_date, at, change_no)
	select group_id, listing_id, listing_id, member_id, member_id, 'listed', '2026-02-01', now(), 1 from listing where ref = 'O';
insert into ledger (group_id, listing_id, member_id) select group_id, listing_id, member_id from listing where ref = 'O';
insert into cost_line (group_id, line_id, listing_id, member_id, kind, amount, on_date, at, change_no)
	select group_id, listing_id, listing_id, member_id, 'fees', 1, '2026-02-01', now(), 1 from listing where ref = 'O';
insert into suggestion (group_id, suggestion_id, member_id, ref, on_date, model, made_at)
	select group_id, group_id, group_id, 'O', '2026-02-01', 'm', now() from groups;
insert into asked_price select group_id, group_id, 'O', '2026-02-01', now(), 4000, 9000, 20000, 0.02 from groups;
insert into suggested_ask select group_id, group_id, 'desk', 30000, '2026-02-01', now() from groups;
insert into idempotency (group_id, member_id, operation, key, sum, made_at) select group_id, group_id, 'POST /', 'k', sha256('k'), now() from groups;
insert into listing_state select group_id, listing_id, 'fresh', '', now(), now() from listing where ref = 'O';
insert into webhook (group_id, webhook_id, member_id, url, events, secret, created_at)
	select group_id, group_id, group_id, 'https://hooks.example', '{listing.stale}', sha256('s'), now() from groups;
insert into webhook_delivery (group_id, delivery_id, webhook_id, event, payload, created_at)
	select group_id, group_id, group_id, 'listing.stale', '{}', now() from groups;
insert into audit (group_id, audit_id, member_id, at, change_no, what, subject) select group_id, group_id, group_id, now(), 1, 'x', group_id from groups;
insert into value_statistics (group_id, design) select group_id, 1 from groups;
insert into sheet (group_id, member_id, sheet_id, name, created_at, cells) select group_id, group_id, group_id, 'mine.csv', now(), '' from groups;
insert into sheet_memory (group_id, member_id) select group_id, group_id from groups;
insert into sale_row select group_id, 1, listing_id, ended_on, '{intercept}', '{1}', 4.5, 1 from listing where ref = 'S';
insert into rate_fit (group_id, design, fitted_on, change_no, rates) select group_id, 1, '2026-03-01', 1, '{}' from groups;
insert into listing_deleted select group_id, group_id, 1 from groups;
insert into invitation (group_id, invitation_id, hash, name, scope, created_at, expires_at)
	select group_id, group_id, sha256('i'), 'Tamsin', 'write', now(), now() from groups;
`

// violations break each constraint by itself, by "table.constraint". A table's
// name stands for a second copy of its rows; other texts are SQL.
var violations = map[string]string{
	"groups.groups_pkey":                   "copy",
	"groups.change_no_not_negative":        "update groups set change_no = -1",
	"group_settings.group_settings_pkey":   "copy",
	"group_settings.group_settings_group":  "update group_settings set group_id = gen_random_uuid()",
	"group_settings.group_named":           "update group_settings set name = ''",
	"group_settings.currency_is_code":      "update group_settings set currency = 'usd'",
	"group_settings.unit_known":            "update group_settings set unit = 'ft'",
	"group_settings.date_order_known":      "update group_settings set date_order = 'ymd'",
	"group_settings.settings_not_negative": "update group_settings set space_price = -1",
	"group_settings.distance_cost_amount":  "update group_settings set distance_cost = -1",
	"group_settings.fee_rate_is_share":     "update group_settings set fee_rate = 1",
	"group_settings.holding_rate_is_share": "update group_settings set holding_rate = 1.1",
	"group_settings.salvage_rate_is_share": "update group_settings set salvage_rate = -0.1",
	"group_settings.horizon_positive":      "update group_settings set horizon_days = 0",
	"member.member_pkey":                   "copy",
	"member.member_group":                  "insert into member values (gen_random_uuid(), gen_random_uuid(), 'X', now())",
	"member.member_named":                  "update member set name = ''",
	"member.member_name_once":              "insert into member select group_id, gen_random_uuid(), 'WILDA', now() from groups",
	"api_key.api_key_pkey":                 "copy",
	"api_key.api_key_member":               "update api_key set member_id = gen_random_uuid()",
	"api_key.api_key_hash_once":            "insert into api_key (group_id, key_id, member_id, hash, scope, created_at) select group_id, gen_random_uuid(), member_id, hash, scope, now() from api_key",
	"api_key.hash_is_sha256":               "update api_key set hash = 'short'",
	"api_key.scope_known":                  "update api_key set scope = 'root'",
	"api_key.api_key_parent":               "update api_key set parent_id = gen_random_uuid()",
	"api_key.api_key_maker":                "update api_key set made_by = gen_random_uuid()",
	"invitation.invitation_pkey":           "copy",
	"invitation.invitation_group":          "update invitation set group_id = gen_random_uuid()",
	"invitation.invitation_maker":          "update invitation set made_by = gen_random_uuid()",
	"invitation.invitation_key":            "update invitation set key_id = gen_random_uuid(), redeemed_at = now()",
	"invitation.invitation_hash_once":      "insert into invitation (group_id, invitation_id, hash, name, scope, created_at, expires_at) select group_id, gen_random_uuid(), hash, name, scope, created_at, expires_at from invitation",
	"invitation.invitation_hash_is_sha256": "update invitation set hash = 'short'",
	"invitation.invitation_scope_known":    "update invitation set scope = 'feed'",
	"invitation.invitation_named":          "update invitation set name = ''",
	"invitation.redeemed_has_key":          "update invitation set redeemed_at = now()",
	"piece.piece_pkey":                     "copy",
	"piece.piece_owner":                    "update piece set member_id = gen_random_uuid()",
	"piece.piece_ref_once":                 "insert into piece select group_id, gen_random_uuid(), member_id, ref from piece",
	"piece.piece_named":                    "update piece set ref = '' where ref = 'O'",
	"listing.listing_pkey":                 "update listing set listing_id = group_id",
	"listing.listing_piece":                "update listing set piece_id = gen_random_uuid() where ref = 'O'",
	"listing.listing_owner":                "update listing set member_id = gen_random_uuid() where ref = 'O'",
	"listing.listing_ref_once":             "update listing set ref = 'S' where ref = 'O'",
	"listing.listing_named":                "update listing set category = '' where ref = 'O'",
	"listing.source_known":                 "update listing set source = 'heard' where ref = 'O'",
	"listing.stage_known":                  "update listing set stage = 'lost' where ref = 'Y'",
	"listing.unit_known":                   "update listing set unit = 'mm' where ref = 'O'",
	"listing.outcome_known":                "update listing set outcome = 'lost' where ref = 'O'",
	"listing.stage_until_listed":           "update listing set stage = 'found' where ref = 'O'",
	"listing.outcome_from_listed":          "update listing set outcome = 'open' where ref = 'Y'",
	"listing.observed_is_listed":           "update listing set source = 'observed' where ref = 'Y'",
	"listing.last_seen_is_observed":        "update listing set last_seen_on = '2026-03-01' where ref = 'O'",
	"listing.size_positive":                "update listing set width = 0 where ref = 'O'",
	"listing.set_positive":                 "update listing set set_size = 0 where ref = 'O'",
	"listing.condition_is_grade":           "update listing set condition = 6 where ref = 'O'",
	"listing.counts_not_negative":          "update listing set messages = -1 where ref = 'O'",
	"listing.asks_paired":                  "update listing set ask_amount = '{1,2}' where ref = 'O'",
	"listing.asks_from_listed":             "update listing set ask_on = '{2026-02-02}' where ref = 'O'",
	"listing.asks_positive":                "update listing set ask_amount = '{0}' where ref = 'O'",
	"listing.asks_until_end":               "update listing set ask_on = '{2026-02-01,2026-03-02}', ask_amount = '{2,1}' where ref = 'S'",
	"listing.ended_has_day":                "update listing set ended_on = null where ref = 'S'",
	"listing.ended_has_day ":               "update listing set ended_on = '2026-03-01' where ref = 'Y'",
	"listing.ended_after_listed":           "update listing set ended_on = '2026-01-31' where ref = 'S'",
	"listing.sold_has_price":               "update listing set sale_price = null where ref = 'S'",
	"listing.price_is_sold":                "update listing set sale_price = 9000 where ref = 'O'",
	"listing.price_is_sold ":               "update listing set sale_price = 9000 where ref = 'Y'",
	"listing.amounts_positive":             "update listing set estimate = 0 where ref = 'O'",
	"listing.pauses_inside":                "update listing set pauses = '{[2026-01-31,2026-02-02)}' where ref = 'O'",
	"listing.pauses_inside ":               "update listing set pauses = '{[2026-02-27,2026-03-02)}' where ref = 'S'",
	"listing.pauses_inside  ":              "update listing set pauses = '{[2026-02-01,2026-02-02)}' where ref = 'Y'",
	"listing.seller_ask_positive":          "update listing set seller_ask = 0 where ref = 'Y'",
	"listing.let_go_known":                 "update listing set let_go = 'lost', let_go_on = '2026-03-01' where ref = 'Y'",
	"listing.let_go_has_day":               "update listing set let_go = 'kept' where ref = 'Y'",
	"listing.let_go_has_day ":              "update listing set let_go_on = '2026-03-01' where ref = 'Y'",
	"listing.let_go_is_noted":              "update listing set let_go_note = 'x' where ref = 'Y'",
	"listing.let_go_unsold":                "update listing set let_go = 'kept', let_go_on = '2026-03-01' where ref = 'O'",
	"listing.let_go_unsold ":               "update listing set let_go = 'kept', let_go_on = '2026-03-01' where ref = 'S'",
	"listing.let_go_after_end":             "update listing set outcome = 'withdrawn', ended_on = '2026-03-01', let_go = 'kept', let_go_on = '2026-02-28' where ref = 'O'",
	"listing.listing_offered_once":         "update listing set piece_id = (select piece_id from piece where ref = 'O'), source = 'own' where ref = 'W'",
	"event.event_pkey":                     "copy",
	"event.event_listing":                  "update event set listing_id = gen_random_uuid()",
	"event.event_voids":                    "update event set voids = gen_random_uuid()",
	"ledger.ledger_pkey":                   "copy",
	"ledger.ledger_listing":                "update ledger set listing_id = gen_random_uuid()",
	"ledger.condition_found_is_grade":      "update ledger set condition_found = 0",
	"cost_line.cost_line_pkey":             "copy",
	"cost_line.cost_line_listing":          "update cost_line set listing_id = gen_random_uuid()",
	"cost_line.cost_kind_known":            "update cost_line set kind = 'bribes'",
	"cost_line.cost_line_voids":            "update cost_line set voids = gen_random_uuid()",
	"cost_line.cost_line_voided_once":      "insert into cost_line select group_id, gen_random_uuid(), listing_id, member_id, kind, -1, on_date, at, 1, '', '', line_id from cost_line, generate_series(1, 2)",
	"cost_line.step_is_of_hours":           "update cost_line set step = 'strip'",
	"asked_price.asked_price_pkey":         "copy",
	"asked_price.asked_price_member":       "update asked_price set member_id = gen_random_uuid()",
	"asked_price.asked_find_named":         "update asked_price set find = ''",
	"asked_price.asked_amounts_positive":   "update asked_price set price = 0",
	"asked_price.asked_amounts_positive ":  "update asked_price set net = 0",
	"asked_price.asked_variance_positive":  "update asked_price set variance = 0",
	"suggested_ask.suggested_ask_pkey":     "copy",
	"suggested_ask.suggested_ask_member":   "update suggested_ask set member_id = gen_random_uuid()",
	"suggested_ask.suggested_ask_positive": "update suggested_ask set ask = 0",
	"suggestion.suggestion_pkey":           "copy",
	"suggestion.suggestion_member":         "update suggestion set member_id = gen_random_uuid()",
	"suggestion.suggestion_listing":        "update suggestion set listing_id = gen_random_uuid()",
	"suggestion.suggestion_once":           "insert into suggestion (group_id, suggestion_id, member_id, ref, on_date, model, made_at) select group_id, gen_random_uuid(), member_id, ref, on_date, model, now() from suggestion",
	"suggestion.suggestion_named":          "update suggestion set ref = ''",
	"suggestion.range_in_order":            "update suggestion set low = 3, likely = 2, high = 4, level = 0.8",
	"suggestion.range_whole":               "update suggestion set low = 1, likely = 2",
	"suggestion.ask_whole":                 "update suggestion set ask = 5",
	"suggestion.chance_is_share":           "update suggestion set ask = 5, within_days = 30, chance = 1.1, prospects = '{}'",
	"idempotency.idempotency_pkey":         "copy",
	"idempotency.idempotency_member":       "update idempotency set member_id = gen_random_uuid()",
	"idempotency.key_is_short":             "update idempotency set key = ''",
	"idempotency.sum_is_sha256":            "update idempotency set sum = 'x'",
	"idempotency.status_is_success":        "update idempotency set status = 422",
	"suggestion.amounts_positive":          "update suggestion set estimate = 0",
	"audit.audit_pkey":                     "copy",
	"audit.audit_group":                    "update audit set group_id = gen_random_uuid()",

	"sheet.sheet_pkey":                          "copy",
	"sheet.sheet_member":                        "update sheet set member_id = gen_random_uuid()",
	"sheet.sheet_state":                         "update sheet set state = 'lost'",
	"sheet.sheet_name_is_short":                 "update sheet set name = repeat('x', 201)",
	"sheet.sheet_is_bounded":                    "update sheet set cells = decode(repeat('00', 4194305), 'hex')",
	"sheet_memory.sheet_memory_pkey":            "copy",
	"sheet_memory.sheet_memory_member":          "update sheet_memory set member_id = gen_random_uuid()",
	"listing_state.listing_state_pkey":          "copy",
	"listing_state.listing_state_listing":       "update listing_state set listing_id = gen_random_uuid()",
	"listing_state.state_known":                 "update listing_state set state = 'old'",
	"listing_state.updated_in_state":            "update listing_state set updated_at = since - interval '1 s'",
	"listing_state.step_whole":                  "update listing_state set step_to = 100",
	"listing_state.step_lowers":                 "update listing_state set step_from = 100, step_to = 100",
	"webhook.webhook_pkey":                      "copy",
	"webhook.webhook_member":                    "update webhook set member_id = gen_random_uuid()",
	"webhook.url_is_https":                      "update webhook set url = 'http://hooks.example'",
	"webhook.events_some":                       "update webhook set events = '{}'",
	"webhook.secret_is_long":                    "update webhook set secret = 'x'",
	"webhook_delivery.webhook_delivery_pkey":    "copy",
	"webhook_delivery.webhook_delivery_webhook": "update webhook_delivery set webhook_id = gen_random_uuid()",
	"webhook_delivery.delivered_is_over":        "update webhook_delivery set next_at = now(), delivered_at = now()",

	"value_statistics.value_statistics_pkey":  "copy",
	"value_statistics.value_statistics_group": "insert into value_statistics (group_id, design) values (gen_random_uuid(), 1)",
	"sale_row.sale_row_pkey":                  "copy",
	"sale_row.sale_row_statistics":            "update sale_row set design = 2",
	"sale_row.terms_paired":                   "update sale_row set term_values = '{}'",
	"rate_fit.rate_fit_pkey":                  "copy",
	"rate_fit.rate_fit_group":                 "update rate_fit set group_id = gen_random_uuid()",
	"listing_deleted.listing_deleted_pkey":    "copy",
	"listing_deleted.listing_deleted_group":   "update listing_deleted set group_id = gen_random_uuid()",
}

// namedConstraints lists "table.constraint" of all checks, keys and unique
// indexes.
const namedConstraints = `
	select conrelid::regclass::text || '.' || conname from pg_constraint
	where connamespace = 'askwright'::regnamespace and contype in ('c', 'f', 'p', 'u') and conrelid <> 'schema_version'::regclass
	union
	select indrelid::regclass::text || '.' || indexrelid::regclass::text from pg_index
	where indisunique and indrelid in (select oid from pg_class where relnamespace = 'askwright'::regnamespace) and indrelid <> 'schema_version'::regclass
	order by 1`

func TestEachConstraintRefusesByName(t *testing.T) {
	t.Parallel()
	conn := connect(t, dbtest.New(t).AdminDSN, "")
	if _, err := conn.PgConn().Exec(t.Context(), onFile).ReadAll(); err != nil {
		t.Fatal(err)
	}
	tested := map[string]bool{}
	for key, sql := range violations {
		key = strings.TrimSpace(key)
		tested[key] = true
		table, constraint, _ := strings.Cut(key, ".")
		if sql == "copy" {
			sql = "insert into " + table + " select * from " + table
		}
		mustExec(t, conn, "begin")
		_, err := conn.Exec(t.Context(), sql)
		mustExec(t, conn, "rollback")
		var pg *pgconn.PgError
		if !errors.As(err, &pg) || pg.TableName != table || pg.ConstraintName != constraint || !strings.HasPrefix(pg.Code, "23") {
			t.Errorf("%s:\n got %v\nwant a violation of %s of %s", sql, err, constraint, table)
		}
	}
	if diff := cmp.Diff(column[string](t, conn, namedConstraints), slices.Sorted(maps.Keys(tested))); diff != "" {
		t.Errorf("constraints there and tested (-there +tested):\n%s", diff)
	}
}

// The rows to violate from must themselves be good, with all kinds there.
func TestYardRowsAndStrangersMayBeSparse(t *testing.T) {
	t.Parallel()
	conn := connect(t, dbtest.New(t).AdminDSN, "")
	if _, err := conn.PgConn().Exec(t.Context(), onFile).ReadAll(); err != nil {
		t.Fatal(err)
	}
	for _, sql := range []string{
		"update listing set outcome = 'sold', ended_on = '2026-03-01' where ref = 'W'", // a stranger's price is not known
		"update listing set last_seen_on = '2026-02-01' where ref = 'W'",
		"update listing set stage = 'found' where ref = 'Y'",
		"update listing set pauses = '{[2026-02-01,2026-03-01)}' where ref = 'S'", // paused throughout
		"update listing set pauses = '{[2026-02-03,)}' where ref = 'O'",           // and not resumed
		"update listing set ask_on = '{2026-02-01,2026-03-01}', ask_amount = '{2,1}' where ref = 'S'",
		"update listing set ended_on = listed_on where ref = 'S'", // sold on the first day
	} {
		mustExec(t, conn, "begin")
		if n := mustExec(t, conn, sql).RowsAffected(); n != 1 {
			t.Errorf("%s: %d rows, want 1", sql, n)
		}
		mustExec(t, conn, "rollback")
	}
}

func TestWordsAreForConstraintsThatExist(t *testing.T) {
	t.Parallel()
	conn := connect(t, dbtest.New(t).AdminDSN, "")
	var names []string
	for _, key := range column[string](t, conn, namedConstraints) {
		_, name, _ := strings.Cut(key, ".")
		names = append(names, name)
	}
	for _, name := range db.ConstraintNames() {
		if !slices.Contains(names, name) {
			t.Errorf("there are words for %s, and no such constraint", name)
		}
	}
}

// Constraints without words of their own are listed, so that a new one is
// decided on: the service refuses what they forbid, and one that a request
// breaks all the same is a fault of the program.
func TestConstraintsWithoutWordsAreListed(t *testing.T) {
	t.Parallel()
	conn := connect(t, dbtest.New(t).AdminDSN, "")
	var without strings.Builder
	for _, key := range column[string](t, conn, namedConstraints) {
		if _, name, _ := strings.Cut(key, "."); !slices.Contains(db.ConstraintNames(), name) {
			without.WriteString(key + "\n")
		}
	}
	const file = "testdata/constraints-without-words.txt"
	if *servicetest.Update {
		if err := os.WriteFile(file, []byte(without.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), without.String()); diff != "" {
		t.Errorf("give the new ones words in constraintColumns, or list them in %s (-listed +found):\n%s", file, diff)
	}
}

// SQLSTATE codes: PostgreSQL documentation, appendix A.
func TestErrorsAreTheServices(t *testing.T) {
	t.Parallel()
	var invalid *service.InvalidError
	if err := db.Translate(&pgconn.PgError{Code: "23514", ConstraintName: "ended_after_listed"}); !errors.As(err, &invalid) {
		t.Errorf("a check: %v, want an InvalidError", err)
	} else if got := invalid.Error(); !strings.Contains(got, "ended_on") || !strings.Contains(got, "before listed_on") {
		t.Errorf("a check: %q, want the column and the reason", got)
	}
	for _, test := range []struct {
		code, constraint string
		want             error
	}{
		{"23505", "listing_ref_once", service.ErrConflict}, // unique_violation
		{"23505", "some_other", service.ErrConflict},       //
		{"53300", "", service.ErrUnavailable},              // too_many_connections
		{"53100", "", service.ErrUnavailable},              // disk_full
		{"57P01", "", service.ErrUnavailable},              // admin_shutdown
		{"57P03", "", service.ErrUnavailable},              // cannot_connect_now
		{"57014", "", service.ErrUnavailable},              // query_canceled
		{"40001", "", service.ErrUnavailable},              // serialization_failure
		{"40P01", "", service.ErrUnavailable},              // deadlock_detected
		{"55P03", "", service.ErrUnavailable},              // lock_not_available
		{"08006", "", service.ErrUnavailable},              // connection_failure
	} {
		if err := db.Translate(&pgconn.PgError{Code: test.code, ConstraintName: test.constraint}); !errors.Is(err, test.want) {
			t.Errorf("%s: %v, want %v", test.code, err, test.want)
		}
	}
	for _, code := range []string{"42601", "23503", "23502"} { // syntax_error, foreign keys, not null: our fault
		err := db.Translate(&pgconn.PgError{Code: code})
		if errors.As(err, &invalid) {
			t.Errorf("%s: %v, want a fault of the program", code, err)
		}
		for _, kind := range []error{service.ErrConflict, service.ErrUnavailable, service.ErrNotFound} {
			if errors.Is(err, kind) {
				t.Errorf("%s: %v, want a fault of the program", code, err)
			}
		}
	}
}

func sqlState(err error) string {
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return pg.Code
	}
	return ""
}
