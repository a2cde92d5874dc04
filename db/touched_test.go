package db_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/db"
	"askwright/pricing"
	"askwright/pricing/furniture"
	"askwright/service"
	"askwright/service/model"
	"askwright/service/servicetest"
)

// manyListings puts $1 listings of a first member on file, with hours
// of one in five; one in ten is open.
const manyListings = `
with numbered as (
	select m.*, i, md5(m.group_id::text || i)::uuid as id, 'M-' || lpad(i::text, 7, '0') as ref, date '2024-01-01' + i % 700 as day
	from (select * from askwright.member limit 1) m, generate_series(1, $1::integer) i),
pieces as (insert into askwright.piece select group_id, id, member_id, ref from numbered),
listings as (
	insert into askwright.listing (group_id, listing_id, piece_id, member_id, revision, change_no, ref, source, category,
		width, depth, height, unit, finish, listed_on, outcome, ended_on, sale_price, ask_on, ask_amount)
	select group_id, id, id, member_id, 1, 1, ref, 'own', 'kind_' || i % 10,
		40 + i % 61, 15 + i % 17, 30 + i % 23, 'cm', 'painted', day,
		case i % 10 when 0 then 'open' when 1 then 'withdrawn' else 'sold' end, case when i % 10 > 0 then day + 31 end,
		case when i % 10 > 1 then 10000 + 10 * (i % 500) end, array[day], array[12000 + 10 * (i % 500)]
	from numbered)
insert into askwright.cost_line (group_id, line_id, listing_id, member_id, kind, amount, on_date, at, change_no)
	select group_id, id, id, member_id, 'hours', 300 + i % 200, day, now(), 1 from numbered where i % 5 = 0`

// fillListings puts so many listings on file, as the server knows them after a
// while.
func fillListings(t *testing.T, f *servicetest.Fixture, n int) {
	t.Helper()
	admin := connect(t, f.DB.AdminDSN, "")
	mustExec(t, admin, "set session_replication_role = replica") // no checks of keys that are sure to be there
	mustExec(t, admin, manyListings, n)
	mustExec(t, admin, "analyze")
}

// planNode is a step of a plan as explain tells it.
type planNode struct {
	Relation string     `json:"Relation Name"`
	Rows     float64    `json:"Actual Rows"`
	Loops    float64    `json:"Actual Loops"`
	Filtered float64    `json:"Rows Removed by Filter"`
	Rechecks float64    `json:"Rows Removed by Index Recheck"`
	Plans    []planNode `json:"Plans"`
}

// touched adds up the rows that a step and those below it read from tables,
// also those that they passed over.
func (p planNode) touched() (n int) {
	if p.Relation != "" {
		n = int((p.Rows + p.Filtered + p.Rechecks) * p.Loops)
	}
	for _, below := range p.Plans {
		n += below.touched()
	}
	return n
}

// rowsTouched runs a statement and tells how many rows it read.
func rowsTouched(t *testing.T, conn *pgx.Conn, sql string, args ...any) int {
	t.Helper()
	text := value[string](t, conn, "explain (analyze, format json) "+sql, args...)
	var plans []struct{ Plan planNode }
	if err := json.Unmarshal([]byte(text), &plans); err != nil {
		t.Fatal(err)
	}
	return plans[0].Plan.touched()
}

// groupSizes are those between which an answer must not come to cost more. In
// much smaller groups the server may find it cheaper to read all rows.
var groupSizes = []int{5_000, 20_000}

// A page reads its own rows whatever the order, the place in it and the size of
// the group.
func TestAPageReadsItsOwnRowsAlone(t *testing.T) {
	t.Parallel()
	for _, size := range groupSizes {
		t.Run(fmt.Sprint(size), func(t *testing.T) {
			t.Parallel()
			f := servicetest.New(t)
			fillListings(t, f, size)
			tenant := f.Actor(t, "Wilda").Tenant()
			app := asApp(t, f.DB.DSN, tenant.Group, tenant.Member)
			const limit, columnsOfRow = 50, 6 // listing, piece, member, ledger, cost lines; and the place before
			for _, q := range pagesOf(t, f, limit) {
				sql, args, err := db.ListingPage(tenant, q)
				if err != nil {
					t.Fatal(err)
				}
				if n := rowsTouched(t, app, sql, args...); n > (limit+1)*columnsOfRow {
					t.Errorf("%d rows read for %d by %v after %v", n, limit, q.Sort, q.After)
				}
			}
			for _, q := range []service.PieceQuery{
				{Limit: limit},
				{Limit: limit, Member: tenant.Member},
				{Limit: limit, AfterRef: "M-0000500", AfterID: uuid.Max},
				{Limit: limit, Ref: "M-0000700"},
				{Limit: limit, State: []string{service.OutcomeSold}},
			} {
				sql, args := db.PiecePage(tenant, q)
				if n := rowsTouched(t, app, sql, args...); n > (limit+1)*(columnsOfRow+1) {
					t.Errorf("%d rows read for %d pieces of %+v", n, limit, q)
				}
			}
		})
	}
}

