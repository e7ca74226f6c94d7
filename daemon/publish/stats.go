package publish

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"ohmdrift/daemon/forward"
	"ohmdrift/daemon/history"
	"ohmdrift/daemon/notify"
	"ohmdrift/daemon/records"
)

// metric is one number of a Stats value.
type metric[S any] struct {
	desc  *prometheus.Desc
	kind  prometheus.ValueType
	value func(*S) float64
}

func counter[S any](name, help string, value func(*S) float64, labels ...string) metric[S] {
	return metric[S]{prometheus.NewDesc("ohmdrift_"+name, help, labels, nil), prometheus.CounterValue, value}
}

func gauge[S any](name, help string, value func(*S) float64, labels ...string) metric[S] {
	return metric[S]{prometheus.NewDesc("ohmdrift_"+name, help, labels, nil), prometheus.GaugeValue, value}
}

// stats collects metrics from one or more Stats values, each with its labels.
type stats[S any] struct {
	metrics []metric[S]
	read    func(yield func(s *S, labels ...string))
}

// Describe is prometheus.Collector.
func (c stats[S]) Describe(to chan<- *prometheus.Desc) {
	for _, m := range c.metrics {
		to <- m.desc
	}
}

// Collect is prometheus.Collector.
func (c stats[S]) Collect(to chan<- prometheus.Metric) {
	c.read(func(s *S, labels ...string) {
		for _, m := range c.metrics {
			to <- prometheus.MustNewConstMetric(m.desc, m.kind, m.value(s), labels...)
		}
	})
}

func one[S any](read func() S) func(func(*S, ...string)) {
	return func(yield func(*S, ...string)) {
		s := read()
		yield(&s)
	}
}

func yes(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func age(t time.Time) float64 {
	if t.IsZero() {
		return 0
	}
	return time.Since(t).Seconds()
}

// History collects the counters of the raw samples' store.
func History(read func() history.Stats) prometheus.Collector {
	type s = history.Stats
	return stats[s]{[]metric[s]{
		counter("history_samples_total", "Samples stored.", func(x *s) float64 { return float64(x.Samples) }),
		counter("history_values_total", "Numbers stored, quality and recorded past included.", func(x *s) float64 { return float64(x.Values) }),
		counter("history_imported_values_total", "Numbers of a recorded past.", func(x *s) float64 { return float64(x.Imported) }),
		counter("history_off_grid_total", "Numbers kept raw because the profile's resolution did not give them back.", func(x *s) float64 { return float64(x.OffGrid) }),
		counter("history_refused_total", "Numbers too old, or a second one for the same time.", func(x *s) float64 { return float64(x.Refused) }),
		counter("history_dropped_samples_total", "Samples that a full queue dropped, oldest first.", func(x *s) float64 { return float64(x.Dropped) }),
		counter("history_flushes_total", "Flushes to the disk.", func(x *s) float64 { return float64(x.Flushes) }),
		counter("history_flush_failures_total", "Flushes that failed; their samples wait.", func(x *s) float64 { return float64(x.Failures) }),
		gauge("history_waiting_samples", "Samples in the queue.", func(x *s) float64 { return float64(x.Waiting) }),
		gauge("history_flush_seconds", "Duration of the last flush, sync included.", func(x *s) float64 { return x.Last.Seconds() }),
		gauge("history_failing", "1 while the store cannot write.", func(x *s) float64 { return yes(x.Problem != "") }),
	}, one(read)}
}

// Records collects the counters of findings on record.
func Records(read func() records.Stats) prometheus.Collector {
	type s = records.Stats
	return stats[s]{[]metric[s]{
		counter("records_events_total", "Transitions of findings recorded.", func(x *s) float64 { return float64(x.Recorded) }),
		counter("records_repeated_total", "Transitions that were on record already.", func(x *s) float64 { return float64(x.Repeated) }),
		counter("records_unmatched_total", "Clears of a finding that is not open.", func(x *s) float64 { return float64(x.Unmatched) }),
		counter("records_notices_total", "Notices put into the outbox.", func(x *s) float64 { return float64(x.Notices) }),
	}, one(read)}
}

// Forward collects the counters of the way to the time-series server.
func Forward(read func() forward.Stats) prometheus.Collector {
	type s = forward.Stats
	return stats[s]{[]metric[s]{
		counter("forward_points_total", "Points made.", func(x *s) float64 { return float64(x.Added) }),
		counter("forward_sent_points_total", "Points that the server took.", func(x *s) float64 { return float64(x.Sent) }),
		counter("forward_quarantined_points_total", "Points that the server refuses for what they say.", func(x *s) float64 { return float64(x.Quarantined) }),
		counter("forward_dropped_buffer_points_total", "Points dropped from memory while the disk refused them, oldest first.", func(x *s) float64 { return float64(x.DroppedBuffer) }),
		counter("forward_dropped_queue_points_total", "Points dropped from the queue at its bound, oldest first.", func(x *s) float64 { return float64(x.DroppedQueue) }),
		counter("forward_calls_total", "Calls of the write API.", func(x *s) float64 { return float64(x.Calls) }),
		counter("forward_failed_calls_total", "Calls that were not taken.", func(x *s) float64 { return float64(x.FailedCalls) }),
		counter("forward_partial_writes_total", "Calls refused for some of their lines.", func(x *s) float64 { return float64(x.PartialWrites) }),
		counter("forward_spool_failures_total", "Times the disk refused the queue.", func(x *s) float64 { return float64(x.SpoolFailures) }),
		gauge("forward_queued_points", "Points in the queue on disk.", func(x *s) float64 { return float64(x.QueuedPoints) }),
		gauge("forward_queued_bytes", "Size of the queue on disk, compressed.", func(x *s) float64 { return float64(x.QueuedBytes) }),
		gauge("forward_queue_age_seconds", "Age of the oldest batch in the queue.", func(x *s) float64 { return age(x.Oldest) }),
		gauge("forward_memory_points", "Points not in the queue yet.", func(x *s) float64 { return float64(x.InMemory) }),
		gauge("forward_call_seconds", "Duration of the last call.", func(x *s) float64 { return x.LastCall.Seconds() }),
		gauge("forward_failing", "1 while results do not reach the server.", func(x *s) float64 { return yes(x.Problem != "") }),
	}, one(read)}
}

// Notify collects the counters of each sink of notices.
func Notify(read func() map[string]notify.Stats) prometheus.Collector {
	type s = notify.Stats
	return stats[s]{[]metric[s]{
		counter("notify_delivered_total", "Notices delivered.", func(x *s) float64 { return float64(x.Delivered) }, "sink"),
		counter("notify_refused_total", "Notices that the receiver refused for good.", func(x *s) float64 { return float64(x.Refused) }, "sink"),
		counter("notify_retries_total", "Attempts that failed and are made again.", func(x *s) float64 { return float64(x.Retries) }, "sink"),
		gauge("notify_waiting", "Notices in the outbox.", func(x *s) float64 { return float64(x.Waiting) }, "sink"),
		gauge("notify_failing", "1 while notices are not delivered.", func(x *s) float64 { return yes(x.Problem != "") }, "sink"),
		gauge("notify_failing_seconds", "Age of that trouble.", func(x *s) float64 { return age(x.Since) }, "sink"),
	}, func(yield func(*s, ...string)) {
		for sink, x := range read() {
			yield(&x, sink)
		}
	}}
}
