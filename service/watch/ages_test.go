package watch_test

import (
	"log/slog"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"askwright/db"
	"askwright/pricing"
	"askwright/pricing/stats"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/app"
	"askwright/service/recording"
	"askwright/service/servicetest"
)

const day = 86400.0

// scrape reads all metrics, by name and labels as in "name{label=value}"; of
// histograms and summaries their counts, and each bucket and quantile.
func scrape(t *testing.T, registry *prometheus.Registry) map[string]float64 {
	t.Helper()
	families, err := registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]float64{}
	for _, f := range families {
		for _, m := range f.GetMetric() {
			var labels []string
			for _, l := range m.GetLabel() {
				labels = append(labels, l.GetName()+"="+l.GetValue())
			}
			key := func(more ...string) string {
				all := slices.Concat(labels, more)
				if len(all) == 0 {
					return f.GetName()
				}
				return f.GetName() + "{" + strings.Join(all, ",") + "}"
			}
			switch {
			case m.GetHistogram() != nil:
				out[key()] = float64(m.GetHistogram().GetSampleCount())
				for _, b := range m.GetHistogram().GetBucket() {
					out[key("days="+pricing.Date(b.GetUpperBound()/day).String())] = float64(b.GetCumulativeCount())
				}
			case m.GetSummary() != nil:
				out[key()] = float64(m.GetSummary().GetSampleCount())
				out[key("sum")] = m.GetSummary().GetSampleSum()
				for _, q := range m.GetSummary().GetQuantile() {
					out[key("half="+map[bool]string{true: "yes", false: "no"}[q.GetQuantile() == 0.5])] = q.GetValue()
				}
			default:
				out[key()] = m.GetGauge().GetValue() + m.GetCounter().GetValue()
			}
		}
	}
	return out
}

func review(t *testing.T, f *servicetest.Fixture) map[string]float64 {
	t.Helper()
	if err := f.Reviewer.RunOnce(t.Context()); err != nil {
		t.Fatal(err)
	}
	return scrape(t, f.Registry)
}

// The metrics tell the same as the reviews and the rows.
func TestListingAgesAreThoseOfTheReviews(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	got := review(t, f)
	a := f.Actor(t, servicetest.FirstMember(f))
	reviews, err := f.Advice.Reviews(t.Context(), a, advice.ReviewQuery{})
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{"askwright_groups": 1, "askwright_stale_listings_ratio": 0}
	month := pricing.Date(28).String()
	for _, r := range reviews {
		want["askwright_open_listings{state="+r.State+"}"]++
		oldest := "askwright_oldest_listing_age_seconds{state=" + r.State + "}"
		want[oldest] = max(want[oldest], float64(r.ActiveDays)*day)
		want["askwright_open_listing_age_seconds{category="+r.Row.Category+"}"]++
		if r.ActiveDays <= 28 {
			want["askwright_open_listing_age_seconds{category="+r.Row.Category+",days="+month+"}"]++
		}
	}
	want["askwright_stale_listings_ratio"] = want["askwright_open_listings{state=stale}"] / float64(len(reviews))
	for key, wanted := range want {
		if got[key] != wanted {
			t.Errorf("%s: %v, want %v", key, got[key], wanted)
		}
	}
	if len(reviews) < 20 || want["askwright_stale_listings_ratio"] == 0 {
		t.Errorf("%d open listings, %v of them stale: too little was compared", len(reviews), want["askwright_stale_listings_ratio"])
	}

	rows, _, err := f.Recording.Listings(t.Context(), a, service.Query{Limit: 10_000})
	if err != nil {
		t.Fatal(err)
	}
	var lives []stats.Lifetime
	sold, sum := 0.0, 0.0
	for _, l := range rows {
		if !l.IsOffered() || l.IsObserved() || l.ListedOn < a.Today-365 {
			continue
		}
		life := stats.Lifetime{Days: float64(l.Facts(a.Group.Currency, nil, nil).ActiveDays(a.Today)), Sold: l.Outcome == service.OutcomeSold}
		if !l.EndedOn.IsZero() {
			life.Days = float64(l.Facts(a.Group.Currency, nil, nil).ActiveDays(l.EndedOn))
		}
		lives = append(lives, life)
		if life.Sold {
			sold, sum = sold+1, sum+life.Days*day
		}
	}
	curve, err := stats.KaplanMeier(lives)
	if err != nil {
		t.Fatal(err)
	}
	median, _ := curve.Median()
	for key, wanted := range map[string]float64{"": sold, "{sum}": sum, "{half=yes}": median * day} {
		if got["askwright_time_to_sell_seconds"+key] != wanted {
			t.Errorf("askwright_time_to_sell_seconds%s: %v, want %v of %d listings", key, got["askwright_time_to_sell_seconds"+key], wanted, len(lives))
		}
	}
	if sold < 100 || median == 0 {
		t.Errorf("%v sales with a median of %v days: too little was compared", sold, median)
	}
	if at := got["askwright_model_fitted_timestamp_seconds"]; at != float64(servicetest.Today.Time().Unix()) {
		t.Errorf("the model was fitted at %v, want today", at)
	}
}

