package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
)

// handiwork is what work is asked to do.
type handiwork struct {
	page string
	who  string
	span time.Duration
	done string // what was done; empty = watch
}

func newWork() *cobra.Command {
	var h handiwork
	c := &cobra.Command{
		Use:   "work TAG",
		Short: "Watch one loop of the running daemon fast, while somebody works there",
		Long: `Asks the daemon on this machine to poll one loop as fast as its device and its bus
allow, for a limited time, and shows its leads as they come: a bad contact answers
the hand at once. The rate reached is shown; the journal keeps who asked. Ctrl-C
ends it early. Other loops of the link keep their interval.

Until it ends the loop is in function check: what the hand does is not judged, and
what stood goes on standing. With --done, during it or after it, somebody says what
was done: what stood is cleared and the loop is learnt anew. Without it the daemon
tells by itself what became of the leads.

` + caution,
		Example: "  ohmdrift work TT-2411 --who kim --for 10m\n  ohmdrift work TT-2411 --who kim --done \"retightened b1\"",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if c.Flags().Changed("done") {
				if err := h.mayEnd(c.Flags().Changed("for")); err != nil {
					return err
				}
			}
			return h.run(c.Context(), args[0], c.OutOrStdout())
		},
	}
	f := c.Flags()
	f.StringVar(&h.page, "page", "http://127.0.0.1:8480", "address of the daemon's page")
	f.StringVar(&h.who, "who", os.Getenv("USER"), "who works there")
	f.DurationVar(&h.span, "for", 10*time.Minute, "how long, at most 1 h")
	f.StringVar(&h.done, "done", "", "end it, and say what was done there")
	return c
}

// mayEnd checks what --done says, and that it stands alone.
func (h *handiwork) mayEnd(span bool) error {
	switch {
	case strings.TrimSpace(h.done) == "":
		return errors.New(`--done is empty: say what was done, such as --done "retightened b1", or leave it out`)
	case span:
		return errors.New("--done ends work mode: leave --for out")
	}
	return nil
}

func (h *handiwork) run(ctx context.Context, tag string, out io.Writer) error {
	loop := strings.TrimSuffix(h.page, "/") + "/api/loops/" + url.PathEscape(tag)
	if h.done != "" {
		if err := h.put(ctx, loop+"/work", map[string]any{"who": h.who, "seconds": 0, "done": h.done}); err != nil {
			return couldNot(err)
		}
		_, err := fmt.Fprintf(out, "%s: noted; what stood is cleared and the loop is learnt anew\n", tag)
		return err
	}
	if err := h.ask(ctx, loop+"/work", h.span); err != nil {
		return couldNot(err)
	}
	end, cancel := context.WithTimeout(ctx, h.span)
	defer cancel()
	watched := h.watch(end, loop, out)
	last, stop := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer stop()
	if err := errors.Join(watched, h.ask(last, loop+"/work", 0)); err != nil {
		return couldNot(err)
	}
	return nil
}

// ask starts work mode, or ends it.
func (h *handiwork) ask(ctx context.Context, address string, span time.Duration) error {
	return h.put(ctx, address, map[string]any{"who": h.who, "seconds": span.Seconds()})
}

func (h *handiwork) put(ctx context.Context, address string, asked map[string]any) error {
	body, err := json.Marshal(asked)
	if err != nil {
		return err
	}
	q, err := http.NewRequestWithContext(ctx, http.MethodPut, address, bytes.NewReader(body))
	if err != nil {
		return err
	}
	return answer(q, nil)
}

// watch prints each new value of the loop until ctx ends.
func (h *handiwork) watch(ctx context.Context, loop string, out io.Writer) error {
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	shown := ""
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		line, err := look(ctx, loop)
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil:
			return err
		case line == shown:
			continue
		}
		if _, err := fmt.Fprintln(out, line); err != nil {
			return err
		}
		shown = line
	}
}

// look asks for the newest values of a loop and the rate reached.
func look(ctx context.Context, loop string) (string, error) {
	var now struct {
		PollTime    string              `json:"poll_time"`
		QualityText string              `json:"quality_text"`
		Leads       map[string]*float64 `json:"lead_ohm"`
		Error       *float64            `json:"error_degC"`
	}
	var rate struct {
		PollsPerSecond float64 `json:"polls_per_second"`
	}
	for address, into := range map[string]any{loop: &now, loop + "/work": &rate} {
		q, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
		if err != nil {
			return "", err
		}
		if err := answer(q, into); err != nil {
			return "", err
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s  %-8s", now.PollTime, now.QualityText)
	for _, lead := range []string{"a1", "a2", "b1", "b2"} {
		if o := now.Leads[lead]; o != nil {
			fmt.Fprintf(&b, "  %s %s Ω", lead, decimal(*o, 4))
		}
	}
	if now.Error != nil {
		fmt.Fprintf(&b, "  error %s °C", sign(*now.Error, 3))
	}
	fmt.Fprintf(&b, "  %.1f polls/s", rate.PollsPerSecond)
	return b.String(), nil
}

// answer sends a request and reads its JSON answer; a problem's detail becomes
// the error.
func answer(q *http.Request, into any) error {
	resp, err := http.DefaultClient.Do(q)
	if err != nil {
		return fmt.Errorf("%w; does the daemon run, and is --page its address?", err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(io.LimitReader(resp.Body, 1<<20))
	if err != nil {
		return err
	}
	if resp.StatusCode != http.StatusOK {
		var p struct {
			Detail string `json:"detail"`
		}
		if json.Unmarshal(body, &p) == nil && p.Detail != "" {
			return errors.New(p.Detail)
		}
		return fmt.Errorf("%s answered %s", q.URL, resp.Status)
	}
	if into == nil {
		return nil
	}
	return json.Unmarshal(body, into)
}