// pagesOf gives for each order, in both directions, the first page and one from
// the middle.
func pagesOf(t *testing.T, f *servicetest.Fixture, limit int) (pages []service.Query) {
	t.Helper()
	a := f.Actor(t, "Wilda")
	byRef := service.Query{Words: map[string][]string{"ref": {"M-0000500"}}, Limit: 1}
	found, _, err := f.Recording.Listings(t.Context(), a, byRef)
	if err != nil || len(found) != 1 {
		t.Fatalf("%d rows, %v", len(found), err)
	}
	middle := found[0]
	places := map[string]string{
		"ref": middle.Ref, "category": middle.Category, "listed_on": middle.ListedOn.String(), "ask": "12000",
		"ended_on": "", "sale_price": "",
	}
	for _, column := range service.SortColumns {
		for _, descending := range []bool{false, true} {
			first := service.Query{Limit: limit, Sort: []service.SortKey{{Column: column, Descending: descending}}}
			next := first
			next.After, next.AfterID = []string{places[column]}, middle.ID
			pages = append(pages, first, next)
		}
	}
	inTheYard := true
	pages = append(pages, service.Query{Limit: limit, Member: a.MemberID, InTheYard: &inTheYard})
	return append(pages, service.Query{Limit: limit}, service.Query{Limit: limit, AfterID: middle.ID})
}

