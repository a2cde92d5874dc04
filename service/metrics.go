package service

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"askwright/pricing"
)

// metrics count what the service did since the program began. They carry no
// group: see listingAges for what does.
type metrics struct {
	suggestions *prometheus.CounterVec
	importRows  *prometheus.CounterVec
	fits        prometheus.Histogram
	fitted      prometheus.Histogram
	deliveries  *prometheus.CounterVec
	deadLetters prometheus.Gauge
}

// notRefused stands for the reason where there was none.
const notRefused = "none"

func newMetrics(registry prometheus.Registerer) *metrics {
	m := &metrics{
		suggestions: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "askwright_suggestions_total", Help: "Subjects answered with a suggestion, by the reason why something was refused; none: nothing was.",
		}, []string{"refusal"}),
		importRows: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "askwright_import_rows_total", Help: "Rows of files taken in, by what became of them.",
		}, []string{"result"}),
		fits: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "askwright_model_fit_duration_seconds", Help: "Time to fit the rates of a group's model on its history.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10},
		}),
		fitted: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "askwright_model_fit_listings", Help: "Listings that a fit rested on.",
			Buckets: []float64{10, 30, 100, 300, 1000, 3000, 10_000, 30_000, 100_000},
		}),
		deliveries: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "askwright_webhook_attempts_total", Help: "Messages sent to webhooks, by what came of it: delivered, retried, failed.",
		}, []string{"result"}),
		deadLetters: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "askwright_webhook_dead_letters", Help: "Messages to webhooks that were given up and are still on file.",
		}),
	}
	// From the start, so that the first one is seen as a rise from zero.
	for _, reason := range []string{notRefused, pricing.TooFewSales, pricing.IntervalTooWide} {
		m.suggestions.WithLabelValues(reason)
	}
	for _, result := range []string{"created", "updated", "unchanged", "rejected"} {
		m.importRows.WithLabelValues(result)
	}
	for _, result := range []string{DeliveryDelivered, "retried", DeliveryFailed} {
		m.deliveries.WithLabelValues(result)
	}
	if registry != nil {
		registry.MustRegister(m.suggestions, m.importRows, m.fits, m.fitted, m.deliveries, m.deadLetters)
	}
	return m
}

func (m *metrics) suggested(answers []Suggestion) {
	for _, a := range answers {
		reason := notRefused
		if a.Refusal != nil {
			reason = a.Refusal.Reason
		}
		m.suggestions.WithLabelValues(reason).Inc()
	}
}

func (m *metrics) imported(r *ImportResult) {
	for result, n := range map[string]int{"created": r.Created, "updated": r.Updated, "unchanged": r.Unchanged, "rejected": r.Rejected} {
		m.importRows.WithLabelValues(result).Add(float64(n))
	}
}

// fit observes one fit of so many listings that began at a time.
func (m *metrics) fit(began time.Time, listings int) {
	m.fits.Observe(time.Since(began).Seconds())
	m.fitted.Observe(float64(listings))
}
