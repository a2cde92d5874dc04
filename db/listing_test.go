package db_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/db"
	"askwright/db/dbtest"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
	"askwright/service/recording"
	"askwright/service/servicetest"
)

// The inch is exactly 25.4 mm: 24 FR 5348 (1959), the yard of 0.9144 m.
func TestMillimetresAreExact(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	importRows(t, f, "Wilda", `ref,category,width,depth,height,unit,listed_on,ask
I-1,desk,1,36,35.5,in,2026-03-01,300
C-1,desk,0.1,91.44,90.17,cm,2026-03-01,300
`)
	admin := connect(t, f.DB.AdminDSN, "")
	for ref, want := range map[string][3]string{
		"I-1": {"25.4", "914.4", "901.7"},
		"C-1": {"1", "914.4", "901.7"},
	} {
		var got [3]string
		err := admin.QueryRow(t.Context(), `select trim_scale(width_mm)::text, trim_scale(depth_mm)::text, trim_scale(height_mm)::text
			from listing where ref = $1`, ref).Scan(&got[0], &got[1], &got[2])
		if err != nil || got != want {
			t.Errorf("%s: %v mm, %v; want %v", ref, got, err, want)
		}
	}
	got := value[float64](t, admin, "select log_volume from listing where ref = 'I-1'")
	if want := math.Log(2.54 * 91.44 * 90.17); math.Abs(got-want) > 1e-12 {
		t.Errorf("log volume %.15f, want %.15f", got, want)
	}
	row := rowByRef(t, f, "Wilda", "I-1")
	if row.Width != 1 || row.Depth != 36 || row.Height != 35.5 || row.Unit != "in" {
		t.Errorf("read back %v × %v × %v %s, want as entered", row.Width, row.Depth, row.Height, row.Unit)
	}
}

func TestPausesRoundTrip(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	importRows(t, f, "Wilda", someRows)
	row := rowByRef(t, f, "Wilda", "R-1") // listed 2026-03-01, open
	day := func(s string) pricing.Date {
		d, err := pricing.ParseDate(s)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	for _, want := range [][]pricing.Interval{
		nil,
		{{From: day("2026-03-05"), To: day("2026-03-12")}},
		{{From: day("2026-03-05")}}, // still paused
		{{From: day("2026-03-01"), To: day("2026-03-02")}, {From: day("2026-03-04"), To: day("2026-03-05")}, {From: day("2026-03-30")}},
	} {
		changed := *row
		changed.Pauses = want
		err := store.Write(t.Context(), f.Actor(t, "Wilda").Tenant(), func(w recording.Writer) error {
			return w.Save(t.Context(), []*service.Change{{Old: row, New: &changed}})
		})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, rowByRef(t, f, "Wilda", "R-1").Pauses); diff != "" {
			t.Errorf("pauses (-want +got):\n%s", diff)
		}
	}
	// Seven days between the 5th and the 12th, the 12th not one of them.
	admin := connect(t, f.DB.AdminDSN, "")
	mustExec(t, admin, "update listing set pauses = '{[2026-03-05,2026-03-11]}' where ref = 'R-1'")
	want := []pricing.Interval{{From: day("2026-03-05"), To: day("2026-03-12")}}
	if diff := cmp.Diff(want, rowByRef(t, f, "Wilda", "R-1").Pauses); diff != "" {
		t.Errorf("pauses of a closed range (-want +got):\n%s", diff)
	}
}

// manyRows puts listings of one member on file: 10 categories, most sold.
const manyRows = `
insert into piece select group_id, md5(group_id::text || i)::uuid, member_id, 'M-' || i from member, generate_series(1, 4000) i;
insert into listing (group_id, listing_id, piece_id, member_id, revision, change_no, ref, source, category, width, depth, height, unit,
		listed_on, outcome, ended_on, sale_price, ask_on, ask_amount)
	select group_id, piece_id, piece_id, member_id, 1, 1, ref, 'own', 'kind_' || n % 10, 40 + n % 61, 15 + n % 17, 30 + n % 23, 'cm',
		'2026-01-01', case when n % 3 = 0 then 'withdrawn' else 'sold' end, '2026-02-01', case when n % 3 <> 0 then 10000 + n end,
		'{2026-01-01}', '{12000}'
	from piece, lateral (select substr(ref, 3)::integer as n) numbered;
analyze`

