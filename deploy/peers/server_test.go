package peers

import (
	"bufio"
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

const (
	registersFile = "servers/registers.txt"
	debianPython  = "/usr/bin/python3" // the one that Debian's python3-pymodbus is installed for
	baud          = "19200"
	install       = "deploy/test installs it"
)

// peer is a Modbus server of another project.
type peer struct {
	name  string
	start func(t *testing.T) (url string) // as config writes it
}

// peers lists the servers, all with the same registers.
func peers() []peer {
	return []peer{
		{"pymodbus over TCP", func(t *testing.T) string {
			return "tcp://127.0.0.1:" + serve(t, nil, debianPython, "servers/pymodbus_server.py", registersFile, "tcp")
		}},
		{"pymodbus over RTU", func(t *testing.T) string {
			near, far := ptyPair(t)
			serve(t, nil, debianPython, "servers/pymodbus_server.py", registersFile, "rtu", far, baud)
			return "rtu://" + near
		}},
		{"modbus-serial over TCP", func(t *testing.T) string {
			env := []string{"NODE_PATH=" + filepath.Join(cache(t), "npm", "node_modules")}
			return "tcp://127.0.0.1:" + serve(t, env, "node", "servers/modbus_serial_server.js", registersFile)
		}},
		{"libmodbus over TCP", func(t *testing.T) string {
			return "tcp://127.0.0.1:" + serve(t, nil, buildLibmodbusServer(t), registersFile)
		}},
	}
}

// cache is where deploy/test keeps what tests need beyond Debian's packages.
func cache(t *testing.T) string {
	t.Helper()
	if dir := os.Getenv("OHMDRIFT_PEERS"); dir != "" {
		return dir
	}
	home, err := os.UserHomeDir()
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(home, ".cache", "ohmdrift", "peers")
}

// serve starts a program that prints "ready" with what a client needs to know,
// and returns that. It ends with the test.
func serve(t *testing.T, env []string, argv ...string) string {
	t.Helper()
	ready := make(chan string, 1)
	ended := start(t, env, func(line string) {
		if rest, ok := strings.CutPrefix(line, "ready"); ok {
			ready <- strings.TrimSpace(rest)
		}
	}, argv...)
	return await(t, ready, ended, argv[0]+" to be ready")
}

// ptyPair makes a serial line: what is written to one end comes out of the
// other.
func ptyPair(t *testing.T) (near, far string) {
	t.Helper()
	dir := t.TempDir()
	near, far = filepath.Join(dir, "near"), filepath.Join(dir, "far")
	linked := make(chan string, 1)
	ended := start(t, nil, func(line string) {
		if strings.Contains(line, "starting data transfer loop") {
			linked <- line
		}
	}, "socat", "-d", "-d", "pty,raw,echo=0,link="+near, "pty,raw,echo=0,link="+far)
	await(t, linked, ended, "socat to link two pseudo terminals")
	return near, far
}

// start runs a program until the test ends and hands each line that it prints,
// on either output, to line. The channel that it returns closes when the
// program ends.
func start(t *testing.T, env []string, line func(string), argv ...string) <-chan struct{} {
	t.Helper()
	path, err := exec.LookPath(argv[0])
	if err != nil {
		t.Fatalf("%v; %s", err, install)
	}
	ctx, stop := context.WithCancel(context.Background())
	c := exec.CommandContext(ctx, path, argv[1:]...)
	c.Env = append(os.Environ(), env...)
	c.Cancel = func() error { return c.Process.Signal(syscall.SIGTERM) }
	c.WaitDelay = 5 * time.Second
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	c.Stderr = c.Stdout
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for s := bufio.NewScanner(out); s.Scan(); {
			said.WriteString(s.Text() + "\n")
			line(s.Text())
		}
	}()
	t.Cleanup(func() {
		stop()
		<-ended
		_ = c.Wait() // ended by the signal
		if t.Failed() {
			t.Logf("%s said:\n%s", strings.Join(argv, " "), said.String())
		}
	})
	return ended
}

func await(t *testing.T, what <-chan string, ended <-chan struct{}, name string) string {
	t.Helper()
	select {
	case s := <-what:
		return s
	case <-ended:
		t.Fatalf("it ended while waiting for %s; is everything installed? %s", name, install)
		return ""
	case <-time.After(30 * time.Second):
		t.Fatalf("waited 30 s for %s; %s", name, install)
		return ""
	}
}

func buildLibmodbusServer(t *testing.T) string {
	t.Helper()
	server := filepath.Join(t.TempDir(), "libmodbus_server")
	out, err := exec.CommandContext(t.Context(), "cc", "-O1", "-I/usr/include/modbus", "-o", server, "servers/libmodbus_server.c", "-lmodbus").CombinedOutput()
	if err != nil {
		t.Fatalf("building the libmodbus server: %v; %s\n%s", err, install, out)
	}
	return server
}
