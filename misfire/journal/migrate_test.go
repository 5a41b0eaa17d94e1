package journal

import (
	"context"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Migrations are exercised with steps that follow the real ones.
func TestMigrationIsWholeOrNotAtAll(t *testing.T) {
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "journal.db")
	db, conn, err := connect(path, "_foreign_keys=1")
	require.NoError(t, err)
	defer db.Close()
	defer conn.Close()
	version := func() int {
		id, err := identify(ctx, conn)
		require.NoError(t, err)
		assert.Equal(t, applicationID, id.application)
		return id.version
	}
	require.NoError(t, migrate(ctx, conn, migrations()))
	assert.Equal(t, len(migrations()), version())

	good := "ALTER TABLE jobs ADD COLUMN price REAL"
	bad := "CREATE TABLE half (id INTEGER PRIMARY KEY); CREATE TABLE jobs (id INTEGER)"
	require.Error(t, migrate(ctx, conn, append(migrations(), good, bad)))
	assert.Equal(t, len(migrations())+1, version(), "as far as the last whole step")
	columns, err := columnsIn(ctx, conn, "jobs")
	require.NoError(t, err)
	assert.Contains(t, columns, column{"price", "REAL"})
	half, err := columnsIn(ctx, conn, "half")
	require.NoError(t, err)
	assert.Empty(t, half)
	require.NoError(t, migrate(ctx, conn, append(migrations(), good)), "and again does nothing")
}

// Every column of the schema must be known to those who copy rows: a table that is not in the list would be lost in
// a salvage and left out of an export.
func TestAllTablesAreCopied(t *testing.T) {
	ctx := context.Background()
	db, conn, err := connect(filepath.Join(t.TempDir(), "journal.db"), "")
	require.NoError(t, err)
	defer db.Close()
	defer conn.Close()
	require.NoError(t, migrate(ctx, conn, migrations()))
	rows, err := conn.QueryContext(ctx, "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
	require.NoError(t, err)
	defer rows.Close()
	var names []string
	for rows.Next() {
		var name string
		require.NoError(t, rows.Scan(&name))
		names = append(names, name)
	}
	assert.ElementsMatch(t, names, tables())
	for _, name := range names {
		columns, err := columnsIn(ctx, conn, name)
		require.NoError(t, err)
		assert.Equal(t, "id", columns[0].name)
		for _, c := range columns {
			pointsElsewhere := strings.HasSuffix(c.name, "_id")
			assert.Equal(t, pointsElsewhere, parents()[c.name] != "", "%s.%s", name, c.name)
		}
	}
}