// The nearest of a size are found in the indexes alone, however many rows there are.
func TestNearestSearchesByIndex(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	f.AddGroup(t, "Orrin")
	admin := connect(t, f.DB.AdminDSN, "")
	if _, err := admin.PgConn().Exec(t.Context(), "set search_path to askwright;"+manyRows).ReadAll(); err != nil {
		t.Fatal(err)
	}
	tenant := f.Actor(t, "Orrin").Tenant()
	app := asApp(t, f.DB.DSN, tenant.Group, tenant.Member)
	searchByIndexAlone(t, app)
	for _, one := range []struct {
		sql     string
		indexes []string
	}{
		{db.SearchSold, []string{"Index Only Scan using listing_sold_near", "Index Only Scan Backward using listing_sold_near"}},
		{db.SearchBoth, []string{"Index Only Scan using listing_unsold_near", "Index Only Scan Backward using listing_unsold_near"}},
		{db.SearchOthers, []string{"Index Scan using listing_sold_size", "Index Scan Backward using listing_sold_size"}},
	} {
		plan := strings.Join(column[string](t, app, "explain (costs off) "+one.sql, searchFor(tenant.Group, "kind_3")...), "\n")
		for _, index := range one.indexes {
			if !strings.Contains(plan, index) {
				t.Errorf("there is no %s in\n%s", index, plan)
			}
		}
		if strings.Contains(plan, "Seq Scan") {
			t.Errorf("the plan reads all listings:\n%s", plan)
		}
	}
}

// searchByIndexAlone sets for a connection what is set for the searches.
func searchByIndexAlone(t *testing.T, conn *pgx.Conn) {
	t.Helper()
	mustExec(t, conn, strings.ReplaceAll(db.ByIndexAlone, "true)", "false)"))
}

// searchFor are the arguments of a search for one piece of 60,000 cm³.
func searchFor(group uuid.UUID, category string) []any {
	return []any{group, []string{category}, []float64{math.Log(60_000)}, []*uuid.UUID{nil}}
}

// The search equals what a look at every row finds.
func TestNearestIsNearest(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	admin := connect(t, f.DB.AdminDSN, "")
	if _, err := admin.PgConn().Exec(t.Context(), "set search_path to askwright;"+manyRows).ReadAll(); err != nil {
		t.Fatal(err)
	}
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	tenant := f.Actor(t, "Wilda").Tenant()
	const volume = 60_000.0
	search := []model.CompQuery{{Category: "kind_3", Volume: volume, FewEnough: 5}, {Category: "kind_4", SoldOnly: true}}
	found, err := store.Nearest(t.Context(), tenant, search)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]bool{}
	for i, candidates := range found {
		for _, l := range candidates {
			if l.Category != search[i].Category {
				t.Fatalf("%s is a %s", l.ID, l.Category)
			}
			got[l.ID] = true
		}
	}
	for _, side := range []string{">= ln($1::float8) order by log_volume, listing_id", "< ln($1::float8) order by log_volume desc, listing_id desc"} {
		want := column[string](t, admin, "select listing_id::text from listing where category = 'kind_3' and outcome = 'sold' and log_volume "+side+" limit 50", volume)
		if len(want) != 50 {
			t.Fatalf("%d rows %s, want 50", len(want), side)
		}
		for _, id := range want {
			if !got[id] {
				t.Errorf("%s is among the nearest and was not found", id)
			}
		}
	}
	if len(found[0]) != 130 || len(found[1]) != 100 { // at most 100 sold and 30 unsold
		t.Errorf("%d and %d rows found, want 130 and 100 sold ones", len(found[0]), len(found[1]))
	}
	search[0].Piece = uuid.MustParse(found[0][0].ID) // in these rows the id of the piece, too
	found, err = store.Nearest(t.Context(), tenant, search[:1])
	if err != nil {
		t.Fatal(err)
	}
	if slices.ContainsFunc(found[0], func(l pricing.Listing) bool { return l.ID == search[0].Piece.String() }) {
		t.Error("the piece is its own comparable")
	}
}

func TestTimeZoneAndDatesOfTheStoreAreUTC(t *testing.T) {
	t.Parallel()
	store, err := db.Open(t.Context(), dbtest.New(t).DSN, db.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	var zone string
	if err := store.Pool().QueryRow(t.Context(), "show timezone").Scan(&zone); err != nil || zone != "UTC" {
		t.Errorf("time zone %q, %v; want UTC", zone, err)
	}
}
