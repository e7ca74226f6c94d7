package main

import (
	"context"
	"time"

	sd "github.com/coreos/go-systemd/v22/daemon"
)

// heartbeat tells the service manager that polling makes progress, until ctx
// ends: the daemon's own silence is somebody else's alarm. Without a watchdog it
// returns at once.
func heartbeat(ctx context.Context, alive func() bool) {
	interval, err := sd.SdWatchdogEnabled(false)
	if err != nil || interval == 0 {
		return // none is set, or it is not for this process
	}
	t := time.NewTicker(interval / 3) // two may be lost
	defer t.Stop()
	for {
		if alive() {
			_, _ = sd.SdNotify(false, sd.SdNotifyWatchdog) // nobody listens: nothing to tell
		}
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
	}
}
