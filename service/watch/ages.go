package watch

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"

	"askwright/pricing"
	"askwright/pricing/stats"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/model"
)

// AgeStore tells how old the listings of a group are.
type AgeStore interface {
	// Changes lists all groups with their change numbers.
	Changes(ctx context.Context) (map[uuid.UUID]int64, error)
	// Lifetimes counts the group's own listings that were listed since a day, by
	// their active days until they ended, or until today.
	Lifetimes(ctx context.Context, t service.Tenant, since, today pricing.Date) ([]Lifetime, error)
}

// Lifetime is how many listings were on offer for so many active days.
type Lifetime struct {
	ActiveDays int
	Sold       bool // else they are open, or were pulled
	Listings   int
}

const (
	reviewEvery  = time.Minute     // how often changed groups are looked for
	reviewAtMost = 5 * time.Minute // how often one group is reviewed beside the requests
	reviewTime   = time.Minute     // for all groups
	lifetimeDays = 365             // of the listings whose days to sell are told
)

// groupAges is how old a group's listings were when it was last reviewed.
type groupAges struct {
	changeNo  int64
	day       pricing.Date   // the group's local one
	zone      *time.Location // nil: never reviewed
	madeAt    time.Time
	asOf      time.Time // until when it is known to be so
	fittedOn  time.Time // of the model
	open      []openAge
	lifetimes []stats.Lifetime
}

// openAge is one open listing.
type openAge struct {
	state, category string
	days            int
	overdue         bool // its next step was due before today
}

// ages are the metrics of open listings. They are made beside the
// requests and only read on a scrape: a state takes the model, and no scrape
// should wait for a fit.
type ages struct {
	byGroup bool // label them with the group's id

	mu      sync.Mutex
	groups  map[uuid.UUID]*groupAges
	metrics []prometheus.Metric
}

var (
	dayInSeconds = (24 * time.Hour).Seconds()
	// ageBuckets are in active days: weeks at first, then months.
	ageBuckets = []int{7, 14, 21, 28, 42, 60, 90, 120, 180, 365}
	// sellQuantiles are the shares sold whose days are told.
	sellQuantiles = []float64{0.25, 0.5, 0.8}
)

// otherCategory stands for every category that is not one of the usual words,
// so that no word that somebody types makes a series.
const otherCategory = "other"

func newAges(registry prometheus.Registerer, byGroup bool) *ages {
	l := &ages{byGroup: byGroup, groups: make(map[uuid.UUID]*groupAges)}
	if registry != nil {
		registry.MustRegister(l)
	}
	return l
}

// Describe implements prometheus.Collector: the metrics differ from time to
// time, so that none is promised.
func (l *ages) Describe(chan<- *prometheus.Desc) {}

// Collect implements prometheus.Collector.
func (l *ages) Collect(out chan<- prometheus.Metric) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, m := range l.metrics {
		out <- m
	}
}

// RunOnce reviews the groups that are due, one after another. It goes on after a
// failure. One pass runs at a time.
func (s *Reviewer) RunOnce(ctx context.Context) error {
	s.turn.Lock()
	defer s.turn.Unlock()
	changes, err := s.store.Changes(ctx)
	if err != nil {
		return fmt.Errorf("look for changed groups: %w", err)
	}
	s.ages.keepOnly(changes)
	var failed error
	for _, id := range slices.SortedFunc(maps.Keys(changes), model.CompareIDs) {
		before, now := s.ages.of(id), s.now()
		switch {
		case before.isOf(changes[id], now):
			before.asOf = now
		case now.Sub(before.madeAt) < reviewAtMost:
			continue
		default:
			if before, err = s.reviewGroup(ctx, id); err != nil {
				failed = errors.Join(failed, fmt.Errorf("review group %s: %w", id, err))
				continue
			}
		}
		s.ages.set(id, before)
	}
	s.ages.publish(len(changes))
	return failed
}

