package loadtest

import (
	"fmt"
	"os"
	"sync"
	"testing"
	"time"

	"ohmdrift/devices"
	"ohmdrift/devices/wiretest"
)

// BenchmarkSerial reads 20 registers over a pseudo terminal whose far end keeps
// the pace of a real line: characters take their 11 bits, frames are parted by
// 3.5 characters (1.75 ms above 19200 baud), the device answers at once. The
// wire limit is what such a line carries at the most.
func BenchmarkSerial(b *testing.B) {
	for _, baud := range []int{9600, 19200, 115200} {
		b.Run(fmt.Sprintf("baud=%d", baud), func(b *testing.B) {
			far, path := wiretest.Pty(b)
			var wg sync.WaitGroup
			wg.Go(func() { paced(far, baud) })
			b.Cleanup(func() {
				far.Close()
				wg.Wait()
			})
			c, err := devices.Open(b.Context(), devices.LinkConfig{URL: "rtu://" + path, Baud: baud, Parity: "even"})
			if err != nil {
				b.Fatal(err)
			}
			defer c.Close()
			const n = 200
			for b.Loop() {
				var each []float64
				start := time.Now()
				for range n {
					begin := time.Now()
					if _, err := c.Read(devices.Ask{Unit: 1, Table: devices.Holding, Count: 20}); err != nil {
						b.Fatal(err)
					}
					each = append(each, time.Since(begin).Seconds())
				}
				rate := n / time.Since(start).Seconds()
				limit := 1 / (devices.LinkConfig{Baud: baud}).WireTime(20).Seconds()
				b.ReportMetric(rate, "requests/s")
				b.ReportMetric(limit, "wire-limit/s")
				b.ReportMetric(rate/limit, "of-limit")
				b.ReportMetric(1/median(each)/limit, "median-of-limit") // what a busy machine does not distort
			}
		})
	}
}

// paced answers as a line of the given speed would let a device answer.
func paced(far *os.File, baud int) {
	char, gap := devices.CharTime(baud), devices.FrameGap(baud)
	req := make([]byte, 0, 8)
	part := make([]byte, 8)
	for {
		n, err := far.Read(part[:8-len(req)])
		if err != nil {
			return
		}
		start := time.Now() // the first byte leaves the master now
		req = append(req, part[:n]...)
		if len(req) < 8 {
			continue
		}
		answer := wiretest.NewPeer(false, nil).Parse(req).Registers(7)
		req = req[:0]
		until(start.Add(8*char + gap + time.Duration(len(answer))*char))
		if _, err := far.Write(answer); err != nil {
			return
		}
	}
}

// until waits to some microseconds: a timer for the most of it, whose steps can
// be a millisecond, then by looking at the clock.
func until(t time.Time) {
	if d := time.Until(t) - 1500*time.Microsecond; d > 0 {
		<-time.NewTimer(d).C
	}
	for time.Now().Before(t) {
	}
}
