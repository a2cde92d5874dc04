package model

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promauto"
)

// fitMetrics count the fits of all groups since the program began.
type fitMetrics struct {
	duration prometheus.Histogram
	listings prometheus.Histogram
}

func newFitMetrics(registry prometheus.Registerer) fitMetrics {
	with := promauto.With(registry)
	return fitMetrics{
		duration: with.NewHistogram(prometheus.HistogramOpts{
			Name: "askwright_model_fit_duration_seconds", Help: "Time to fit the rates of a group's model on its history.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10},
		}),
		listings: with.NewHistogram(prometheus.HistogramOpts{
			Name: "askwright_model_fit_listings", Help: "Listings that a fit rested on.",
			Buckets: []float64{10, 30, 100, 300, 1000, 3000, 10_000, 30_000, 100_000},
		}),
	}
}

// observe notes one fit of so many listings that began at a time.
func (m fitMetrics) observe(began time.Time, listings int) {
	m.duration.Observe(time.Since(began).Seconds())
	m.listings.Observe(float64(listings))
}
