package poll

import (
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/measure"
)

// Collector returns the counters of all links and units as metrics. Durations
// are in seconds.
func (p *Poller) Collector() prometheus.Collector { return collector{p} }

type collector struct{ p *Poller }

// family is one metric.
type family struct {
	desc  *prometheus.Desc
	typed prometheus.ValueType
}

func counter(name, help string, labels ...string) family {
	return family{prometheus.NewDesc("ohmdrift_poll_"+name, help, append([]string{"link"}, labels...), nil), prometheus.CounterValue}
}

func gauge(name, help string, labels ...string) family {
	f := counter(name, help, labels...)
	f.typed = prometheus.GaugeValue
	return f
}

// The metrics, in the order in which they are documented.
var (
	metricPolls      = counter("loops_total", "Loop polls that were due and delivered.", "quality")
	metricRequests   = counter("requests_total", "Requests by what became of them.", "result")
	metricMissed     = counter("missed_slots_total", "Slots that passed while the link was busy.")
	metricYielded    = counter("yielded_slots_total", "Slots given up because a shared line had slowed down.")
	metricReopens    = counter("reopens_total", "Connections opened again.", "reason")
	metricDials      = counter("dials_total", "Attempts to connect.", "result")
	metricStrays     = counter("stray_answers_total", "Answers that came late, twice or from units not asked.")
	metricSplits     = counter("splits_total", "Joint requests that a unit refused and that were split.")
	metricJumps      = counter("clock_jumps_total", "Steps of the wall clock that were seen.")
	metricBytes      = counter("bytes_total", "Bytes on the wire.", "direction")
	metricBusy       = counter("bus_seconds_total", "Bus time of requests; its rate is the bus use.")
	metricProbing    = counter("probe_seconds_total", "Bus time spent on units that do not answer and on work mode; its rate is the probe share.")
	metricUp         = gauge("link_up", "1 while the link is connected.")
	metricPath       = gauge("link_path", "0 on the first path, 1 on the second.")
	metricSlowdown   = gauge("slowdown", "Every n-th slot is polled.")
	metricUnitPolls  = counter("unit_loops_total", "Loop polls of a unit.", "unit", "result")
	metricUnitFailed = counter("unit_failed_requests_total", "Requests to a unit without a usable answer.", "unit")
	metricBreaker    = gauge("unit_breaker", "0 closed, 1 suspect, 2 open.", "unit")
	metricLateness   = counter("lateness_seconds", "Start of a request after its slot.")
	metricRoundTrip  = counter("round_trip_seconds", "Time from request to answer.")
)

// Describe sends nothing: the collector is unchecked, its families are fixed
// above.
func (c collector) Describe(chan<- *prometheus.Desc) {}

// Collect sends the present counts.
func (c collector) Collect(ch chan<- prometheus.Metric) {
	for _, s := range c.p.Stats() {
		s.collect(func(f family, v float64, labels ...string) {
			ch <- prometheus.MustNewConstMetric(f.desc, f.typed, v, append([]string{s.Name}, labels...)...)
		})
		ch <- s.Lateness.metric(metricLateness, s.Name)
		ch <- s.RoundTrip.metric(metricRoundTrip, s.Name)
	}
}

func (s *LinkStats) collect(send func(f family, v float64, labels ...string)) {
	for q, n := range s.ByQuality {
		send(metricPolls, float64(n), measure.Quality(q).String())
	}
	for f, n := range s.Requests {
		send(metricRequests, float64(n), devices.Fault(f).String())
	}
	for w, n := range s.Reopens {
		send(metricReopens, float64(n), Reason(w).String())
	}
	send(metricDials, float64(s.Dials-s.DialErrors), "good")
	send(metricDials, float64(s.DialErrors), "failed")
	send(metricMissed, float64(s.Missed))
	send(metricYielded, float64(s.Yielded))
	send(metricStrays, float64(s.Strays))
	send(metricSplits, float64(s.Splits))
	send(metricJumps, float64(s.ClockJumps))
	send(metricBytes, float64(s.BytesOut), "out")
	send(metricBytes, float64(s.BytesIn), "in")
	send(metricBusy, s.Busy.Seconds())
	send(metricProbing, s.Probing.Seconds())
	send(metricUp, map[bool]float64{true: 1}[s.Up])
	send(metricPath, float64(s.Path))
	send(metricSlowdown, float64(s.Slowdown))
	for _, u := range s.Units {
		unit := strconv.Itoa(int(u.Unit))
		send(metricUnitPolls, float64(u.Good), unit, "good")
		send(metricUnitPolls, float64(u.Polls-u.Good), unit, "not good")
		send(metricUnitFailed, float64(u.Failed), unit)
		send(metricBreaker, float64(u.Breaker), unit)
	}
}

func (h *Histogram) metric(f family, link string) prometheus.Metric {
	buckets := make(map[float64]uint64, len(bounds))
	var sum uint64
	for i, b := range bounds {
		sum += h.Counts[i]
		buckets[time.Duration(b).Seconds()] = sum
	}
	return prometheus.MustNewConstHistogram(f.desc, h.Count, h.Sum.Seconds(), buckets, link)
}
