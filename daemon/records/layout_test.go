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

// Hot queries go through the index that was made for them.
func TestQueryPlans(t *testing.T) {
	s := open(t)
	const key = "INTEGER PRIMARY KEY"
	for name, q := range map[string]struct{ query, through string }{
		"eventByKey":      {eventByKey, "sqlite_autoindex_finding_event_1 (key=?)"},
		"openLike":        {openLike, "finding_open (loop=? AND kind=? AND box=?)"},
		"openFindings":    {openFindings, "finding_open"},
		"eventsOfLoop":    {eventsOfLoop, "finding_event_of (finding=?)"},
		"moveFinding":     {moveFinding, key},
		"dueMessages":     {dueMessages, "outbox_waiting (sink=?)"},
		"waitingMessages": {waitingMessages, "outbox_waiting (sink=?)"},
		"closeMessage":    {closeMessage, key},
		"retryMessage":    {retryMessage, key},
		"pruneMessages":   {pruneMessages, "outbox_done (done_ms<?)"},
		"nextBatches":     {nextBatches, ""},
		"dropBatch":       {dropBatch, key},
		"queueSize":       {queueSize, "COVERING INDEX forward_size"},
		"overBound":       {overBound, "COVERING INDEX forward_size"},
		"trimQuarantine":  {trimQuarantine, key},
		"quarantined":     {quarantined, ""},
		"audits":          {audits, ""},
		"journalOfLoop":   {journalOfLoop, "journal_loop (loop=?)"},
	} {
		t.Run(name, func(t *testing.T) {
			plan := planOf(t, s.write, q.query)
			if !strings.Contains(plan, q.through) {
				t.Errorf("plan does not go through %s:\n%s", q.through, plan)
			}
			for line := range strings.Lines(plan) {
				if scansTable(line, q.query) {
					t.Errorf("plan reads a whole table: %s", line)
				}
			}
		})
	}
}

func planOf(t *testing.T, db *sql.DB, query string) string {
	t.Helper()
	args := make([]any, strings.Count(query, "?"))
	for i := range args {
		args[i] = 1
	}
	rows, err := db.Query("EXPLAIN QUERY PLAN "+query, args...)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var plan strings.Builder
	for rows.Next() {
		var id, parent, unused int
		var detail string
		if err := rows.Scan(&id, &parent, &unused, &detail); err != nil {
			t.Fatal(err)
		}
		plan.WriteString(detail + "\n")
	}
	return plan.String()
}

// scansTable reports a full scan: no index, and not a walk along the primary key
// that a LIMIT ends.
func scansTable(detail, query string) bool {
	walk := !strings.Contains(query, "WHERE") && strings.Contains(query, "LIMIT")
	sub := strings.HasPrefix(detail, "SCAN (subquery")
	return strings.HasPrefix(detail, "SCAN ") && !strings.Contains(detail, "USING") && !walk && !sub
}
