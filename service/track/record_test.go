package track_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/servicetest"
)

// Twelve desks are suggested, listed at asks of their own, and sold or not; the
// scores are those of the answers that were given then.
func TestKeptSuggestionsAreScored(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	servicetest.SellDesks(t, f, "Wilda", 20)
	var subjects []advice.Subject
	for i := range 12 {
		subjects = append(subjects, advice.Subject{"ref": fmt.Sprintf("T-%d", i), "category": "desk", "width": "48", "depth": "24", "height": "30"})
	}
	answers := servicetest.Suggest(t, f, "Wilda", subjects...)
	f.Clock.Advance(1)
	listed := servicetest.Today + 1
	for i, cells := range subjects {
		ask := answers[i].Ask
		if i >= 6 {
			ask *= 1.3
		}
		cells["listed_on"], cells["ask"] = listed.String(), fmt.Sprintf("%.0f", ask)
		servicetest.Record(t, f, "Wilda", cells)
	}
	servicetest.Suggest(t, f, "Wilda", advice.Subject{"ref": "T-0"}) // too late to be what T-0 was priced by
	f.Clock.Advance(70)
	var errors []float64
	inside := 0
	for i, cells := range subjects {
		price := answers[i].SalePrice.Likely * (0.7 + 0.05*float64(i))
		cells["outcome"], cells["ended_on"] = "pulled", (listed + 12).String()
		if i < 9 {
			days := pricing.Date(10 + 5*i) // 10 to 50: five of them within 30
			cells["outcome"], cells["ended_on"], cells["sale_price"] = "sold", (listed + days).String(), fmt.Sprintf("%.2f", price)
			price, r := math.Round(100*price)/100, answers[i].SalePrice
			errors = append(errors, 100*math.Abs(r.Likely/price-1))
			if r.Low <= price && price <= r.High {
				inside++
			}
		}
		servicetest.Record(t, f, "Wilda", cells)
	}
	slices.Sort(errors)
	got, err := f.Track.Record(t.Context(), f.Actor(t, "Wilda"))
	if err != nil {
		t.Fatal(err)
	}
	s := got.Kept
	if s.Sold != 9 || s.Listings != 12 || s.Unjudged != 3 || s.Inside.Hits != inside || s.Inside.N != 9 || s.Level != 0.8 {
		t.Errorf("scores %+v, want 9 sold of 12, 3 unjudged, %d inside", s, inside)
	}
	if math.Abs(*s.MedianError-errors[4]) > 0.05 {
		t.Errorf("median error %v, want %v", *s.MedianError, errors[4])
	}
	hits, n := 0, 0
	for _, b := range s.Chances.Bands {
		hits, n = hits+b.Kept.Hits, n+b.Kept.N
	}
	if hits != 5 || n != 9 {
		t.Errorf("%d chances of %d kept, want 5 of 9: %+v", hits, n, s.Chances.Bands)
	}
	if len(s.Chances.Bands) < 2 {
		t.Errorf("one band for asks 30 %% apart: the chance is not that at the ask used: %+v", s.Chances.Bands)
	}
	if len(s.Followed) != 2 {
		t.Fatalf("followed %+v, want those who asked near and above; nobody asked below", s.Followed)
	}
	near, above := s.Followed[0], s.Followed[1]
	if near.Listings != 6 || near.Sold.Hits != 6 || near.MedianDays != 22.5 || above.Listings != 6 || above.Sold.Hits != 3 {
		t.Errorf("followed %+v", s.Followed)
	}
	// What is left: the price less 0.2 % of the typical ask a day (itself within
	// 15 % of the likely price here); no fee.
	if low, high := 82.5-1.15*0.2*22.5, 82.5-0.85*0.2*22.5; near.NetPercent < low || near.NetPercent > high {
		t.Errorf("those who asked near left %v, want %v to %v", near.NetPercent, low, high)
	}
	h := s.Hindsight
	if h == nil || h.Listings != 12 || math.Abs(h.LeftPercent-(near.NetPercent+above.NetPercent)/2) > 1e-9 {
		t.Fatalf("hindsight %+v of %+v", h, s.Followed)
	}
	if text := pricing.Joined(s.Sentences); len(s.Sentences) != 3 || !strings.Contains(text, fmt.Sprintf("would have left about %.0f %%", h.FollowedPercent)) {
		t.Errorf("the answer is %q", text)
	}
}

