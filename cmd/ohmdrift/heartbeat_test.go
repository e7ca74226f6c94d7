package main

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"sync/atomic"
	"testing"
	"time"
)

// A real datagram socket stands in for the service manager: it hears a beat while
// polling makes progress, and none while it does not.
func TestHeartbeatFollowsProgress(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	t.Setenv("WATCHDOG_USEC", strconv.Itoa(60_000)) // a beat every 20 ms
	t.Setenv("WATCHDOG_PID", strconv.Itoa(os.Getpid()))

	var alive atomic.Bool
	asked := make(chan bool, 1000)
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		heartbeat(ctx, func() bool {
			now := alive.Load()
			asked <- now
			return now
		})
	}()
	for range 3 { // three questions answered with no
		if <-asked {
			t.Fatal("alive before it was")
		}
	}
	// A deadline that has passed would end the read before it looks: give it two beats.
	if err := conn.SetReadDeadline(time.Now().Add(50 * time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	buf := make([]byte, 64)
	if n, err := conn.Read(buf); err == nil {
		t.Errorf("a daemon that stalls sent %q", buf[:n])
	}
	if err := conn.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	alive.Store(true)
	n, err := conn.Read(buf)
	if err != nil || string(buf[:n]) != "WATCHDOG=1" {
		t.Errorf("read %q, err %v; want a beat", buf[:n], err)
	}
	stop()
	<-done
}
