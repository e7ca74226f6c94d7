package history

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	"github.com/prometheus/prometheus/tsdb/wlog"
)

// syncedSegments remembers up to which segment each write-ahead log is on the
// disk. The database writes each commit to the file and syncs it only when the
// segment is full.
type syncedSegments struct {
	inOrder    int
	outOfOrder int
}

// sync makes the newest segments durable: every one from the newest of the last
// time on, because the database may have begun others since.
func (s *syncedSegments) sync(dir string) error {
	var err error
	if s.inOrder, err = syncFrom(filepath.Join(dir, "wal"), s.inOrder); err != nil {
		return err
	}
	s.outOfOrder, err = syncFrom(filepath.Join(dir, wlog.WblDirName), s.outOfOrder)
	if errors.Is(err, fs.ErrNotExist) {
		err = nil // nothing has come out of order yet
	}
	return err
}

func syncFrom(dir string, from int) (newest int, err error) {
	segments, err := segmentsOf(dir)
	if err != nil {
		return from, err
	}
	newest = from
	for _, n := range segments {
		if n < from {
			continue
		}
		if err := syncFile(filepath.Join(dir, segmentName(n))); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return from, err
		}
		newest = n
	}
	if newest != from { // the directory entry of a new segment must survive too
		return newest, syncFile(dir)
	}
	return newest, nil
}

func segmentName(n int) string {
	s := strconv.Itoa(n)
	return "00000000"[:8-min(8, len(s))] + s
}

// segmentsOf lists the numbers of the segments in dir in ascending order.
func segmentsOf(dir string) ([]int, error) {
	files, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var ns []int
	for _, f := range files {
		if n, err := strconv.Atoi(f.Name()); err == nil {
			ns = append(ns, n)
		}
	}
	slices.Sort(ns)
	return ns, nil
}

func syncFile(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
