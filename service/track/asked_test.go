package track_test

import (
	"math"
	"slices"
	"testing"

	"askwright/service"
	"askwright/service/advice"
	"askwright/service/servicetest"
	"askwright/service/track"
)

func limits(t *testing.T, f *servicetest.Fixture, member string, finds ...service.Cells) []advice.PurchaseLimit {
	t.Helper()
	found, err := f.Advice.PurchaseLimits(t.Context(), f.Actor(t, member), finds, advice.PurchaseTarget{})
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Shown.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	return found.Limits
}

// What a find is asked for is kept once, as it was last asked about; what is
// free, on file as bought, or nobody's own is not.
func TestPricesAskedAreKept(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	servicetest.SellDesks(t, f, "Wilda", 60)
	desk := func(cells service.Cells) service.Cells {
		cells["category"], cells["width"], cells["condition"] = "desk", "48", "good"
		return cells
	}
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "Y-1", "category": "desk", "stage": "bought", "purchase_cost": "70"})
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "F-9", "category": "desk", "stage": "found", "seller_ask": "80"})
	limits(t, f, "Wilda", desk(service.Cells{"ref": "F-1", "price": "40"}), desk(service.Cells{"price": "55"}), desk(service.Cells{"ref": "F-2"}),
		desk(service.Cells{"ref": "F-3", "price": "0"}), service.Cells{"ref": "Y-1"}, service.Cells{"ref": "F-9"})
	limits(t, f, "Wilda", desk(service.Cells{"ref": "F-1", "price": "45"}))
	limits(t, f, "Orrin", desk(service.Cells{"ref": "F-1", "price": "60"}))
	got := f.Select(t, "select name || ' ' || find || ' ' || price from askwright.asked_price join askwright.member using (group_id, member_id) order by 1")
	want := []string{"Orrin F-1 6000", "Wilda F-1 4500", "Wilda F-9 8000", "Wilda desk 2026-03-31 55.00 5500"}
	if !slices.Equal(got, want) {
		t.Errorf("kept %q, want %q", got, want)
	}
	feed := f.Actor(t, "Wilda")
	feed.Scope = service.ScopeFeed
	if _, err := f.Advice.PurchaseLimits(t.Context(), feed, []service.Cells{desk(service.Cells{"ref": "F-5", "price": "30"})}, advice.PurchaseTarget{}); err != nil {
		t.Fatal(err)
	}
	e, err := f.Track.Experience(t.Context(), f.Actor(t, "Orrin"))
	if err != nil || e.Prices != 4 || e.Finished != 0 || e.Logs >= 0 {
		t.Errorf("seen %+v, %v", e, err)
	}
	f.AddGroup(t, "Tamsin")
	if e, err := f.Track.Experience(t.Context(), f.Actor(t, "Tamsin")); err != nil || e.Prices != 0 {
		t.Errorf("another group sees %+v, %v", e, err)
	}
}

// A find that was bought and sold is held against what was stated of it; one
// that was given away brought nothing.
func TestFinishedPurchasesAreHeldAgainstWhatWasStated(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	servicetest.SellDesks(t, f, "Wilda", 60)
	stated := 0.0
	for _, ref := range []string{"F-1", "F-2", "F-3"} {
		servicetest.Record(t, f, "Wilda", service.Cells{"ref": ref, "category": "desk", "width": "48", "stage": "found", "seller_ask": "40"})
		l := limits(t, f, "Wilda", service.Cells{"ref": ref})[0]
		if ref != "F-3" {
			stated += math.Round(100*l.SaleCash) / 100
		}
	}
	f.Clock.Advance(20)
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "F-1", "stage": "", "listed_on": "2026-04-01", "ask": "300"})
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "F-1", "outcome": "sold", "ended_on": "2026-04-10", "sale_price": "280"})
	f.Select(t, "update askwright.listing set stage = 'bought', let_go = 'given_away', let_go_on = '2026-04-12' where ref = 'F-2' returning 1")
	e, err := f.Track.Experience(t.Context(), f.Actor(t, "Wilda"))
	if err != nil || e.Prices != 3 || e.Finished != 2 || math.Abs(e.Stated-stated) > 1e-6 || e.Realized != 280 {
		t.Errorf("seen %+v, %v; want 3 prices, 2 finished, %.2f stated and 280 realized", e, err, stated)
	}
}

// However many finds are asked about, the newest are remembered.
func TestPricesAskedAreBounded(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	a := f.Actor(t, "Wilda")
	for i := range track.AskedAtMost + 30 {
		f.Shown.AddAsked(a.Group.ID, track.Asked{
			MemberID: a.MemberID, Find: "F-" + string(rune('A'+i%26)) + string(rune('a'+i/26)), On: a.Today,
			At: a.Now.Add(1e9 * 1), Price: 100, Net: 200, SaleCash: 300, Variance: 0.02,
		})
	}
	if err := f.Shown.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	f.Shown.AddAsked(a.Group.ID, track.Asked{
		MemberID: a.MemberID, Find: "newest", On: a.Today, At: a.Now.Add(1e9 * 9), Price: 100, Net: 200, SaleCash: 300, Variance: 0.02,
	})
	if err := f.Shown.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	e, err := f.Track.Experience(t.Context(), a)
	if err != nil || e.Prices != track.AskedAtMost {
		t.Errorf("%d prices, %v", e.Prices, err)
	}
	if got := f.Select(t, "select find from askwright.asked_price where find = 'newest'"); len(got) != 1 {
		t.Error("the newest is not among them")
	}
}
