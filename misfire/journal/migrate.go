package journal

import (
	"context"
	"database/sql"
	_ "embed"
	"fmt"
	"slices"
	"strings"
)

//go:embed schema.sql
var schema string

// applicationID marks a SQLite file as a journal: "STBL".
const applicationID = 0x5354424c

// newest is the version of the schema that this program writes.
const newest = 4

// migration leads from one version of the schema to a later one. Released ones never change.
type migration struct {
	from, to   int
	statements string
}

// migrations begin an empty file, and lead to the newest version from each older one.
func migrations() []migration {
	return []migration{
		{0, newest, schema}, {1, 2, addForms + protocolCodes()}, {2, 3, addKnown}, {3, 4, addDeeds},
	}
}

// addForms marks the blocks of version 1 as packed; they stay as they are.
const addForms = `
ALTER TABLE samples ADD COLUMN form INTEGER NOT NULL DEFAULT 0;
ALTER TABLE exchanges ADD COLUMN form INTEGER NOT NULL DEFAULT 0;`

// addKnown adds the table of what is remembered.
const addKnown = `
CREATE TABLE known (
    id    INTEGER PRIMARY KEY,
    kind  TEXT NOT NULL,
    name  TEXT NOT NULL,
    at_ns INTEGER NOT NULL,
    data  TEXT NOT NULL,
    UNIQUE (kind, name)
) STRICT;`

// addDeeds gives notes what was done, with a history, and tells which job was in hand last: until somebody has one in
// hand, the one that was begun last.
const addDeeds = `
ALTER TABLE jobs ADD COLUMN touched INTEGER NOT NULL DEFAULT 0;
ALTER TABLE jobs ADD COLUMN touched_ns INTEGER NOT NULL DEFAULT -9223372036854775808;
ALTER TABLE notes ADD COLUMN kind TEXT NOT NULL DEFAULT '';
ALTER TABLE notes ADD COLUMN part TEXT NOT NULL DEFAULT '';
ALTER TABLE notes ADD COLUMN cylinder INTEGER NOT NULL DEFAULT 0;
ALTER TABLE notes ADD COLUMN other INTEGER NOT NULL DEFAULT 0;
ALTER TABLE notes ADD COLUMN written_ns INTEGER NOT NULL DEFAULT -9223372036854775808;
ALTER TABLE notes ADD COLUMN after_drive TEXT;
ALTER TABLE notes ADD COLUMN version_of TEXT NOT NULL DEFAULT '';
ALTER TABLE notes ADD COLUMN until_ns INTEGER;
ALTER TABLE intakes ADD COLUMN after_drive TEXT;`

// protocolCodes puts a number in the place of each protocol that version 1 stored by its words.
func protocolCodes() string {
	var statements strings.Builder
	for words, p := range protocolWords() {
		fmt.Fprintf(&statements, "\nUPDATE drives SET protocol = '%s' WHERE protocol = '%s';", protocolCode(p), words)
	}
	return statements.String()
}

// identity is what a SQLite file says of itself.
type identity struct {
	application, version, tables int
}

// identify asks in one statement, so that no other program can begin the file between one answer and the next.
func identify(ctx context.Context, conn *sql.Conn) (id identity, err error) {
	err = conn.QueryRowContext(ctx, `SELECT (SELECT application_id FROM pragma_application_id),
		(SELECT user_version FROM pragma_user_version), (SELECT count(*) FROM sqlite_schema)`).Scan(&id.application, &id.version, &id.tables)
	return id, err
}

// migrate brings the file to the newest version, each step whole or not at all: until a step is committed the file
// holds what it held, whatever becomes of the program. Another program may be doing the same: the version is read again
// inside the transaction.
func migrate(ctx context.Context, conn *sql.Conn, steps []migration) error {
	for {
		id, err := identify(ctx, conn)
		if err != nil {
			return err
		}
		next := slices.IndexFunc(steps, func(m migration) bool { return m.from == id.version })
		if next < 0 {
			return nil
		}
		if id.version == 0 {
			// Room of deleted jobs is given back to the disk; this can only be said before the first table.
			if _, err := conn.ExecContext(ctx, "PRAGMA auto_vacuum = INCREMENTAL"); err != nil {
				return err
			}
		}
		if err := steps[next].do(ctx, conn); err != nil {
			return err
		}
	}
}

func (m migration) do(ctx context.Context, conn *sql.Conn) error {
	return transaction(ctx, conn, func(t tx) error {
		id, err := identify(ctx, conn)
		if err != nil || id.version != m.from {
			return err
		}
		const mark = "%s; PRAGMA application_id = %d; PRAGMA user_version = %d"
		return t.exec(fmt.Sprintf(mark, m.statements, applicationID, m.to))
	})
}
