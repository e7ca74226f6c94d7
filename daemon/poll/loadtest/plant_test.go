package loadtest

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"ohmdrift/daemon/poll"
	"ohmdrift/devices"
)

// scale is one load.
type scale struct {
	Addr     string
	Links    int
	Units    int
	Interval time.Duration
	Warm     time.Duration // before measuring
	Run      time.Duration
	Dead     int // every n-th unit does not answer, 0 = none
}

// result is what the polling process measured of itself.
type result struct {
	PollsPerS   float64
	GoodPerS    float64
	Missed      uint64
	LatenessP99 float64 // ms, upper end of its bucket
	Cores       float64
	PeakMB      float64
	OffP99      float64 // of sound units, share of the interval
	ProbeShare  float64
}

// BenchmarkPlant polls 10,000 units behind 200 links once a second.
func BenchmarkPlant(b *testing.B) {
	for _, s := range []scale{
		{Links: 200, Units: 50, Interval: time.Second, Warm: 5 * time.Second, Run: 20 * time.Second},
		{Links: 200, Units: 50, Interval: time.Second, Warm: 30 * time.Second, Run: 30 * time.Second, Dead: 5},
	} {
		b.Run(fmt.Sprintf("links=%d/units=%d/dead=%d", s.Links, s.Units, s.Dead), func(b *testing.B) {
			s.Addr = serve(b, s.Dead)
			for b.Loop() {
				r := runPoller(b, s)
				b.ReportMetric(r.PollsPerS, "polls/s")
				b.ReportMetric(r.GoodPerS, "good/s")
				b.ReportMetric(r.LatenessP99, "lateness-p99-ms")
				b.ReportMetric(r.Cores, "cores")
				b.ReportMetric(r.PeakMB, "peak-MB")
				b.ReportMetric(float64(r.Missed), "missed")
				b.ReportMetric(100*r.OffP99, "interval-off-p99-%")
				b.ReportMetric(100*r.ProbeShare, "probe-%")
			}
		})
	}
}

// serve answers reads of 20 registers for every unit but the dead ones.
func serve(b *testing.B, dead int) string {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	var wg sync.WaitGroup
	var mu sync.Mutex
	var conns []net.Conn
	wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			mu.Lock()
			conns = append(conns, c)
			mu.Unlock()
			wg.Go(func() { answer(c, dead) })
		}
	})
	b.Cleanup(func() {
		l.Close()
		mu.Lock()
		for _, c := range conns {
			c.Close()
		}
		mu.Unlock()
		wg.Wait()
	})
	return l.Addr().String()
}

func answer(c net.Conn, dead int) {
	defer c.Close()
	req, ans := make([]byte, 12), make([]byte, 260)
	for n := uint16(0); ; n++ {
		if _, err := io.ReadFull(c, req); err != nil {
			return
		}
		if dead > 0 && int(req[6])%dead == 0 {
			continue
		}
		count := int(binary.BigEndian.Uint16(req[10:]))
		size := 9 + 2*count
		copy(ans, req[:8])
		binary.BigEndian.PutUint16(ans[4:], uint16(3+2*count))
		ans[8] = byte(2 * count)
		for i := range count {
			binary.BigEndian.PutUint16(ans[9+2*i:], 500+n&7)
		}
		if _, err := c.Write(ans[:size]); err != nil {
			return
		}
	}
}

// runPoller starts the polling process and returns what it measured.
func runPoller(b *testing.B, s scale) result {
	b.Helper()
	spec, err := json.Marshal(s)
	if err != nil {
		b.Fatal(err)
	}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), roleVar+"=poller")
	cmd.Stdin = bytes.NewReader(spec)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		b.Fatal(err)
	}
	var r result
	if err := json.Unmarshal(out, &r); err != nil {
		b.Fatalf("%v in %q", err, out)
	}
	return r
}

// transmitter has four leads, sensor and reading in 20 registers.
func transmitter() *devices.Profile {
	p := &devices.Profile{Name: "load", Table: devices.Input, Blocks: []devices.Block{{Addr: 0, Count: 20}}}
	for i, q := range []devices.Quantity{devices.LeadA1, devices.LeadA2, devices.LeadB1, devices.LeadB2, devices.SensorOhm, devices.ReadingDegC} {
		p.Fields = append(p.Fields, devices.Field{Quantity: q, Addr: uint16(i), Type: devices.Uint16, Scale: 0.001})
	}
	p.Fields = append(p.Fields, devices.Field{Quantity: devices.DeviceTempDegC, Addr: 19, Type: devices.Int16, Scale: 0.1})
	return p
}