// isOf reports whether nothing has changed since.
func (g *groupAges) isOf(changeNo int64, now time.Time) bool {
	return g.zone != nil && g.changeNo == changeNo && g.day == pricing.DateOf(now.In(g.zone))
}

func (s *Reviewer) reviewGroup(ctx context.Context, id uuid.UUID) (groupAges, error) {
	a, err := s.actor(ctx, id)
	if err != nil {
		return groupAges{}, err
	}
	reviews, err := s.advice.Reviews(ctx, a, advice.ReviewQuery{})
	if err != nil {
		return groupAges{}, err
	}
	if err := s.note(ctx, a, reviews); err != nil {
		return groupAges{}, err
	}
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return groupAges{}, err
	}
	g := groupAges{
		changeNo: a.Group.ChangeNo, day: a.Today, zone: a.Group.Location(), madeAt: a.Now, asOf: a.Now, fittedOn: fit.Model.FittedOn().Time(),
	}
	for _, r := range reviews {
		g.open = append(g.open, openAge{state: r.State, category: usualCategory(r.Row.Category), days: r.ActiveDays, overdue: !r.NextStepOn.IsZero() && r.NextStepOn < a.Today})
	}
	lives, err := s.store.Lifetimes(ctx, a.Tenant(), a.Today-lifetimeDays, a.Today)
	if err != nil {
		return groupAges{}, fmt.Errorf("read the days to sell: %w", err)
	}
	for _, l := range lives {
		g.lifetimes = append(g.lifetimes, slices.Repeat([]stats.Lifetime{{Days: float64(l.ActiveDays), Sold: l.Sold}}, l.Listings)...)
	}
	return g, nil
}

func usualCategory(category string) string {
	if slices.Contains(service.Categories, category) {
		return category
	}
	return otherCategory
}

func (l *ages) of(id uuid.UUID) groupAges {
	l.mu.Lock()
	defer l.mu.Unlock()
	if g := l.groups[id]; g != nil {
		return *g
	}
	return groupAges{}
}

func (l *ages) set(id uuid.UUID, g groupAges) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.groups[id] = &g
}

func (l *ages) keepOnly(there map[uuid.UUID]int64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	maps.DeleteFunc(l.groups, func(id uuid.UUID, _ *groupAges) bool { _, ok := there[id]; return !ok })
}

// publish makes the metrics of what is known now, of all groups together or of
// each.
func (l *ages) publish(groups int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	b := &ageMetrics{}
	b.gauge("askwright_groups", "Groups on file.", float64(groups), nil)
	if l.byGroup {
		for id, g := range l.groups {
			b.add(prometheus.Labels{"group": id.String()}, g)
		}
	} else if all := slices.Collect(maps.Values(l.groups)); len(all) > 0 {
		b.add(nil, joinAges(all))
	}
	l.metrics = b.metrics
}

// joinAges is what all groups have together, as old as the oldest.
func joinAges(all []*groupAges) *groupAges {
	sum := *all[0]
	sum.open, sum.lifetimes = slices.Clone(sum.open), slices.Clone(sum.lifetimes)
	for _, g := range all[1:] {
		sum.open, sum.lifetimes = append(sum.open, g.open...), append(sum.lifetimes, g.lifetimes...)
		if g.asOf.Before(sum.asOf) {
			sum.asOf = g.asOf
		}
		if g.fittedOn.Before(sum.fittedOn) {
			sum.fittedOn = g.fittedOn
		}
	}
	return &sum
}

// ageMetrics gathers constant metrics.
type ageMetrics struct{ metrics []prometheus.Metric }

func (b *ageMetrics) gauge(name, help string, value float64, labels prometheus.Labels) {
	b.metrics = append(b.metrics, prometheus.MustNewConstMetric(prometheus.NewDesc(name, help, nil, labels), prometheus.GaugeValue, value))
}

