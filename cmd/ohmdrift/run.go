package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/signal"
	"syscall"

	sd "github.com/coreos/go-systemd/v22/daemon"
	"github.com/rs/zerolog"
	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"ohmdrift/config"
	"ohmdrift/daemon"
)

func newRun() *cobra.Command {
	var file string
	c := &cobra.Command{
		Use:   "run --config FILE",
		Short: "Run the daemon",
		Long: "Polls, stores, judges and tells until stopped by SIGTERM or Ctrl-C. SIGHUP takes over a changed\n" +
			"config: a good one without missing a poll, a bad one is refused and the old one stays.\n" +
			"The log goes to standard error, one JSON object a line.",
		Example: "  ohmdrift run --config /etc/ohmdrift/plant.yaml\n  systemctl reload ohmdrift",
		Args:    cobra.NoArgs,
		RunE:    func(c *cobra.Command, _ []string) error { return runDaemon(c, file) },
	}
	c.Flags().StringVar(&file, "config", "", "the plant's YAML file")
	_ = c.MarkFlagRequired("config") // the flag exists
	return c
}

func runDaemon(c *cobra.Command, file string) (err error) {
	log := newLog(c.ErrOrStderr())
	hangups := make(chan os.Signal, 1) // a second signal during a reload is the same wish
	signal.Notify(hangups, syscall.SIGHUP)
	defer signal.Stop(hangups)
	p, err := config.Load(file)
	if err != nil {
		return mistaken(err, c.ErrOrStderr())
	}
	d, err := daemon.Open(p, daemon.Options{Log: log, Version: readVersion().Version})
	if err != nil {
		return couldNot(err)
	}
	defer func() {
		if e := d.Close(); e != nil {
			err = errors.Join(err, couldNot(e))
		}
	}()
	page, err := listen(p.Web.Listen)
	if err != nil {
		return couldNot(err)
	}
	stop := onHangup(c.Context(), hangups, func(ctx context.Context) { reload(ctx, d, file, log) })
	defer stop()
	log.Info().Str("version", readVersion().Version).Int("loops", len(p.Loops)).Int("links", len(p.Links)).
		Str("page", p.Web.Listen).Str("config_hash", p.Hash).Msg("daemon started")
	_, _ = sd.SdNotify(false, sd.SdNotifyReady) // not under systemd: nothing to tell
	g, ctx := errgroup.WithContext(c.Context())
	g.Go(func() error { heartbeat(ctx, d.Alive); return nil })
	g.Go(func() error { return d.Run(ctx, page) })
	if err := g.Wait(); err != nil {
		return couldNot(err)
	}
	return nil
}

func listen(addr string) (net.Listener, error) {
	if addr == "" {
		return nil, nil
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("web.listen %s: %w; is another program there?", addr, err)
	}
	return l, nil
}

// onHangup calls f for each signal, one after the other, until ctx ends or the
// returned function has been called.
func onHangup(ctx context.Context, hangups <-chan os.Signal, f func(context.Context)) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() { // ended and waited for by stop
		defer close(done)
		for {
			select {
			case <-ctx.Done():
				return
			case <-hangups:
				if ctx.Err() == nil { // not while stopping
					f(ctx)
				}
			}
		}
	}()
	return func() {
		cancel()
		<-done
	}
}

func reload(ctx context.Context, d *daemon.Daemon, file string, log zerolog.Logger) {
	_, _ = sd.SdNotify(false, sd.SdNotifyReloading)
	p, err := config.Load(file)
	if err == nil {
		err = d.Reload(ctx, p)
	}
	if err != nil {
		if e := d.Refused(ctx, file, err); e != nil {
			log.Error().Err(e).Msg("the refusal could not be recorded")
		}
	}
	_, _ = sd.SdNotify(false, sd.SdNotifyReady)
}
