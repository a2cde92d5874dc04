package webhook

import (
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promauto"
)

// deliveryMetrics count messages to webhooks since the program began.
type deliveryMetrics struct {
	attempts    *prometheus.CounterVec
	deadLetters prometheus.Gauge
}

func newDeliveryMetrics(registry prometheus.Registerer) deliveryMetrics {
	with := promauto.With(registry)
	m := deliveryMetrics{
		attempts: with.NewCounterVec(prometheus.CounterOpts{
			Name: "askwright_webhook_attempts_total", Help: "Messages sent to webhooks, by what came of it: delivered, retried, failed.",
		}, []string{"result"}),
		deadLetters: with.NewGauge(prometheus.GaugeOpts{
			Name: "askwright_webhook_dead_letters", Help: "Messages to webhooks that were given up and are still on file.",
		}),
	}
	// From the start, so that the first one is seen as a rise from zero.
	for _, result := range []string{DeliveryDelivered, "retried", DeliveryFailed} {
		m.attempts.WithLabelValues(result)
	}
	return m
}
