package db_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"askwright/db"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
	"askwright/service/servicetest"
)

// openStore opens a store of the test's own on the fixture's database.
func openStore(t *testing.T, f *servicetest.Fixture) *db.Store {
	t.Helper()
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	return store
}

func storedModel(t *testing.T, s *db.Store, tenant service.Tenant, design int) *model.StoredModel {
	t.Helper()
	m, err := s.StoredModel(t.Context(), tenant, design)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// A fold that fails, or whose program dies before the commit, leaves nothing.
func TestFoldIsWholeOrNothing(t *testing.T) {
	t.Parallel()
	f := modelled(t)
	store, tenant := openStore(t, f), f.Actor(t, "Wilda").Tenant()
	before := storedModel(t, store, tenant, pricing.Design)
	if before.Statistics.Sales != 2 || before.Rates == nil {
		t.Fatalf("stored %+v, want two sales and rates", before)
	}
	importRows(t, f, "Wilda", rowHeader+"R-9,desk,48,24,30,in,2026-03-01,300,,,sold,2026-03-10,290,,,,\n")
	died := errors.New("died")
	for _, anew := range []bool{false, true} {
		err := store.CatchUp(t.Context(), tenant, pricing.Design, anew, func(fold *model.CatchUp) error {
			if sold := map[bool]int{false: 1, true: 3}[anew]; len(fold.Sold) != sold {
				t.Errorf("anew %t: %d sales to fold, want %d", anew, len(fold.Sold), sold)
			}
			fold.Statistics.Add(pricing.SaleRow{Terms: []pricing.Term{{Name: "intercept", Value: 1}}, Y: 5, Weight: 1, On: 7})
			return died
		})
		if !errors.Is(err, died) {
			t.Fatal(err)
		}
		if diff := cmp.Diff(before.Statistics, storedModel(t, store, tenant, pricing.Design).Statistics, cmp.AllowUnexported(pricing.Statistics{})); diff != "" {
			t.Errorf("anew %t (-before +after):\n%s", anew, diff)
		}
	}
}

// What another release folded stays for it; what the release before that did
// goes.
func TestDesignsStandBesideEachOther(t *testing.T) {
	t.Parallel()
	f := modelled(t)
	store, tenant := openStore(t, f), f.Actor(t, "Wilda").Tenant()
	designs := func() string {
		admin := connect(t, f.DB.AdminDSN, "")
		return strings.Join(column[string](t, admin, `select design::text from value_statistics union all select 'rates ' || design from rate_fit order by 1`), ", ")
	}
	nothing := func(*model.CatchUp) error { return nil }
	for _, step := range []struct {
		design int
		want   string
	}{{pricing.Design + 1, "4, 5, rates 4"}, {pricing.Design + 2, "5, 6"}} {
		if err := store.CatchUp(t.Context(), tenant, step.design, false, nothing); err != nil {
			t.Fatal(err)
		}
		if got := designs(); got != step.want {
			t.Errorf("after a fold of design %d: %s, want %s", step.design, got, step.want)
		}
	}
	if m := storedModel(t, store, tenant, pricing.Design+2); m.Statistics.Sales != 0 || m.ChangeNo != f.Actor(t, "Wilda").Group.ChangeNo {
		t.Errorf("a new design has %d sales at %d", m.Statistics.Sales, m.ChangeNo)
	}
}

// Rates come back to the last bit, an older fit does not replace a newer one,
// and one alone refits.
func TestRatesAreKeptAndRefittedByOne(t *testing.T) {
	t.Parallel()
	f := modelled(t)
	store, tenant, now := openStore(t, f), f.Actor(t, "Wilda").Tenant(), f.Clock.Now()
	want := model.StoredRates{ChangeNo: 50, Rates: pricing.Rates{
		FittedOn: servicetest.Today, Opening: 1.0 / 3, Spread: 5e-324, Negotiation: 0.1 + 0.2, Listings: 7,
		Sale:    pricing.RateFit{Alpha: -3.7, Season: [2]float64{1e-17, -2.5e300}, Category: map[string]float64{"desk": 0.1}, Converged: true},
		ByLevel: map[string]int{"desk": 3},
	}}
	older := want
	older.FittedOn--
	older.Listings = 99
	for _, r := range []model.StoredRates{want, older} {
		if err := store.KeepRates(t.Context(), tenant, pricing.Design, r); err != nil {
			t.Fatal(err)
		}
	}
	if diff := cmp.Diff(&want, storedModel(t, store, tenant, pricing.Design).Rates); diff != "" {
		t.Errorf("rates (-kept +read):\n%s", diff)
	}
	take := func(storedAt int64, now time.Time) bool {
		t.Helper()
		mine, err := store.TakeRefit(t.Context(), tenant, pricing.Design, storedAt, now, now.Add(time.Minute))
		if err != nil {
			t.Fatal(err)
		}
		return mine
	}
	if take(49, now) || !take(50, now) || take(50, now.Add(59*time.Second)) {
		t.Error("want the turn for what is stored, once within its time")
	}
	if !take(50, now.Add(time.Minute)) {
		t.Error("nobody gets the turn of a program that died")
	}
	before := f.Actor(t, "Wilda").Group.ChangeNo
	want.ChangeNo++
	if err := store.KeepRefit(t.Context(), tenant, pricing.Design, want); err != nil {
		t.Fatal(err)
	}
	if got := f.Actor(t, "Wilda").Group.ChangeNo; got != before+1 {
		t.Errorf("change number %d after a refit, want %d", got, before+1)
	}
	if !take(51, now) {
		t.Error("the turn did not end with the refit")
	}
}

// A closed listing that is new or changed since the rates counts towards the
// next refit.
func TestClosedSinceTheRates(t *testing.T) {
	t.Parallel()
	f := modelled(t)
	store, tenant := openStore(t, f), f.Actor(t, "Wilda").Tenant()
	for i, rows := range []string{
		"R-1,desk,48,24,30,in,2026-03-01,300,,,,,,320,60,,4\n",                  // still open
		"R-9,desk,48,24,30,in,2026-03-01,300,,,sold,2026-03-10,290,,,,\n",       // new
		"R-2,desk,110.5,55,76,cm,2026-01-05,180,,,sold,2026-02-01,170,190,,,\n", // corrected
		"R-8,desk,48,24,30,in,2026-03-01,300,,,pulled,2026-03-10,,,,,\n",        // new
	} {
		importRows(t, f, "Wilda", rowHeader+rows)
		if got := storedModel(t, store, tenant, pricing.Design).Closed; got != i {
			t.Errorf("%d closed after %q, want %d", got, rows, i)
		}
	}
}

// What the models are made from says nothing of an estimate: a reader of the
// group sees the whole of it.
func TestStoredModelHidesEstimates(t *testing.T) {
	t.Parallel()
	f := filled(t)
	importRows(t, f, "Orrin", rowHeader+"R-7,desk,48,24,30,in,2026-03-01,300,,,sold,2026-03-20,290,314159,,,\n")
	if _, err := f.Advice.Describe(t.Context(), f.Actor(t, "Wilda")); err != nil {
		t.Fatal(err)
	}
	wilda := f.Actor(t, "Wilda").Tenant()
	app := asApp(t, f.DB.DSN, wilda.Group, wilda.Member)
	logged := "12.6576" // log 314159
	for _, sql := range []string{"select string_agg(r::text, ' ') from rate_fit r", "select string_agg(r::text, ' ') from sale_row r"} {
		text := value[string](t, app, sql)
		if !strings.Contains(text, "2026") {
			t.Fatalf("%s: %q, nothing to look through", sql, text)
		}
		for _, secret := range []string{"314159", "31415900", logged} {
			if strings.Contains(text, secret) {
				t.Errorf("%s tells %s: %s", sql, secret, text)
			}
		}
	}
	if m := storedModel(t, openStore(t, f), wilda, pricing.Design); m.Rates.Estimates+m.Rates.Listings == 0 {
		t.Errorf("the fit took nothing in: %+v", m.Rates)
	}
}

// The audit notes the time that it was asked for, not the database's.
func TestAuditKeepsTheServicesTime(t *testing.T) {
	t.Parallel()
	f := modelled(t)
	admin := connect(t, f.DB.AdminDSN, "")
	for _, at := range column[time.Time](t, admin, "select at from audit") {
		if !at.Equal(f.Clock.Now()) {
			t.Errorf("audited at %s, want %s", at, f.Clock.Now())
		}
	}
}
