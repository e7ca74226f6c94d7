// Package notify carries notices from the outbox to their receivers: the log and
// one webhook. It holds nothing itself; what is not delivered stays in the
// outbox, on disk.
//
//	outbox ─ Notifier (one per sink) ─ Sink.Send ─┬─ taken: closed
//	                                              ├─ permanent error: closed with the reason, counted, logged
//	                                              └─ any other: tried again later
//
// At least once, with the same idempotency key at every attempt. In order per
// loop: a loop's next notice waits until the one before is closed. A receiver
// that is away holds every loop; a receiver that fails over one notice holds
// that loop alone.
package notify
