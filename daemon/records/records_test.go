package records

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"go.uber.org/goleak"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// childDir is the environment variable that makes the test program another
// daemon.
const childDir = "OHMDRIFT_TEST_RECORDS"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		child(dir)
	}
	goleak.VerifyTestMain(m)
}

// child holds the folder, records one finding, says so and waits to be killed.
func child(dir string) {
	s, err := Open(dir)
	if err == nil {
		s.SetSinks("log")
		err = s.Transition(context.Background(), []finding.Finding{drift(finding.Raised, 0)})
	}
	fmt.Println("recorded", err)
	select {}
}

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// drift is what the engine says of one lead after so many hours.
func drift(state finding.State, hours int) finding.Finding {
	return finding.Finding{
		Time: noon.Add(time.Duration(hours) * time.Hour), Loop: "TT-1204", Kind: finding.LeadDrift,
		Leads: finding.LeadsOf(measure.B1), State: state, Severity: finding.Maintenance, Since: noon.AddDate(0, 0, -9),
		Contact: 0.0421, Error: quantity.DeltaC(-0.1094 + float64(hours)/1000), U: 0.031, POverLimit: math.NaN(), Confidence: 0.97,
		Forecast: &finding.Forecast{
			State: finding.Dated, Quantity: finding.ErrorLimit, Value: -0.25, Unit: "degC",
			P10: noon.AddDate(0, 1, 0), P50: noon.AddDate(0, 2, 0), P90: noon.AddDate(0, 3, 0),
		},
		Engine: "drift/1", Evidence: "b1 has 42 mΩ more than its copper",
	}
}

func open(t *testing.T) *Store {
	t.Helper()
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	s.SetSinks("log", "webhook")
	return s
}

func say(t *testing.T, s *Store, fs ...finding.Finding) {
	t.Helper()
	if err := s.Transition(t.Context(), fs); err != nil {
		t.Fatal(err)
	}
}

func waiting(t *testing.T, s *Store, sink string) int {
	t.Helper()
	n, err := s.WaitingMessages(t.Context(), sink)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

var exactly = cmp.Options{cmpopts.EquateNaNs(), cmpopts.EquateEmpty()}

func TestAFindingIsWhatWasSaidOfIt(t *testing.T) {
	s := open(t)
	raised, updated, cleared := drift(finding.Raised, 0), drift(finding.Updated, 24), drift(finding.Cleared, 48)
	for i, f := range []finding.Finding{raised, updated} {
		say(t, s, f)
		open, err := s.OpenFindings(t.Context())
		if diff := cmp.Diff([]finding.Finding{f}, open, exactly); err != nil || diff != "" {
			t.Errorf("after step %d: %v\n%s", i, err, diff)
		}
	}
	say(t, s, cleared)
	if open, err := s.OpenFindings(t.Context()); err != nil || len(open) != 0 {
		t.Errorf("open after the clear: %v %v", open, err)
	}
	all, err := s.Events(t.Context(), "TT-1204")
	if diff := cmp.Diff([]finding.Finding{raised, updated, cleared}, all, exactly); err != nil || diff != "" {
		t.Errorf("history: %v\n%s", err, diff)
	}
	if st := s.Stats(); st.Recorded != 3 || st.Notices != 6 || waiting(t, s, "webhook") != 3 {
		t.Errorf("%+v, want 3 events and a notice for each of 2 sinks", st)
	}
}

// A restart replays from the snapshot, so the engine says some things again.
func TestSayingItAgainChangesNothing(t *testing.T) {
	s := open(t)
	story := []finding.Finding{drift(finding.Raised, 0), drift(finding.Updated, 24), drift(finding.Cleared, 48), drift(finding.Raised, 72)}
	say(t, s, story...)
	before, _ := s.Events(t.Context(), "TT-1204")
	say(t, s, story...)
	after, _ := s.Events(t.Context(), "TT-1204")
	if diff := cmp.Diff(before, after, exactly); diff != "" || waiting(t, s, "log") != 4 {
		t.Errorf("%d notices, want 4\n%s", waiting(t, s, "log"), diff)
	}
	if st := s.Stats(); st.Repeated != 4 {
		t.Errorf("%+v, want 4 repeated", st)
	}
}

func TestOddTransitions(t *testing.T) {
	other := drift(finding.Updated, 5)
	other.Leads = finding.LeadsOf(measure.B1, measure.B2)
	second := drift(finding.Raised, 1)
	second.Leads = finding.LeadsOf(measure.A1)
	tests := []struct {
		name    string
		say     []finding.Finding
		states  []finding.State // on record
		open    int
		notices int
	}{
		{"clear of what is not open", []finding.Finding{drift(finding.Cleared, 0)}, nil, 0, 0},
		{"update of what is not open raises it", []finding.Finding{drift(finding.Updated, 0)}, []finding.State{finding.Raised}, 1, 1},
		{"raise of what is open is no news", []finding.Finding{drift(finding.Raised, 0), drift(finding.Raised, 1)}, []finding.State{finding.Raised, finding.Updated}, 1, 1},
		{"leads grow", []finding.Finding{drift(finding.Raised, 0), other}, []finding.State{finding.Raised, finding.Updated}, 1, 2},
		{"another lead is another finding", []finding.Finding{drift(finding.Raised, 0), second}, []finding.State{finding.Raised, finding.Raised}, 2, 2},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			s := open(t)
			say(t, s, test.say...)
			all, err := s.Events(t.Context(), "TT-1204")
			if err != nil {
				t.Fatal(err)
			}
			var states []finding.State
			for _, f := range all {
				states = append(states, f.State)
			}
			now, _ := s.OpenFindings(t.Context())
			if !cmp.Equal(states, test.states) || len(now) != test.open || waiting(t, s, "log") != test.notices {
				t.Errorf("states %v, %d open, %d notices; want %v, %d, %d", states, len(now), waiting(t, s, "log"), test.states, test.open, test.notices)
			}
		})
	}
}