// watch is the sink: it notes how far from the interval each sound loop is.
type watch struct {
	interval time.Duration
	dead     func(loop int) bool
	last     []time.Time
	mu       sync.Mutex
	on       bool
	off      []float64
}

// Take is called by one goroutine for each loop.
func (w *watch) Take(loop int, r *devices.Reading) {
	now := time.Now()
	was := w.last[loop]
	w.last[loop] = now
	if was.IsZero() || w.dead(loop) {
		return
	}
	w.mu.Lock()
	if w.on {
		w.off = append(w.off, (now.Sub(was)-w.interval).Abs().Seconds()/w.interval.Seconds())
	}
	w.mu.Unlock()
}

// start begins to note, with room for all that will come.
func (w *watch) start(room int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.on, w.off = true, make([]float64, 0, room)
}

func pollerProcess() int {
	var s scale
	if err := json.NewDecoder(os.Stdin).Decode(&s); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	r, err := measure(s)
	if err == nil {
		err = json.NewEncoder(os.Stdout).Encode(r)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

func planOf(s scale) poll.Plan {
	var plan poll.Plan
	profile := transmitter()
	for l := range s.Links {
		plan.Links = append(plan.Links, devices.LinkConfig{Name: fmt.Sprint("link", l), URL: "tcp://" + s.Addr, Timeout: time.Second, SoleMaster: true})
		for u := range s.Units {
			plan.Loops = append(plan.Loops, poll.Loop{
				Tag: fmt.Sprintf("TT-%d-%d", l, u), Link: l, Unit: uint8(u + 1), Interval: s.Interval, Profile: profile,
			})
		}
	}
	return plan
}

func measure(s scale) (result, error) {
	w := &watch{interval: s.Interval, last: make([]time.Time, s.Links*s.Units)}
	w.dead = func(loop int) bool { return s.Dead > 0 && (loop%s.Units+1)%s.Dead == 0 }
	p, err := poll.New(planOf(s), w, poll.Options{DialRate: 200})
	if err != nil {
		return result{}, err
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	<-time.NewTimer(s.Warm).C
	w.start(int(float64(s.Links*s.Units) * s.Run.Seconds() / s.Interval.Seconds() * 1.1))
	before, cpu, start := totals(p), cpuTime(), time.Now()
	<-time.NewTimer(s.Run).C
	after, used, took := totals(p), cpuTime()-cpu, time.Since(start)
	peak := peakMB()
	stop()
	if err := <-done; err != nil {
		return result{}, err
	}
	return result{
		PollsPerS: float64(after.polls-before.polls) / took.Seconds(), GoodPerS: float64(after.good-before.good) / took.Seconds(),
		Missed: after.missed - before.missed, LatenessP99: p99(before, after), Cores: used.Seconds() / took.Seconds(), PeakMB: peak,
		OffP99: quantile(w.off, 0.99), ProbeShare: (after.probing - before.probing).Seconds() / took.Seconds() / float64(s.Links),
	}, nil
}

// total adds up the counters of all links.
type total struct {
	polls, good, missed uint64
	probing             time.Duration
	late                []uint64
}

func totals(p *poll.Poller) total {
	t := total{late: make([]uint64, len(poll.Bounds())+1)}
	for _, s := range p.Stats() {
		t.polls += s.Polls
		t.good += s.Good
		t.missed += s.Missed
		t.probing += s.Probing
		for i, n := range s.Lateness.Counts {
			t.late[i] += n
		}
	}
	return t
}

// p99 returns the upper end in ms of the bucket that holds the 99th percentile.
func p99(before, after total) float64 {
	var all, sum uint64
	for i := range after.late {
		all += after.late[i] - before.late[i]
	}
	for i, b := range poll.Bounds() {
		sum += after.late[i] - before.late[i]
		if sum*100 >= all*99 {
			return float64(b) / float64(time.Millisecond)
		}
	}
	return 1e9
}

func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return 0
	}
	slices.Sort(x)
	return x[int(q*float64(len(x)-1))]
}

func cpuTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// peakMB returns the highest resident size of this process so far.
func peakMB() float64 {
	text, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(text), "VmHWM:")
	fields := strings.Fields(rest)
	if len(fields) == 0 {
		return 0
	}
	kb, _ := strconv.ParseFloat(fields[0], 64)
	return kb / 1024
}
