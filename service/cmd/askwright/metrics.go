package main

import (
	"os"
	"runtime"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"askwright/db"
)

// newRegistry holds the metrics of the process and the pool; the API and the
// service add theirs.
func newRegistry(c *config, store *db.Store) *prometheus.Registry {
	r := prometheus.NewRegistry()
	r.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), db.NewPoolCollector(store))
	build := prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "askwright_build_info", Help: "Always 1; the labels say what runs.",
		ConstLabels: prometheus.Labels{"version": version(), "go_version": runtime.Version()},
	})
	build.Set(1)
	r.MustRegister(build)
	if c.BackupStamp != "" {
		r.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{
			Name: "askwright_backup_last_success_timestamp_seconds", Help: "When the last backup succeeded; 0: there is none.",
		}, func() float64 { return stampedAt(c.BackupStamp) }))
	}
	return r
}

// stampedAt is when a file was last written, 0 where there is none.
func stampedAt(file string) float64 {
	info, err := os.Stat(file)
	if err != nil {
		return 0
	}
	return float64(info.ModTime().Unix())
}
