package records

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"ohmdrift/diagnostics/finding"
)

// Each layout that ever was goes to the newest with what it holds.
func TestEveryLayoutBecomesTheNewest(t *testing.T) {
	ms, err := migrations()
	if err != nil {
		t.Fatal(err)
	}
	for from := 0; from <= len(ms); from++ {
		t.Run(fmt.Sprintf("from=%d", from), func(t *testing.T) {
			dir := t.TempDir()
			old, err := sql.Open("sqlite", dsn(filepath.Join(dir, "state.db")))
			if err != nil {
				t.Fatal(err)
			}
			if err := migrateTo(t.Context(), old, ms, from); err != nil {
				t.Fatal(err)
			}
			if from > 0 {
				if _, err := old.Exec(`INSERT INTO outbox (sink, loop, key, body, created_ms, due_ms) VALUES ('log', 'TT-1', 'k', '{}', 1, 0)`); err != nil {
					t.Fatal(err)
				}
			}
			if err := old.Close(); err != nil {
				t.Fatal(err)
			}
			s, err := Open(dir)
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			if n := waiting(t, s, "log"); n != min(from, 1) {
				t.Errorf("%d messages, want %d", n, min(from, 1))
			}
			say(t, s, drift(finding.Raised, 0))
			if err := s.SaveSnapshot(t.Context(), "TT-1", Snapshot{noon, []byte{0}}); err != nil {
				t.Error(err)
			}
			if err := s.Enqueue(t.Context(), []byte{0}, 1); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestANewerDatabaseIsRefused(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.write.Exec("PRAGMA user_version = 99"); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "layout 99") {
		t.Errorf("Open: %v", err)
	}
}

// The promises of the file: write-ahead log, every commit on the disk.
func TestPragmas(t *testing.T) {
	s := open(t)
	for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1"} { // 2 = FULL, sqlite.org/pragma.html
		var got string
		if err := s.write.QueryRow("PRAGMA " + pragma).Scan(&got); err != nil || got != want {
			t.Errorf("%s = %q, want %q; %v", pragma, got, want, err)
		}
	}
	if _, err := s.read.Exec("DELETE FROM outbox"); err == nil {
		t.Error("the reading connection can write")
	}
	var v string
	if err := s.read.QueryRow("SELECT sqlite_version()").Scan(&v); err != nil {
		t.Fatal(err)
	}
	t.Log("SQLite", v)
}

// Hot queries go through an index.
func TestQueryPlans(t *testing.T) {
	s := open(t)
	for name, q := range map[string]string{
		"eventByKey": eventByKey, "openLike": openLike, "openFindings": openFindings, "eventsOfLoop": eventsOfLoop,
		"dueMessages": dueMessages, "waitingMessages": waitingMessages, "closeMessage": closeMessage, "retryMessage": retryMessage,
		"pruneMessages": pruneMessages, "nextBatches": nextBatches, "dropBatch": dropBatch, "queueSize": queueSize,
		"moveFinding": moveFinding, "trimQuarantine": trimQuarantine, "audits": audits, "journalOfLoop": journalOfLoop,
	} {
		t.Run(name, func(t *testing.T) {
			args := make([]any, strings.Count(q, "?"))
			for i := range args {
				args[i] = 1
			}
			rows, err := s.write.Query("EXPLAIN QUERY PLAN "+q, args...)
			if err != nil {
				t.Fatal(err)
			}
			defer rows.Close()
			for rows.Next() {
				var id, parent, unused int
				var detail string
				if err := rows.Scan(&id, &parent, &unused, &detail); err != nil {
					t.Fatal(err)
				}
				if scansTable(detail, q) {
					t.Errorf("plan reads a whole table: %s", detail)
				}
			}
		})
	}
}

// scansTable reports a full scan: no index, and not a walk along the primary key
// that a LIMIT ends.
func scansTable(detail, query string) bool {
	walk := !strings.Contains(query, "WHERE") && strings.Contains(query, "LIMIT")
	return strings.HasPrefix(detail, "SCAN ") && !strings.Contains(detail, "USING") && !walk
}