func (b *ageMetrics) add(labels prometheus.Labels, g *groupAges) {
	b.gauge("askwright_listings_reviewed_timestamp_seconds", "When the open listings were last reviewed for these metrics.", seconds(g.asOf), labels)
	b.gauge("askwright_model_fitted_timestamp_seconds", "The day that the model in use was fitted for; of several groups the oldest.", seconds(g.fittedOn), labels)
	open, oldest, overdue := map[string]int{}, map[string]int{}, 0
	for _, a := range g.open {
		if a.overdue {
			overdue++
		}
		open[a.state]++
		oldest[a.state] = max(oldest[a.state], a.days)
	}
	for _, state := range advice.ListingStates {
		of := withLabel(labels, "state", state)
		b.gauge("askwright_open_listings", "Listings on offer, by their state.", float64(open[state]), of)
		if open[state] > 0 {
			b.gauge("askwright_oldest_listing_age_seconds", "Active days of the oldest listing on offer, in seconds, by state.", float64(oldest[state])*dayInSeconds, of)
		}
	}
	b.gauge("askwright_steps_overdue", "Listings on offer whose next step was due before today.", float64(overdue), labels)
	if n := len(g.open); n > 0 {
		b.gauge("askwright_stale_listings_ratio", "Share of the listings on offer that are stale.", float64(open[pricing.StateStale])/float64(n), labels)
	}
	b.histograms(labels, g.open)
	b.daysToSell(labels, g.lifetimes)
}

// histograms tell the active days of what is on offer now. Unlike the usual
// histogram they do not only grow: read the buckets as they are.
func (b *ageMetrics) histograms(labels prometheus.Labels, ages []openAge) {
	byCategory := map[string][]int{}
	for _, a := range ages {
		byCategory[a.category] = append(byCategory[a.category], a.days)
	}
	for _, category := range slices.Sorted(maps.Keys(byCategory)) {
		buckets, sum := map[float64]uint64{}, 0
		for _, edge := range ageBuckets {
			buckets[float64(edge)*dayInSeconds] = 0
		}
		for _, days := range byCategory[category] {
			sum += days
			for _, edge := range ageBuckets {
				if days <= edge {
					buckets[float64(edge)*dayInSeconds]++
				}
			}
		}
		desc := prometheus.NewDesc("askwright_open_listing_age_seconds", "Active days of the listings on offer now, in seconds, by category.",
			nil, withLabel(labels, "category", category))
		b.metrics = append(b.metrics, prometheus.MustNewConstHistogram(desc, uint64(len(byCategory[category])), float64(sum)*dayInSeconds, buckets))
	}
}

// daysToSell tells by which active day a share of the listings has sold, the
// unsold ones counted for as long as they stood (Kaplan and Meier). Count and
// sum are of the sold ones.
func (b *ageMetrics) daysToSell(labels prometheus.Labels, lives []stats.Lifetime) {
	curve, err := stats.KaplanMeier(lives)
	if err != nil {
		return // there are none
	}
	quantiles := map[float64]float64{}
	for _, q := range sellQuantiles {
		quantiles[q] = math.NaN()
		if days, ok := curve.Quantile(q); ok {
			quantiles[q] = days * dayInSeconds
		}
	}
	sum := 0.0
	for _, l := range lives {
		if l.Sold {
			sum += l.Days * dayInSeconds
		}
	}
	desc := prometheus.NewDesc("askwright_time_to_sell_seconds",
		fmt.Sprintf("Active days until a share of the listings of the last %d days has sold, in seconds, unsold ones counted; count and sum are of the sold.", lifetimeDays), nil, labels)
	b.metrics = append(b.metrics, prometheus.MustNewConstSummary(desc, uint64(curve.Sales), sum, quantiles))
}

func withLabel(labels prometheus.Labels, name, value string) prometheus.Labels {
	out := prometheus.Labels{name: value}
	maps.Copy(out, labels)
	return out
}

func seconds(t time.Time) float64 { return float64(t.UnixMilli()) / 1000 }
