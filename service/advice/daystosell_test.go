package advice_test

import (
	"testing"

	"askwright/service"
	"askwright/service/servicetest"
)

// Days to sell are kept with the model and follow each change, and each day.
func TestDaysToSellFollowsChanges(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	total := func() (listings, sold, kinds int) {
		speeds, err := f.Advice.DaysToSell(t.Context(), f.Actor(t, "Wilda"))
		if err != nil {
			t.Fatal(err)
		}
		if len(speeds) == 0 {
			return 0, 0, 0
		}
		return speeds[0].N, speeds[0].Sales, len(speeds) - 1
	}
	if n, _, _ := total(); n != 0 {
		t.Errorf("an empty group has %d listings", n)
	}
	servicetest.SellDesks(t, f, "Wilda", 7)
	before, soldBefore, kinds := total()
	if before < 7 || soldBefore < 7 || kinds != 0 {
		t.Fatalf("%d listings, %d sold, %d kinds", before, soldBefore, kinds)
	}
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-1", "category": "desk", "listed_on": "2026-03-01", "ask": "300"})
	if n, sold, _ := total(); n != before+1 || sold != soldBefore {
		t.Errorf("%d listings, %d sold after another was listed; want %d and %d", n, sold, before+1, soldBefore)
	}
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-1", "outcome": "sold", "ended_on": "2026-03-20", "sale_price": "280"})
	if _, sold, kinds := total(); sold != soldBefore+1 || kinds != 1 {
		t.Errorf("%d sold and %d kinds after it sold, want %d and 1", sold, kinds, soldBefore+1)
	}
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-2", "category": "desk", "listed_on": "2026-03-31", "ask": "300"})
	last := func() float64 {
		speeds, err := f.Advice.DaysToSell(t.Context(), f.Actor(t, "Wilda"))
		if err != nil {
			t.Fatal(err)
		}
		return speeds[0].LastDay
	}
	was := last()
	f.Clock.Advance(120)
	if now := last(); now <= was || now < 120 {
		t.Errorf("the last day is %v after 120 days, was %v", now, was)
	}
}