// The replay of a month knows nothing of what came after it.
func TestReplayKnowsOnlyThePast(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	ctx, member := t.Context(), servicetest.FirstMember(f)
	start := time.Now()
	before, err := f.Track.Record(ctx, f.Actor(t, member))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%v for %d months: %+v", time.Since(start), len(before.Replay.Months), before.Replay.Sentences)
	r := before.Replay
	if len(r.Months) < 6 || len(r.Months) > 24 || r.MedianError == nil || r.Chances == nil || r.Ratio == nil {
		t.Fatalf("replay %+v, want several months with scores", r)
	}
	// The demo's market is noisy by about 17 % (standard deviation of the log
	// price); far beyond twice that something would be wrong with the replay.
	if *r.MedianError > 35 || r.Inside.High < 0.7 {
		t.Errorf("median error %v, inside %+v", *r.MedianError, r.Inside)
	}
	total := 0
	for _, m := range r.Months {
		total += m.Sold
		if m.FittedOn.String()[:7] >= m.Month {
			t.Errorf("month %s was predicted by a fit of %s", m.Month, m.FittedOn)
		}
	}
	if total != r.Sold {
		t.Errorf("%d sales by month, %d in all", total, r.Sold)
	}
	again, err := f.Track.Record(ctx, f.Actor(t, member))
	if err != nil || again.Replay.Sold != r.Sold {
		t.Errorf("asked again: %+v, %v", again, err)
	}
	// A later sale at ten times its price changes its own month alone.
	rows, _, err := f.Recording.Listings(ctx, f.Actor(t, member), service.Query{Words: map[string][]string{"outcome": {"sold"}}, Member: f.Actor(t, member).MemberID, Sort: []service.SortKey{{Column: "ended_on", Descending: true}}, Limit: 1})
	if err != nil || len(rows) == 0 {
		t.Fatalf("no sale: %v", err)
	}
	if _, err := f.Recording.Patch(ctx, f.Actor(t, member), rows[0].ID, service.Cells{"sale_price": (10 * rows[0].SalePrice).Format(f.Actor(t, member).Group.Currency)}, nil); err != nil {
		t.Fatal(err)
	}
	after, err := f.Track.Record(ctx, f.Actor(t, member))
	if err != nil {
		t.Fatal(err)
	}
	if after.Model == before.Model {
		t.Errorf("the model is still %s after a change", after.Model)
	}
	month := rows[0].EndedOn.String()[:7]
	for i, m := range r.Months {
		same := *after.Replay.Months[i].MedianError == *m.MedianError && after.Replay.Months[i].Inside == m.Inside
		if m.Month < month && !same {
			t.Errorf("%s changed from %+v to %+v by a sale of %s", m.Month, m, after.Replay.Months[i], month)
		}
	}
}

func TestModelIsDescribed(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	servicetest.SellDesks(t, f, "Wilda", 20)
	servicetest.Record(t, f, "Orrin", service.Cells{"ref": "ODD", "category": "desk", "listed_on": "2026-01-01", "ask": "300", "outcome": "sold", "ended_on": "2026-01-20", "sale_price": "20"})
	for member, want := range map[string]int{"Orrin": 1, "Wilda": 0} {
		d, err := f.Advice.Describe(t.Context(), f.Actor(t, member))
		if err != nil {
			t.Fatal(err)
		}
		if len(d.Suspicious) != want {
			t.Errorf("%s sees suspicious sales %+v, want %d", member, d.Suspicious, want)
		}
		if want := fmt.Sprintf("%d.%d.2026-03-31", pricing.Design, f.Actor(t, member).Group.ChangeNo); d.Version != want || d.Sold != 21 || len(d.Effects) == 0 || len(d.Sentences) == 0 {
			t.Errorf("model %s of %d sales, want %s of 21", d.Version, d.Sold, want)
		}
	}
	f.AddGroup(t, "Stranger")
	r, err := f.Track.Record(t.Context(), f.Actor(t, "Stranger"))
	if err != nil || r.Kept.Sold != 0 || len(r.Kept.Sentences) != 1 || r.Replay.MedianError != nil {
		t.Errorf("a new group's record: %+v, %v", r, err)
	}
}
