package records

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/gofrs/flock"
	_ "modernc.org/sqlite" // the database driver
)

// Store is the database. Its methods may be called from any goroutine.
type Store struct {
	lock  *flock.Flock
	write *sql.DB // one connection: writers queue here instead of failing with "busy"
	read  *sql.DB

	mu    sync.Mutex
	sinks []string
	stats Stats
}

// Stats counts transitions since Open.
type Stats struct {
	Recorded  uint64 // events written
	Repeated  uint64 // transitions that were on record already
	Unmatched uint64 // clears of a finding that is not open
	Notices   uint64 // rows put into the outbox
}

// ErrInUse is the answer of Open when another process has the folder.
var ErrInUse = errors.New("data folder is in use by another daemon")

// Open opens state.db in dir, making folder and file when they are not there,
// and brings the layout up to date. Close it.
func Open(dir string) (*Store, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, fmt.Errorf("open records: %w", err)
	}
	lock, err := acquire(dir)
	if err != nil {
		return nil, err
	}
	s := &Store{lock: lock}
	if err := s.open(filepath.Join(dir, "state.db")); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// acquire takes the lock of the folder and writes who has it.
func acquire(dir string) (*flock.Flock, error) {
	path := filepath.Join(dir, "ohmdrift.lock")
	lock := flock.New(path, flock.SetFlag(os.O_CREATE|os.O_RDWR), flock.SetPermissions(0o640))
	got, err := lock.TryLock()
	if err != nil {
		return nil, fmt.Errorf("lock %s: %w", path, err)
	}
	if !got {
		holder := "unknown process"
		if b, err := os.ReadFile(path); err == nil && len(b) > 0 {
			holder = "process " + strings.TrimSpace(string(b))
		}
		return nil, fmt.Errorf("%w: %s is held by %s; stop it, or give this one another store.dir", ErrInUse, dir, holder)
	}
	// For the message above only; the lock does not depend on it.
	_ = os.WriteFile(path, []byte(strconv.Itoa(os.Getpid())+"\n"), 0o640)
	return lock, nil
}

func (s *Store) open(path string) error {
	var err error
	if s.write, err = sql.Open("sqlite", dsn(path, "journal_mode(wal)", "synchronous(full)", "foreign_keys(on)", "busy_timeout(5000)")); err != nil {
		return fmt.Errorf("open %s: %w", path, err)
	}
	s.write.SetMaxOpenConns(1)
	if err := migrate(context.Background(), s.write); err != nil {
		return fmt.Errorf("open %s: %w", path, err)
	}
	if s.read, err = sql.Open("sqlite", dsn(path, "query_only(on)", "busy_timeout(5000)")); err != nil {
		return fmt.Errorf("open %s: %w", path, err)
	}
	s.read.SetMaxOpenConns(4)
	return nil
}

func dsn(path string, pragmas ...string) string {
	u := url.URL{Scheme: "file", OmitHost: true, Path: path}
	q := url.Values{"_pragma": pragmas, "_txlock": {"immediate"}}
	u.RawQuery = q.Encode()
	return u.String()
}

// Close closes the database and gives the folder free.
func (s *Store) Close() error {
	var errs []error
	for _, db := range []*sql.DB{s.read, s.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(append(errs, s.lock.Unlock())...)
}

// Stats returns the counters.
func (s *Store) Stats() Stats {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.stats
}

// transact runs do in one transaction.
func (s *Store) transact(ctx context.Context, do func(*sql.Tx) error) error {
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := do(tx); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

// millis is a time in a column; NULL for the zero time.
func millis(t time.Time) sql.NullInt64 {
	return sql.NullInt64{Int64: t.UnixMilli(), Valid: !t.IsZero()}
}

func fromMillis(n sql.NullInt64) time.Time {
	if !n.Valid {
		return time.Time{}
	}
	return time.UnixMilli(n.Int64).UTC()
}
