package advice

import (
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promauto"

	"askwright/pricing"
)

// suggestionCounter counts subjects answered since the program began.
type suggestionCounter struct{ *prometheus.CounterVec }

// notRefused stands for the reason where there was none.
const notRefused = "none"

func newSuggestionCounter(registry prometheus.Registerer) suggestionCounter {
	c := promauto.With(registry).NewCounterVec(prometheus.CounterOpts{
		Name: "askwright_suggestions_total", Help: "Subjects answered with a suggestion, by the reason why something was refused; none: nothing was.",
	}, []string{"refusal"})
	// From the start, so that the first one is seen as a rise from zero.
	for _, reason := range []string{notRefused, pricing.TooFewSales, pricing.IntervalTooWide} {
		c.WithLabelValues(reason)
	}
	return suggestionCounter{c}
}

func (c suggestionCounter) count(answers []Suggestion) {
	for _, a := range answers {
		reason := notRefused
		if a.Refusal != nil {
			reason = a.Refusal.Reason
		}
		c.WithLabelValues(reason).Inc()
	}
}
