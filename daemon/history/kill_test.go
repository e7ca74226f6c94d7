package history

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"testing"
	"time"
)

// childDir is the environment variable that makes the test program the process
// that is killed.
const childDir = "OHMDRIFT_TEST_HISTORY"

const childSamples = 20_000

// child appends, flushes, says so, appends more, and waits to be killed.
func child(dir string) {
	h, err := Open(dir, Options{Flush: time.Hour})
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	h.SetLoops([]Loop{fourWire("TT-1")})
	for i := range childSamples {
		s := sampleAt(i)
		h.Append("TT-1", &s)
	}
	if err := h.Flush(context.Background()); err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	late := sampleAt(childSamples + 10)
	h.Append("TT-1", &late) // not flushed: it may be lost
	fmt.Println("flushed")
	select {}
}

func TestWhatWasFlushedSurvivesAKill(t *testing.T) {
	dir := t.TempDir()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childDir+"="+dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	line, _ := bufio.NewReader(out).ReadString('\n')
	if err := cmd.Process.Kill(); err != nil { // SIGKILL
		t.Fatal(err)
	}
	_ = cmd.Wait()
	if line != "flushed\n" {
		t.Fatalf("child said %q", line)
	}
	h := open(t, dir, Options{})
	same(t, h, "TT-1", childSamples)
}
