package notify

import (
	"context"
	"encoding/json"

	"github.com/rs/zerolog"

	"ohmdrift/daemon/records"
)

// LogSink is the name of the log in the outbox.
const LogSink = "log"

// Log writes each notice as one line of the log, with the fields of the finding
// as they are in the replay output.
type Log struct{ to zerolog.Logger }

// NewLog makes the sink.
func NewLog(to zerolog.Logger) Log { return Log{to} }

// Name is LogSink.
func (Log) Name() string { return LogSink }

// Send writes the line: a warning, or for information and clears an info line.
func (l Log) Send(_ context.Context, m *records.Message) error {
	var f struct{ State, Severity string }
	if err := json.Unmarshal(m.Body, &f); err != nil {
		return &Failure{Permanent: true, Cause: err}
	}
	level := zerolog.WarnLevel
	switch {
	case f.State == "cleared" || f.Severity == "info":
		level = zerolog.InfoLevel
	case f.Severity == "failure":
		level = zerolog.ErrorLevel
	}
	l.to.WithLevel(level).Str("loop", m.Loop).Str("key", m.Key).RawJSON("finding", m.Body).Msg("finding " + f.State)
	return nil
}
