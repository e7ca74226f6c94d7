package config

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"

	"ohmdrift/devices"
)

// Options say how a plant file is loaded; the zero value is what the daemon
// uses.
type Options struct {
	FS          fs.FS                       // where files are; nil = the file system of the machine
	Env         func(string) (string, bool) // environment; nil = that of the process
	SkipSecrets bool                        // leave tokens empty and certificates unchecked: for a look from elsewhere
}

// Load reads and validates a plant file and every file that it names, relative
// to itself. The error is Mistakes when the files can be read but not accepted,
// with every mistake in it.
func Load(file string) (*Plant, error) { return LoadWith(file, Options{}) }

// LoadFS is Load from a file system, such as an embedded example.
func LoadFS(fsys fs.FS, file string) (*Plant, error) { return LoadWith(file, Options{FS: fsys}) }

// LoadWith is Load with options.
func LoadWith(file string, o Options) (*Plant, error) {
	l := newLoader(o)
	text, err := l.read(file)
	if err != nil {
		return nil, fmt.Errorf("read the plant file: %w", err)
	}
	l.dir = l.dirOf(file)
	r := &reader{file, l.report}
	root := r.document(text)
	if root == nil {
		return nil, l.result()
	}
	draft, ok := mapping(plantKeys()...).read(r, root, "")
	if !ok {
		return nil, l.result()
	}
	p := l.resolve(file, &draft)
	if err := l.result(); err != nil {
		return nil, err
	}
	p.Warnings = l.warnings.sort(l.files)
	p.Files, p.Hash = l.files, l.sum()
	return p, nil
}

// loader reads the files of one plant and keeps what they have in common.
type loader struct {
	*report
	Options
	dir      string // of the plant file
	files    []string
	hash     hash.Hash
	profiles map[string]*devices.Profile // that have been read
	names    []string                    // of profiles, the built-in ones first

	brokenProfiles []string // that could not be read; empty = name not known
}

func newLoader(o Options) *loader {
	if o.Env == nil {
		o.Env = os.LookupEnv
	}
	return &loader{report: &report{}, Options: o, hash: sha256.New(), profiles: map[string]*devices.Profile{}}
}

func (l *loader) sum() string { return hex.EncodeToString(l.hash.Sum(nil)) }

func (l *loader) result() error {
	if len(l.mistakes) == 0 {
		return nil
	}
	return l.mistakes.sort(l.files)
}

// maxFile bounds what is read into memory: an index of 100,000 loops has a
// tenth of this.
const maxFile = 256 << 20

// read reads a file, remembers its name and adds it to the hash.
func (l *loader) read(name string) ([]byte, error) {
	text, err := l.readFile(name)
	if err != nil {
		return nil, err
	}
	l.files = append(l.files, name)
	fmt.Fprintf(l.hash, "%s %d\n", path.Base(filepath.ToSlash(name)), len(text))
	l.hash.Write(text)
	return text, nil
}

func (l *loader) readFile(name string) ([]byte, error) {
	stat := os.Stat
	open := os.ReadFile
	if l.FS != nil {
		stat = func(n string) (fs.FileInfo, error) { return fs.Stat(l.FS, n) }
		open = func(n string) ([]byte, error) { return fs.ReadFile(l.FS, n) }
	}
	info, err := stat(name)
	switch {
	case err != nil:
		return nil, err
	case info.IsDir():
		return nil, &fs.PathError{Op: "read", Path: name, Err: errors.New("is a folder")}
	case info.Size() > maxFile:
		return nil, &fs.PathError{Op: "read", Path: name, Err: fmt.Errorf("%d MB; want at most %d MB", info.Size()>>20, maxFile>>20)}
	}
	return open(name)
}

// named reads a file that a value names; a failure is a mistake at the value.
func (l *loader) named(v given[string]) (name string, text []byte, ok bool) {
	name = l.beside(v.value)
	text, err := l.read(name)
	if err != nil {
		l.add(v.at, v.path, "file names are relative to the plant file", "%s", reason(err, name))
		return name, nil, false
	}
	return name, text, true
}

// reason words a file error without repeating the operation.
func reason(err error, name string) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		err = p.Err
	}
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Sprintf("no file %s", name)
	}
	return fmt.Sprintf("file %s: %v", name, err)
}

// beside resolves a name relative to the plant file.
func (l *loader) beside(name string) string {
	if l.FS != nil {
		return path.Join(l.dir, strings.TrimPrefix(name, "./"))
	}
	if filepath.IsAbs(name) {
		return filepath.Clean(name)
	}
	return filepath.Join(l.dir, name)
}

func (l *loader) dirOf(file string) string {
	if l.FS != nil {
		return path.Dir(file)
	}
	return filepath.Dir(file)
}
