package main

import (
	"io"
	"os"
	"sync/atomic"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// progress shows how far a replay is, on a terminal only. It counts the bytes
// that are read on the way.
type progress struct {
	io.Reader
	read atomic.Int64
	bar  *progressbar.ProgressBar // nil = not shown
}

func newProgress(in io.Reader, size int64, errs io.Writer) *progress {
	p := &progress{Reader: in}
	f, ok := errs.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return p
	}
	p.bar = progressbar.NewOptions64(size, progressbar.OptionSetWriter(errs), progressbar.OptionShowBytes(true),
		progressbar.OptionSetDescription("replay"), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(100e6))
	return p
}

// Read counts what is read.
func (p *progress) Read(b []byte) (int, error) {
	n, err := p.Reader.Read(b)
	p.read.Add(int64(n))
	return n, err
}

// rows is called between blocks.
func (p *progress) rows(int64) {
	if p.bar != nil {
		_ = p.bar.Set64(p.read.Load()) // a bar that cannot be drawn stops nothing
	}
}

func (p *progress) end() {
	if p.bar != nil {
		_ = p.bar.Finish()
	}
}
