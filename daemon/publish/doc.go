// Package publish offers the daemon's own counters and the newest values of its
// loops to a Prometheus scraper, from a registry of its own.
//
//	Stats of history, records, forward, notify ─┐
//	newest values of each loop ─────────────────┼─ Registry ─ GET /metrics
//	collectors of others (poller) ──────────────┘
//
// Everything is read at the scrape; nothing runs in between. The unit is the
// end of a name: error_degC, contact_ohm.
//
// A loop's quality is always there, as the number of measure.Quality; its
// values only while they are fresh and usable. A loop that was never polled is
// stale, not good.
package publish
