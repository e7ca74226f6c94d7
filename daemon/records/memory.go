package records

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

const saveMemory = `
INSERT INTO memory (name, body) VALUES (?, ?)
ON CONFLICT (name) DO UPDATE SET body = excluded.body`

// SaveMemory keeps what a part of the daemon has learned, under its name.
func (s *Store) SaveMemory(ctx context.Context, name string, body []byte) error {
	if _, err := s.write.ExecContext(ctx, saveMemory, name, body); err != nil {
		return fmt.Errorf("memory of %s: %w", name, err)
	}
	return nil
}

const loadMemory = `SELECT body FROM memory WHERE name = ?`

// LoadMemory returns what was kept under a name last; nil when nothing was.
func (s *Store) LoadMemory(ctx context.Context, name string) ([]byte, error) {
	var body []byte
	err := s.read.QueryRowContext(ctx, loadMemory, name).Scan(&body)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("memory of %s: %w", name, err)
	}
	return body, nil
}
