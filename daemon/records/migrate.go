package records

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"path"
	"strconv"
	"strings"
)

//go:embed schema/*.sql
var schema embed.FS

// migration is one numbered step of the layout.
type migration struct {
	number int
	name   string
	text   string
}

// migrations lists the steps in order: 0001_…, 0002_…, without a gap.
func migrations() ([]migration, error) {
	files, err := schema.ReadDir("schema") // sorted by name
	if err != nil {
		return nil, err
	}
	var ms []migration
	for i, f := range files {
		digits, _, _ := strings.Cut(f.Name(), "_")
		n, err := strconv.Atoi(digits)
		if err != nil || n != i+1 {
			return nil, fmt.Errorf("schema/%s: want number %04d", f.Name(), i+1)
		}
		b, err := schema.ReadFile(path.Join("schema", f.Name()))
		if err != nil {
			return nil, err
		}
		ms = append(ms, migration{n, f.Name(), string(b)})
	}
	return ms, nil
}

// migrate brings the database to the newest layout, one transaction a step.
func migrate(ctx context.Context, db *sql.DB) error {
	ms, err := migrations()
	if err != nil {
		return err
	}
	return migrateTo(ctx, db, ms, len(ms))
}

func migrateTo(ctx context.Context, db *sql.DB, ms []migration, target int) error {
	var at int
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&at); err != nil {
		return fmt.Errorf("read layout number: %w", err)
	}
	if at > len(ms) {
		return fmt.Errorf("database has layout %d, this program knows up to %d; install the newer program again", at, len(ms))
	}
	for _, m := range ms[at:max(at, target)] {
		if err := step(ctx, db, m); err != nil {
			return fmt.Errorf("schema/%s: %w", m.name, err)
		}
	}
	return nil
}

func step(ctx context.Context, db *sql.DB, m migration) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	// The number is part of the transaction: a step is done whole or not at all.
	if _, err := tx.ExecContext(ctx, m.text+fmt.Sprintf(";\nPRAGMA user_version = %d", m.number)); err != nil {
		_ = tx.Rollback()
		return err
	}
	return tx.Commit()
}