// Page after page, each order gives every row once, in the order of the whole
// list, also with several columns of different directions.
func TestPagesAddUpToTheList(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	fillListings(t, f, 300)
	a := f.Actor(t, "Wilda")
	for _, sort := range []string{
		"ref", "-ref", "category", "-category,ask", "listed_on,-ask", "-listed_on", "ended_on", "-ended_on,-ask", "-ask",
		"sale_price,-ref", "",
	} {
		q := service.Query{Sort: sortOf(sort)}
		var whole, paged []string
		err := f.Recording.EachListing(t.Context(), a, q, func(l *service.Listing) error {
			whole = append(whole, l.Ref)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		for q.Limit = 37; ; {
			rows, more, err := f.Recording.Listings(t.Context(), a, q)
			if err != nil {
				t.Fatal(err)
			}
			for _, l := range rows {
				paged = append(paged, l.Ref)
			}
			if !more {
				break
			}
			last := rows[len(rows)-1]
			q.AfterID, q.After = last.ID, nil
			for _, k := range q.Sort {
				column, _ := service.ColumnByName(k.Column)
				q.After = append(q.After, column.Value(last, a.Group.Currency))
			}
		}
		if len(whole) != 300 || !slices.Equal(whole, paged) {
			t.Errorf("by %q: %d rows, paged %d: %v", sort, len(whole), len(paged), paged)
		}
	}
}

// sortOf reads an order as the API does: -listed_on,ref.
func sortOf(text string) (keys []service.SortKey) {
	for name := range strings.SplitSeq(text, ",") {
		if column, descending := strings.CutPrefix(name, "-"); column != "" {
			keys = append(keys, service.SortKey{Column: column, Descending: descending})
		}
	}
	return keys
}

// What a member's pieces took is read again of those alone that changed.
func TestWhatPiecesTookIsReadOfChangesAlone(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	fillListings(t, f, 20_000)
	admin := connect(t, f.DB.AdminDSN, "")
	mustExec(t, admin, "update listing set change_no = 2 where ref in ('M-0000005', 'M-0000006', 'M-0000010')")
	tenant := f.Actor(t, "Wilda").Tenant()
	app := asApp(t, f.DB.DSN, tenant.Group, tenant.Member)
	for _, sql := range []string{db.SelectChangedOwn, db.SelectWorked} {
		for _, since := range []int64{1, 2} {
			if n := rowsTouched(t, app, sql, tenant.Group, tenant.Member, since); n > 40 {
				t.Errorf("%d rows read since %d, want only what changed:\n%s", n, since, sql)
			}
		}
	}
}

// A page of changes reads its own rows alone, also of an import that gave all rows
// one number.
func TestAPageOfChangesReadsItsOwnRowsAlone(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	fillListings(t, f, 5_000)
	mustExec(t, connect(t, f.DB.AdminDSN, ""), `insert into listing_deleted
		select group_id, md5(listing_id::text)::uuid, 1 from listing`)
	tenant := f.Actor(t, "Wilda").Tenant()
	app := asApp(t, f.DB.DSN, tenant.Group, tenant.Member)
	searchByIndexAlone(t, app)
	const limit, columnsOfRow = 50, 6
	for _, after := range []uuid.UUID{uuid.Nil, uuid.MustParse("80000000-0000-0000-0000-000000000000")} {
		for _, sql := range []string{db.SelectChanged, db.SelectDeleted} {
			if n := rowsTouched(t, app, sql, tenant.Group, 1, after, limit); n > limit*columnsOfRow || n < limit {
				t.Errorf("%d rows read for %d after %s by\n%s", n, limit, after, sql)
			}
		}
	}
}

// Comparables are searched in few entries of an index whatever the group's size,
// also of a small group beside a huge one and of tables that the server takes for
// empty, as just after an import.
func TestComparablesAreSearchedInFewEntries(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	fillListings(t, f, 20_000)
	large := f.Actor(t, "Wilda").Tenant()
	f.AddGroup(t, "Orrin")
	small := f.Actor(t, "Orrin").Tenant()
	admin := connect(t, f.DB.AdminDSN, "")
	mustExec(t, admin, "delete from pg_statistic where starelid = 'listing'::regclass")
	mustExec(t, admin, "update pg_class set reltuples = -1, relpages = 0 where oid = 'listing'::regclass")
	const sides = 3
	for _, tenant := range []service.Tenant{large, small} {
		app := asApp(t, f.DB.DSN, tenant.Group, tenant.Member)
		searchByIndexAlone(t, app)
		sized, unsized := searchFor(tenant.Group, "kind_3"), searchFor(tenant.Group, "kind_3")
		unsized[2] = []*float64{nil}
		for _, sql := range []string{db.SearchSold, db.SearchBoth, db.SearchOthers} {
			for most, args := range map[int][]any{
				sides * (model.NearestSold + model.NearestUnsold): sized, 10 * model.NearestSold: unsized,
			} {
				if n := rowsTouched(t, app, sql, args...); n > most {
					t.Errorf("%d rows read, at most %d may be, by\n%s", n, most, sql)
				}
			}
		}
	}
}

// Candidates are ranked by what the model takes of a whole row, and nothing is
// shown that is the owner's alone.
func TestCandidatesAreRankedAsWholeRowsAre(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	fillListings(t, f, 2_000)
	a := f.Actor(t, "Wilda")
	admin := connect(t, f.DB.AdminDSN, "")
	mustExec(t, admin, `update listing set items = 'desk:1;chair:2', material = 'solid_wood', wood = 'oak', style = 'shaker',
		year_made = 1960, condition = 4, color = 'navy'||E'\x1f', second_finish = 'clear', second_color = 'natural', topcoat = 'wax',
		sheen = 'matte', hardware = 'original', drawers = 3, doors = 0, maker = 'Own', venue = 'market', area = 'north', unit = 'in',
		set_size = 2, pauses = datemultirange(daterange(listed_on, listed_on + 1)), last_seen_on = null where category = 'kind_3'`)
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	found, err := store.Nearest(t.Context(), a.Tenant(), []model.CompQuery{{Category: "kind_3", Volume: 60_000 * 16.4}})
	if err != nil || len(found[0]) == 0 {
		t.Fatalf("%d candidates, %v", len(found[0]), err)
	}
	for _, l := range found[0] {
		rows, err := store.NearRows(t.Context(), a.Tenant(), []uuid.UUID{uuid.MustParse(l.ID)})
		if err != nil || len(rows) != 1 {
			t.Fatalf("%d rows, %v", len(rows), err)
		}
		whole, err := f.Recording.Listing(t.Context(), a, rows[0].ID)
		if err != nil {
			t.Fatal(err)
		}
		facts := whole.Facts(a.Group.Currency, nil, nil)
		if diff := cmp.Diff(facts, rows[0].Facts(a.Group.Currency, nil, nil)); diff != "" {
			t.Fatalf("%s (-whole +read):\n%s", whole.Ref, diff)
		}
		if rows[0].Member != whole.Member || rows[0].Ref != whole.Ref || rows[0].Estimate != 0 {
			t.Errorf("%s of %q, want %s of %q and no estimate", rows[0].Ref, rows[0].Member, whole.Ref, whole.Member)
		}
		wantRankedAs(t, facts, l)
	}
}

// wantRankedAs compares what a candidate is ranked by with the whole listing.
func wantRankedAs(t *testing.T, whole, candidate pricing.Listing) {
	t.Helper()
	want := pricing.Listing{
		ID: whole.ID, Outcome: whole.Outcome, Observed: whole.Observed, ListedOn: whole.ListedOn, EndedOn: whole.EndedOn,
		LastSeenOn: whole.LastSeenOn, SalePrice: min(whole.SalePrice, 1), Asks: []pricing.Ask{{On: whole.Asks[0].On, Amount: 1}},
		Attributes: furniture.Attributes{
			Category: whole.Category, SetSize: whole.SetSize, Items: whole.Items, Width: whole.Width, Depth: whole.Depth, Height: whole.Height,
			Material: whole.Material, Wood: whole.Wood, Condition: whole.Condition, Finish: whole.Finish,
			Color: strings.Trim(whole.Color, "\x1f"), Hardware: whole.Hardware,
		},
	}
	if want.Outcome != pricing.Sold && want.Outcome != pricing.Open {
		want.Outcome = pricing.Open // withdrawn or not is no matter: it has an ask
	}
	if diff := cmp.Diff(want, candidate); diff != "" {
		t.Errorf("%s (-whole +candidate):\n%s", whole.ID, diff)
	}
}