// One bad finding, and nothing of the call has happened: no event without its
// notice, no notice without its event.
func TestATransitionIsAllOrNothing(t *testing.T) {
	s := open(t)
	if _, err := s.write.Exec(`CREATE TRIGGER no_notice BEFORE INSERT ON outbox WHEN NEW.loop = 'TT-9' BEGIN SELECT RAISE(ABORT, 'no room'); END`); err != nil {
		t.Fatal(err)
	}
	bad := drift(finding.Raised, 0)
	bad.Loop = "TT-9"
	err := s.Transition(t.Context(), []finding.Finding{drift(finding.Raised, 0), bad})
	if err == nil || !strings.Contains(err.Error(), "TT-9") {
		t.Errorf("error %v, want one that names TT-9", err)
	}
	if open, _ := s.OpenFindings(t.Context()); len(open) != 0 || waiting(t, s, "log") != 0 || s.Stats() != (Stats{}) {
		t.Errorf("%v, %d notices, %+v: want nothing", open, waiting(t, s, "log"), s.Stats())
	}
}

func TestTheRecordRefusesToChange(t *testing.T) {
	s := open(t)
	say(t, s, drift(finding.Raised, 0))
	if err := s.Audit(t.Context(), AuditEntry{Time: noon, Who: "signal", Action: "config-loaded", Subject: "plant.yaml", Diff: "+ TT-9", Hash: "ab"}); err != nil {
		t.Fatal(err)
	}
	if err := s.AddJournal(t.Context(), JournalEntry{noon, "TT-1204", "kim", "terminal 14 retightened"}); err != nil {
		t.Fatal(err)
	}
	for _, q := range []string{
		"UPDATE finding_event SET evidence = 'none'", "DELETE FROM finding_event", "UPDATE audit SET who = 'nobody'", "DELETE FROM audit",
		"UPDATE journal SET text = ''", "DELETE FROM journal",
	} {
		if _, err := s.write.Exec(q); err == nil || !strings.Contains(err.Error(), "never") {
			t.Errorf("%s: %v, want a refusal", q, err)
		}
	}
	as, err := s.Audits(t.Context(), 10)
	if err != nil || len(as) != 1 || as[0].Diff != "+ TT-9" || !as[0].Time.Equal(noon) {
		t.Errorf("audit %v %v", as, err)
	}
	js, err := s.Journal(t.Context(), "TT-1204")
	if err != nil || len(js) != 1 || js[0] != (JournalEntry{noon, "TT-1204", "kim", "terminal 14 retightened"}) {
		t.Errorf("journal %v %v", js, err)
	}
}

func TestSnapshotsAreReplaced(t *testing.T) {
	s := open(t)
	for hour := range 3 {
		at := noon.Add(time.Duration(hour) * time.Hour)
		err := s.SaveSnapshots(t.Context(), map[string]Snapshot{"TT-1": {at, []byte{1, byte(hour)}}, "TT-2": {at, []byte{2, byte(hour)}}})
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := s.SaveSnapshot(t.Context(), "TT-2", Snapshot{noon, []byte{0}}); err != nil {
		t.Fatal(err)
	}
	got, err := s.LoadSnapshots(t.Context())
	want := map[string]Snapshot{"TT-1": {noon.Add(2 * time.Hour), []byte{1, 2}}, "TT-2": {noon, []byte{0}}}
	if diff := cmp.Diff(want, got, exactly); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
}

// Another process with the folder: refused, with who has it; after a kill the
// folder is free and what was recorded is there.
func TestOneDaemonAFolderAndItSurvivesAKill(t *testing.T) {
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
	_, refused := Open(dir)
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait()
	if line != "recorded <nil>\n" {
		t.Fatalf("child: %q", line)
	}
	if !errors.Is(refused, ErrInUse) || !strings.Contains(refused.Error(), fmt.Sprint("process ", cmd.Process.Pid)) || !strings.Contains(refused.Error(), "store.dir") {
		t.Errorf("second daemon: %v", refused)
	}
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	open, err := s.OpenFindings(t.Context())
	if diff := cmp.Diff([]finding.Finding{drift(finding.Raised, 0)}, open, exactly); err != nil || diff != "" || waiting(t, s, "log") != 1 {
		t.Errorf("%v, %d notices\n%s", err, waiting(t, s, "log"), diff)
	}
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "state.db"), []byte(strings.Repeat("not a database ", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "state.db") {
		t.Errorf("damaged file: %v", err)
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(file); err == nil || !strings.Contains(err.Error(), "file") {
		t.Errorf("folder is a file: %v", err)
	}
	if s, err := Open(dir); err == nil {
		s.Close()
	} else if errors.Is(err, ErrInUse) {
		t.Errorf("a failed Open keeps the lock: %v", err)
	}
}
