package notify

import (
	"context"
	"sync/atomic"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"ohmdrift/config"
	"ohmdrift/daemon/records"
)

// Notifier delivers to every sink there is, each at its own pace. Run it.
type Notifier struct {
	log     *courier
	webhook *courier
	hook    *hook
}

// New makes a notifier to the log and, where the alerts have one, the webhook.
func New(b Outbox, a config.Alerts, log zerolog.Logger) *Notifier {
	return newNotifier(b, a, log, pace{poll: time.Second, retryMin: time.Second, retryMax: 5 * time.Minute})
}

func newNotifier(b Outbox, a config.Alerts, log zerolog.Logger, p pace) *Notifier {
	h := &hook{}
	n := &Notifier{hook: h, log: newCourier(NewLog(log), b, p, log), webhook: newCourier(h, b, p, log)}
	n.Configure(a)
	return n
}

// Configure takes over other alerts while running: a webhook with another
// address is sent what waits too.
func (n *Notifier) Configure(a config.Alerts) {
	n.hook.set(a.Webhook)
	n.webhook.nudge()
}

// Sinks names the sinks that notices are for, as the outbox is to know them.
func (n *Notifier) Sinks() []string {
	if n.hook.now.Load() == nil {
		return []string{LogSink}
	}
	return []string{LogSink, WebhookSink}
}

// Wake says that there is something new in the outbox. It never blocks.
func (n *Notifier) Wake() {
	n.log.nudge()
	n.webhook.nudge()
}

// Run delivers until ctx ends. A notice under way then is delivered again by
// the next start, with the same key.
func (n *Notifier) Run(ctx context.Context) error {
	defer n.hook.set(nil)
	var g errgroup.Group
	g.Go(func() error { return n.log.run(ctx) })
	g.Go(func() error { return n.webhook.run(ctx) })
	return g.Wait()
}

// Stats returns the counters of each sink.
func (n *Notifier) Stats() map[string]Stats {
	return map[string]Stats{LogSink: n.log.counted(), WebhookSink: n.webhook.counted()}
}

// hook is the webhook as it is configured now.
type hook struct{ now atomic.Pointer[hookNow] }

type hookNow struct {
	to  *Webhook
	bad error // of its address
}

func (h *hook) set(w *config.Webhook) {
	var next *hookNow
	if w != nil {
		next = &hookNow{}
		next.to, next.bad = NewWebhook(w.URL, w.Token, w.Timeout)
	}
	if was := h.now.Swap(next); was != nil && was.to != nil {
		was.to.Close()
	}
}

// Name is WebhookSink.
func (*hook) Name() string { return WebhookSink }

// Send posts to the webhook of now. Notices for one that is not configured any
// more wait: the next configuration may have it again.
func (h *hook) Send(ctx context.Context, m *records.Message) error {
	now := h.now.Load()
	switch {
	case now == nil:
		return &Failure{Away: true, Cause: errNoWebhook}
	case now.bad != nil:
		return &Failure{Away: true, Cause: now.bad}
	}
	return now.to.Send(ctx, m)
}
