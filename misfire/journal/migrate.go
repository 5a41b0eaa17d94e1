package journal

import (
	"context"
	"database/sql"
	_ "embed"
	"fmt"
)

//go:embed schema.sql
var schema string

// applicationID marks a SQLite file as a journal: "STBL".
const applicationID = 0x5354424c

// migrations lead from each version of the schema to the next, beginning with the empty file. A released one never
// changes; a new version is one more.
func migrations() []string { return []string{schema} }

// identity is what a SQLite file says of itself.
type identity struct {
	application, version, tables int
}

func identify(ctx context.Context, conn *sql.Conn) (id identity, err error) {
	for query, to := range map[string]*int{
		"PRAGMA application_id":              &id.application,
		"PRAGMA user_version":                &id.version,
		"SELECT count(*) FROM sqlite_schema": &id.tables,
	} {
		if err := conn.QueryRowContext(ctx, query).Scan(to); err != nil {
			return id, err
		}
	}
	return id, nil
}

// migrate brings the file to the newest version, each step whole or not at all. Another program may be doing the
// same: the version is read again inside the transaction.
func migrate(ctx context.Context, conn *sql.Conn, steps []string) error {
	for {
		id, err := identify(ctx, conn)
		if err != nil || id.version >= len(steps) {
			return err
		}
		if id.version == 0 {
			// Room of deleted jobs is given back to the disk; this can only be said before the first table.
			if _, err := conn.ExecContext(ctx, "PRAGMA auto_vacuum = INCREMENTAL"); err != nil {
				return err
			}
		}
		if err := step(ctx, conn, id.version, steps[id.version]); err != nil {
			return err
		}
	}
}

func step(ctx context.Context, conn *sql.Conn, from int, statements string) error {
	return transaction(ctx, conn, func(t tx) error {
		id, err := identify(ctx, conn)
		if err != nil || id.version != from {
			return err
		}
		return t.exec(fmt.Sprintf("%s; PRAGMA application_id = %d; PRAGMA user_version = %d", statements, applicationID, from+1))
	})
}
