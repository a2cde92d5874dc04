package db

import "github.com/prometheus/client_golang/prometheus"

// poolCollector tells the state of the connection pool at each scrape.
type poolCollector struct {
	store *Store
	conns *prometheus.Desc
	most  *prometheus.Desc
	waits *prometheus.Desc
	spent *prometheus.Desc
}

// NewPoolCollector returns the pool's metrics.
func NewPoolCollector(s *Store) prometheus.Collector {
	return &poolCollector{
		store: s,
		conns: prometheus.NewDesc("askwright_db_connections", "Connections to the database by state.", []string{"state"}, nil),
		most:  prometheus.NewDesc("askwright_db_connections_max", "Most connections that the pool opens.", nil, nil),
		waits: prometheus.NewDesc("askwright_db_waits_total", "Acquires that had to wait for a connection.", nil, nil),
		spent: prometheus.NewDesc("askwright_db_acquire_seconds_total", "Time spent on acquiring connections.", nil, nil),
	}
}

// Describe implements prometheus.Collector.
func (c *poolCollector) Describe(out chan<- *prometheus.Desc) {
	out <- c.conns
	out <- c.most
	out <- c.waits
	out <- c.spent
}

// Collect implements prometheus.Collector.
func (c *poolCollector) Collect(out chan<- prometheus.Metric) {
	stat := c.store.pool.Stat()
	for state, n := range map[string]int32{"acquired": stat.AcquiredConns(), "idle": stat.IdleConns(), "opening": stat.ConstructingConns()} {
		out <- prometheus.MustNewConstMetric(c.conns, prometheus.GaugeValue, float64(n), state)
	}
	out <- prometheus.MustNewConstMetric(c.most, prometheus.GaugeValue, float64(stat.MaxConns()))
	out <- prometheus.MustNewConstMetric(c.waits, prometheus.CounterValue, float64(stat.EmptyAcquireCount()))
	out <- prometheus.MustNewConstMetric(c.spent, prometheus.CounterValue, stat.AcquireDuration().Seconds())
}
