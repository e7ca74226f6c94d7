package publish

import (
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Registry holds what a scrape returns.
type Registry struct{ r *prometheus.Registry }

// New makes a registry with the figures of the process itself: memory, CPU,
// open files, goroutines, and the version.
func New(version string) *Registry {
	r := &Registry{prometheus.NewRegistry()}
	build := prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "ohmdrift_build_info", Help: "1; the label is the program's version.",
		ConstLabels: prometheus.Labels{"version": version},
	})
	build.Set(1)
	r.r.MustRegister(build, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return r
}

// Register adds collectors; two with the same metric are an error.
func (r *Registry) Register(cs ...prometheus.Collector) error {
	for _, c := range cs {
		if err := r.r.Register(c); err != nil {
			return err
		}
	}
	return nil
}

// Handler answers a scrape. A collector that fails costs its own metrics only.
func (r *Registry) Handler() http.Handler {
	return promhttp.HandlerFor(r.r, promhttp.HandlerOpts{ErrorHandling: promhttp.ContinueOnError, Registry: r.r})
}
