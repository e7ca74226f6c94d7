package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"ohmdrift/daemon/records"
)

// WebhookSink is the name of the webhook in the outbox.
const WebhookSink = "webhook"

// Webhook posts each notice as JSON to one address.
//
//	POST <url>
//	Content-Type: application/json
//	Idempotency-Key: <32 hexadecimal digits, the same at every attempt>
//	Authorization: Bearer <token>           when there is one
//
// Any 2xx is taken. 408, 425, 429 and 5xx are tried again, as is no answer;
// every other status is permanent, redirects too: the token goes to the address
// that was configured and nowhere else.
type Webhook struct {
	url    string
	token  string
	client *http.Client
}

// NewWebhook makes the sink; a timeout of 0 means 10 s.
func NewWebhook(address, token string, timeout time.Duration) (*Webhook, error) {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return nil, errors.New("alerts.webhook.url: want http://… or https://… with a host") // the address may hold a secret
	}
	if timeout <= 0 {
		timeout = 10 * time.Second
	}
	return &Webhook{address, token, &http.Client{
		Transport:     http.DefaultTransport.(*http.Transport).Clone(),
		Timeout:       timeout,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}, nil
}

// Name is WebhookSink.
func (*Webhook) Name() string { return WebhookSink }

// Close lets go of idle connections.
func (w *Webhook) Close() { w.client.CloseIdleConnections() }

// Send posts one notice.
func (w *Webhook) Send(ctx context.Context, m *records.Message) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, w.url, bytes.NewReader(m.Body))
	if err != nil {
		return &Failure{Permanent: true, Cause: errors.New("webhook: the address makes no request")}
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("User-Agent", "ohmdrift")
	req.Header.Set("Idempotency-Key", m.Key)
	if w.token != "" {
		req.Header.Set("Authorization", "Bearer "+w.token)
	}
	resp, err := w.client.Do(req)
	if err != nil {
		return &Failure{Away: true, Cause: fmt.Errorf("webhook %s does not answer: %w", req.URL.Host, withoutAddress(err))}
	}
	defer resp.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, 64<<10)) // so that the connection serves the next
	return verdict(resp, req.URL.Host)
}

// withoutAddress drops the address from an error: it may carry a secret in its
// path or query.
func withoutAddress(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return u.Err
	}
	return err
}

func verdict(resp *http.Response, host string) error {
	status := resp.StatusCode
	if status >= 200 && status < 300 {
		return nil
	}
	f := &Failure{Permanent: true, Cause: fmt.Errorf("webhook %s answers %d %s", host, status, http.StatusText(status))}
	switch {
	case status == http.StatusTooManyRequests, status == http.StatusServiceUnavailable:
		f.Permanent, f.Away, f.After = false, true, retryAfter(resp.Header.Get("Retry-After"), time.Now())
	case status == http.StatusRequestTimeout, status == http.StatusTooEarly, status >= 500:
		f.Permanent = false
	}
	return f
}

var errNoWebhook = errors.New("alerts.webhook is not configured; its notices wait")

// maxRetryAfter bounds what a receiver may ask for: its clock may be wrong.
const maxRetryAfter = 15 * time.Minute

// retryAfter reads seconds or an HTTP date; 0 for neither.
func retryAfter(s string, now time.Time) time.Duration {
	if n, err := strconv.Atoi(s); err == nil && n > 0 {
		return min(time.Duration(n)*time.Second, maxRetryAfter)
	}
	if t, err := http.ParseTime(s); err == nil && t.After(now) {
		return min(t.Sub(now), maxRetryAfter)
	}
	return 0
}