func TestListingAgesFollowTheRecordAndTheDay(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "A-1", "category": "desk", "listed_on": "2026-03-21", "ask": "300"})
	const fresh, oldest = "askwright_open_listings{state=fresh}", "askwright_oldest_listing_age_seconds{state=fresh}"
	const asOf = "askwright_listings_reviewed_timestamp_seconds"
	if got := review(t, f); got[fresh] != 1 || got[oldest] != 10*day {
		t.Errorf("%v fresh, the oldest of %v days; want 1 of 10", got[fresh], got[oldest]/day)
	}
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "A-2", "category": "Grandmother's thing", "listed_on": "2026-03-25", "ask": "300"})
	f.Clock.AdvanceBy(time.Minute)
	was := f.Clock.Now()
	if got := review(t, f); got[fresh] != 1 || got[asOf] != float64(was.Unix()-60) {
		t.Errorf("a minute later %v fresh as of %v; want 1 still, as of before: a group is reviewed every five minutes at most", got[fresh], got[asOf])
	}
	f.Clock.AdvanceBy(5 * time.Minute)
	got := review(t, f)
	if got[fresh] != 2 || got[asOf] != float64(was.Unix()+300) {
		t.Errorf("six minutes later %v fresh as of %v, want 2 as of now", got[fresh], got[asOf])
	}
	if got["askwright_open_listing_age_seconds{category=other}"] != 1 {
		t.Error("a word that somebody typed is not counted as other")
	}
	for key := range got {
		if strings.Contains(key, "thing") {
			t.Errorf("the series %s is named by what somebody typed", key)
		}
	}
	f.Clock.Advance(1)
	if got := review(t, f); got[oldest] != 11*day {
		t.Errorf("the next day the oldest is of %v days, want 11", got[oldest]/day)
	}
	f.Clock.AdvanceBy(time.Hour)
	if got := review(t, f); got[asOf] != float64(f.Clock.Now().Unix()) {
		t.Errorf("with nothing changed the metrics are as of %v, want now", got[asOf])
	}
}

// Groups are summed up, unless it was asked for each.
func TestListingAgesOfGroups(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	cells := service.Cells{"ref": "A-1", "category": "desk", "listed_on": "2026-03-21", "ask": "300"}
	servicetest.Record(t, f, "Wilda", cells)
	first := f.Actor(t, "Wilda").Group.ID.String()
	f.AddGroup(t, "Tamsin")
	servicetest.Record(t, f, "Tamsin", cells)
	servicetest.Record(t, f, "Tamsin", service.Cells{"ref": "A-2", "category": "desk", "listed_on": "2026-01-21", "ask": "300"})
	got := review(t, f)
	if got["askwright_groups"] != 2 || got["askwright_open_listing_age_seconds{category=desk}"] != 3 {
		t.Errorf("%v groups with %v desks, want 2 with 3", got["askwright_groups"], got["askwright_open_listing_age_seconds{category=desk}"])
	}
	for key := range got {
		if strings.Contains(key, first) {
			t.Errorf("%s names a group", key)
		}
	}
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	registry := prometheus.NewRegistry()
	each := app.New(app.Options{Store: store, Now: f.Clock.Now, Logger: slog.New(slog.DiscardHandler), Registry: registry, MetricsGroups: true})
	if err := each.Reviewer.RunOnce(t.Context()); err != nil {
		t.Fatal(err)
	}
	got = scrape(t, registry)
	if n := got["askwright_open_listing_age_seconds{category=desk,group="+first+"}"]; n != 1 {
		t.Errorf("%v desks in the first group, want 1", n)
	}
	if half := got["askwright_time_to_sell_seconds{group="+first+",half=yes}"]; !math.IsNaN(half) {
		t.Errorf("half have sold after %v although nothing has", half)
	}
}

func TestSuggestionsAndRowsAreCounted(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	before := scrape(t, f.Registry)
	servicetest.Suggest(t, f, "Wilda", advice.Subject{"category": "desk"}, advice.Subject{"category": "stool"})
	servicetest.SellDesks(t, f, "Wilda", 12)
	servicetest.Suggest(t, f, "Wilda", advice.Subject{"category": "desk", "width": "48", "depth": "24", "height": "30"})
	rows := servicetest.Rows(t, "ref,category,stage\nS-1,desk,found\nS-2,desk,lost\n")
	for range 2 {
		if _, err := f.Recording.Import(t.Context(), f.Actor(t, "Wilda"), rows, recording.ImportOptions{}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := f.Recording.Import(t.Context(), f.Actor(t, "Wilda"), rows, recording.ImportOptions{DryRun: true}); err != nil {
		t.Fatal(err)
	}
	after := scrape(t, f.Registry)
	for key, wanted := range map[string]float64{
		"askwright_suggestions_total{refusal=too_few_sales}": 2, "askwright_suggestions_total{refusal=none}": 1,
		"askwright_import_rows_total{result=created}": 13, "askwright_import_rows_total{result=updated}": 0,
		"askwright_import_rows_total{result=unchanged}": 1, "askwright_import_rows_total{result=rejected}": 2,
	} {
		first, there := before[key]
		if got := after[key] - first; !there || got != wanted {
			t.Errorf("%s rose by %v (%v at first), want %v", key, got, there, wanted)
		}
	}
}
