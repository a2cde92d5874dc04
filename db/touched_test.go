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

// Comparables are found by index whatever the group's size, and read with all
// that pricing takes of a listing but the estimate.
func TestComparablesAreReadWithWhatPricingTakes(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	fillListings(t, f, 20_000)
	a := f.Actor(t, "Wilda")
	app := asApp(t, f.DB.DSN, a.Group.ID, a.MemberID)
	for _, sql := range []string{db.NearestSold, db.NearestUnsold, db.NearestOthers} {
		if n := rowsTouched(t, app, sql, a.Group.ID, "kind_3", 60_000.0); n > 2*(model.NearestSold+model.NearestUnsold) {
			t.Errorf("%d rows read by\n%s", n, sql)
		}
	}
	admin := connect(t, f.DB.AdminDSN, "")
	mustExec(t, admin, `update listing set items = 'desk:1;chair:2', material = 'solid_wood', wood = 'oak', style = 'shaker',
		year_made = 1960, condition = 4, color = 'navy', second_finish = 'clear', second_color = 'natural', topcoat = 'wax',
		sheen = 'matte', hardware = 'original', drawers = 3, doors = 0, maker = 'Own', venue = 'market', area = 'north',
		set_size = 2, pauses = datemultirange(daterange(listed_on, listed_on + 1)), last_seen_on = null where category = 'kind_3'`)
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	for soldOnly, rows := range map[bool]int{true: 100, false: 130} {
		query := model.CompQuery{Category: "kind_3", Volume: 60_000, FewEnough: 5, SoldOnly: soldOnly}
		found, err := store.Nearest(t.Context(), a.Tenant(), []model.CompQuery{query})
		if err != nil {
			t.Fatal(err)
		}
		if len(found[0]) > rows || len(found[0]) < 100 {
			t.Errorf("%d rows, want %d or, of one outcome, fewer", len(found[0]), rows)
		}
		for _, l := range found[0] {
			whole, err := f.Recording.Listing(t.Context(), a, l.ID)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(whole.Facts(a.Group.Currency, nil, nil), l.Facts(a.Group.Currency, nil, nil)); diff != "" {
				t.Fatalf("%s (-whole +read):\n%s", l.Ref, diff)
			}
			if l.Member != whole.Member || l.Ref != whole.Ref {
				t.Errorf("%s of %q, want %s of %q", l.Ref, l.Member, whole.Ref, whole.Member)
			}
		}
	}
}
