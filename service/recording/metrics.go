package recording

import (
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promauto"
)

// rowCounter counts rows of files since the program began.
type rowCounter struct{ *prometheus.CounterVec }

func newRowCounter(registry prometheus.Registerer) rowCounter {
	c := rowCounter{promauto.With(registry).NewCounterVec(prometheus.CounterOpts{
		Name: "askwright_import_rows_total", Help: "Rows of files taken in, by what became of them.",
	}, []string{"result"})}
	c.count(&ImportResult{}) // from the start, so that the first one is seen as a rise from zero
	return c
}

func (c rowCounter) count(r *ImportResult) {
	for result, n := range map[string]int{"created": r.Created, "updated": r.Updated, "unchanged": r.Unchanged, "rejected": r.Rejected} {
		c.WithLabelValues(result).Add(float64(n))
	}
}
