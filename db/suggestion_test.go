package db_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"askwright/db"
	"askwright/pricing"
	"askwright/service/track"
)

// A suggestion comes back as it was kept, once, in its own group.
func TestSuggestionsComeBack(t *testing.T) {
	t.Parallel()
	f := filled(t)
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 2})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	tenant := f.Actor(t, "Wilda").Tenant()
	row := rowByRef(t, f, "Wilda", "R-1")
	last := row.Asks[len(row.Asks)-1].On
	kept := track.Shown{
		ID: uuid.Must(uuid.NewV7()), MemberID: row.MemberID, Ref: row.Ref, ListingID: row.ID, On: last - 1, Model: "1.2.2026-03-01",
		At: f.Clock.Now().Add(-time.Hour).UTC().Truncate(time.Microsecond), Estimate: 31000,
		SalePrice: &track.ShownRange{Likely: 30000, Low: 25000, High: 36000, Level: 0.8},
		Promise:   &track.ShownAsk{Ask: 32000, WithinDays: 30, Chance: 0.625, Prospects: pricing.Prospects{Typical: 310.5, Pace: -3.7, Gamma: 5.125, Eta: [4]float64{0.4, 0.1, 0, -0.2}, Shape: 2, Rate: 2.5}},
	}
	twice, later, gone := kept, kept, kept
	twice.ID, twice.Estimate = uuid.Must(uuid.NewV7()), 99900
	later.ID, later.On, later.Model = uuid.Must(uuid.NewV7()), last+1, "1.3.2026-03-02"
	gone.ID, gone.ListingID, gone.Ref = uuid.Must(uuid.NewV7()), uuid.Must(uuid.NewV7()), "GONE"
	for range 2 { // as after an answer that was lost
		if err := store.KeepSuggestions(t.Context(), tenant.Group, []track.Shown{kept, twice, later, gone}); err != nil {
			t.Fatal(err)
		}
	}
	got, err := store.LastKept(t.Context(), tenant)
	if err != nil {
		t.Fatal(err)
	}
	for i := range got {
		got[i].At = got[i].At.UTC()
	}
	if diff := cmp.Diff([]track.Shown{kept}, got); diff != "" {
		t.Errorf("kept and read (-want +got):\n%s", diff)
	}
	admin := connect(t, f.DB.AdminDSN, "")
	if n := value[int](t, admin, "select count(*) from suggestion"); n != 3 {
		t.Errorf("%d rows, want 3", n)
	}
	if n := value[int](t, admin, "select count(*) from suggestion where ref = 'GONE' and listing_id is null"); n != 1 {
		t.Errorf("a suggestion for a deleted row: %d, want it without the row", n)
	}
	f.AddGroup(t, "Tamsin")
	other := f.Actor(t, "Tamsin").Tenant()
	if got, err := store.LastKept(t.Context(), other); err != nil || len(got) != 0 {
		t.Errorf("another group reads %v, %v", got, err)
	}
	app := asApp(t, f.DB.DSN, other.Group, other.Member)
	if n := value[int](t, app, "select count(*) from suggestion"); n != 0 {
		t.Errorf("another group sees %d suggestions in raw SQL", n)
	}
	if err := store.KeepSuggestions(t.Context(), other.Group, []track.Shown{kept}); err == nil {
		t.Error("a suggestion was kept in a group that its member is not of")
	}
	if _, err := app.Exec(t.Context(), "update suggestion set ask = 1"); err == nil {
		t.Error("what was promised can be changed")
	}
}
