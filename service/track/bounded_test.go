package track_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"askwright/service"
	"askwright/service/advice"
	"askwright/service/servicetest"
)

// Each change of any row made another model, and each refresh of a sheet one more
// suggestion of every open listing: 450 MB a year.
func TestSuggestionsKeptOfADayAreBounded(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	servicetest.SellDesks(t, f, "Wilda", 12)
	row := servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-1"))
	suggest := func(times int) (models []string) {
		for i := range times {
			servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-2", "category": "desk", "stage": "found", "seller_ask": fmt.Sprint(20 + 3*f.Clock.Now().Second() + i)})
			models = append(models, servicetest.Suggest(t, f, "Wilda", advice.Subject{"ref": "B-1"})[0].Model)
			if err := f.Shown.Flush(t.Context()); err != nil {
				t.Fatal(err)
			}
			f.Clock.AdvanceBy(time.Second)
		}
		return models
	}
	before := suggest(4)
	change := service.NewEvent{Kind: service.EventAsk, Fields: map[string]string{"ask": "290"}}
	if _, err := f.Recording.AddEvent(t.Context(), f.Actor(t, "Wilda"), row.ID, change, nil); err != nil {
		t.Fatal(err)
	}
	f.Clock.AdvanceBy(time.Second)
	after := suggest(4)
	want := []string{before[0], before[3], after[3]} // the first, the one that the ask followed, the last
	if got := kept(t, f, "model"); !slices.Equal(got, want) {
		t.Errorf("kept of a day with an ask:\n%v, want\n%v", got, want)
	}
	for range 40 {
		f.Clock.Advance(1)
		servicetest.Suggest(t, f, "Wilda", advice.Subject{"ref": "B-1"})
	}
	if n := len(kept(t, f, "model")); n != 43 {
		t.Errorf("%d kept of 41 days, want 43", n)
	}
	if err := f.Upkeep.RunOnce(t.Context()); err != nil {
		t.Fatal(err)
	}
	got := kept(t, f, "on_date::text || ' ' || model")
	// The first, the one before the ask, and the last month.
	if len(got) != 33 || got[0] != "2026-03-31 "+want[0] || got[1] != "2026-03-31 "+want[1] {
		t.Errorf("%d kept after a month, the first %v", len(got), got[:min(len(got), 3)])
	}
}
