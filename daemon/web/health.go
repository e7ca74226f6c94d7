package web

import (
	"fmt"
	"net/http"
	"time"
)

// defaultStall is how long polling may stand still before it counts as stalled,
// where the source does not say.
const defaultStall = 30 * time.Second

// stalled says why polling counts as stalled; "" = it goes on. A poll without
// an answer is progress too: a dead device is not a dead daemon.
func stalled(p Progress, now time.Time) string {
	limit := p.StallAfter
	if limit == 0 {
		limit = defaultStall
	}
	last, what := p.LastPoll, "no poll has ended for "
	if last.IsZero() {
		last, what = p.Started, "no poll has ended since the start "
	}
	if now.Sub(last) <= limit {
		return ""
	}
	return fmt.Sprintf("%s%s; at most %s is normal", what, span(now.Sub(last)), span(limit))
}

// health is the answer of /healthz.
type health struct {
	OK             bool    `json:"ok"`
	Why            string  `json:"why,omitempty"`
	LastPoll       *string `json:"last_poll"`
	PollsPerSecond number  `json:"polls_per_second"`
}

// serveHealth answers GET /healthz: 200 while polls end, 503 when they stopped.
func (s *Server) serveHealth(w http.ResponseWriter, _ *http.Request) {
	p := s.src.Progress()
	why := stalled(p, time.Now())
	status := http.StatusOK
	if why != "" {
		status = http.StatusServiceUnavailable
	}
	answer(w, status, health{why == "", why, timeText(p.LastPoll), number(p.PollsPerSecond)})
}
