package loadtest

import (
	"bufio"
	"fmt"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"ohmdrift/devices"
)

// build compiles a C program of testdata against libmodbus.
func build(b *testing.B, name string) string {
	b.Helper()
	bin := filepath.Join(b.TempDir(), name)
	cc := exec.Command("gcc", "-O2", "-I/usr/include/modbus", "-o", bin, filepath.Join("testdata", name+".c"), "-lmodbus")
	if out, err := cc.CombinedOutput(); err != nil {
		b.Fatalf("gcc and libmodbus-dev are needed: %v\n%s", err, out)
	}
	return bin
}

// startServer runs the libmodbus server and returns its port.
func startServer(b *testing.B) string {
	b.Helper()
	server := exec.Command(build(b, "server"))
	out, err := server.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := server.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		server.Process.Kill()
		server.Wait()
	})
	port, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		b.Fatal(err)
	}
	return strings.TrimSpace(port)
}

// BenchmarkAgainstC reads 20 registers over and over from one libmodbus server:
// a libmodbus client loop in C on one connection, ours on one and on 200. The
// two programs run in turns, several times, and the medians are compared, for
// the machine may be busy with other things.
func BenchmarkAgainstC(b *testing.B) {
	port := startServer(b)
	client := build(b, "client")
	const requests, rounds = 30_000, 5
	for b.Loop() {
		var c, one, many []float64
		for range rounds {
			c = append(c, runC(b, client, port, 1, requests))
			one = append(one, runOurs(b, port, 1, requests))
			many = append(many, runOurs(b, port, 200, requests))
		}
		b.ReportMetric(median(c), "c-requests/s")
		b.ReportMetric(median(one), "one-requests/s")
		b.ReportMetric(median(many), "200-requests/s")
		b.ReportMetric(median(one)/median(c), "one/c")
		b.ReportMetric(median(many)/median(c), "200/c")
		b.ReportMetric(median(many)/runC(b, client, port, 200, requests), "200/c200")
	}
}

func runC(b *testing.B, client, port string, conns, n int) float64 {
	b.Helper()
	out, err := exec.Command(client, port, strconv.Itoa(conns), strconv.Itoa(n)).Output()
	if err != nil {
		b.Fatal(err)
	}
	rate, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
	if err != nil {
		b.Fatal(err)
	}
	return rate
}

// runOurs reads n times over conns connections, each with a goroutine of its
// own as in the daemon.
func runOurs(b *testing.B, port string, conns, n int) float64 {
	b.Helper()
	links := make([]*devices.Conn, conns)
	for i := range links {
		c, err := devices.Open(b.Context(), devices.LinkConfig{URL: "tcp://127.0.0.1:" + port})
		if err != nil {
			b.Fatal(err)
		}
		defer c.Close()
		links[i] = c
	}
	var wg sync.WaitGroup
	errs := make(chan error, conns) // one each
	start := time.Now()
	for _, c := range links {
		wg.Go(func() {
			for range n / conns {
				got, err := c.Read(devices.Ask{Unit: 1, Table: devices.Holding, Count: 20, Timeout: 5 * time.Second})
				if err == nil && got[15] != 7 {
					err = fmt.Errorf("register 7 is %d", got[15])
				}
				if err != nil {
					errs <- err
					return
				}
			}
		})
	}
	wg.Wait()
	took := time.Since(start)
	select {
	case err := <-errs:
		b.Fatal(err)
	default:
	}
	return float64(n/conns*conns) / took.Seconds()
}
