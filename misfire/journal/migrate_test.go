package journal

import (
	"compress/gzip"
	"context"
	"io"
	"os"
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
	assert.Equal(t, newest, version())

	good := migration{newest, newest + 1, "ALTER TABLE jobs ADD COLUMN price REAL"}
	bad := migration{newest + 1, newest + 2, "CREATE TABLE half (id INTEGER PRIMARY KEY); CREATE TABLE jobs (id INTEGER)"}
	require.Error(t, migrate(ctx, conn, append(migrations(), good, bad)))
	assert.Equal(t, newest+1, version(), "as far as the last whole step")
	columns, err := columnsIn(ctx, conn, "jobs")
	require.NoError(t, err)
	assert.Contains(t, columns, column{"price", "REAL"})
	half, err := columnsIn(ctx, conn, "half")
	require.NoError(t, err)
	assert.Empty(t, half)
	require.NoError(t, migrate(ctx, conn, append(migrations(), good)), "and again does nothing")
}

// A file that was brought up to date is as one that was begun by the newest version, but for the text of its schema;
// salvaging lends a damaged file the first page of a new one.
func TestMigratedFileIsAsANewOne(t *testing.T) {
	ctx := context.Background()
	shape := func(begin func(path string)) (all []string) {
		path := filepath.Join(t.TempDir(), "journal.db")
		begin(path)
		db, conn, err := connect(path, "")
		require.NoError(t, err)
		defer db.Close()
		defer conn.Close()
		require.NoError(t, migrate(ctx, conn, migrations()))
		rows, err := conn.QueryContext(ctx, `SELECT s.type || ' ' || s.name || ' ' || s.rootpage || ' ' || coalesce(group_concat(c.name || ' ' || c.type || c."notnull" || coalesce(c.dflt_value, ''), ','), '')
			FROM sqlite_schema s LEFT JOIN pragma_table_info(s.name) c WHERE s.name NOT LIKE 'sqlite_s%' GROUP BY s.name ORDER BY s.name`)
		require.NoError(t, err)
		defer rows.Close()
		for rows.Next() {
			var one string
			require.NoError(t, rows.Scan(&one))
			all = append(all, one)
		}
		return all
	}
	want := shape(func(string) {})
	assert.Greater(t, len(want), 20)
	for _, name := range []string{"version-1-first", "version-1"} {
		assert.Equal(t, want, shape(func(path string) {
			file, err := os.Open(filepath.Join("testdata", "journals", name+".db.gz"))
			require.NoError(t, err)
			defer file.Close()
			z, err := gzip.NewReader(file)
			require.NoError(t, err)
			data, err := io.ReadAll(z)
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(path, data, 0o600))
		}))
	}
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
	var known []string
	for _, table := range tables() {
		known = append(known, table.name)
	}
	assert.ElementsMatch(t, names, known)
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

// The first page that a damaged file is lent holds all of its schema: a leaf of a table, by the SQLite file format 1.6.
func TestFirstPageHoldsTheSchema(t *testing.T) {
	path := filepath.Join(t.TempDir(), "first")
	require.NoError(t, makeFirst(context.Background(), path))
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	const leafOfTable, header = 13, 100
	assert.Equal(t, byte(leafOfTable), file[header])
}

// A block that is full when its last record was just saved waits to be saved once more, compressed.
func TestFullBlockWaitsToBeZipped(t *testing.T) {
	full := &block{row: row{count: 3}, count: 3, saved: 3, full: true}
	l := stream{wait: []*block{full}, now: full}
	l.settle()
	assert.Equal(t, []*block{full}, l.wait)
	assert.False(t, l.behind())
	full.zipped = true
	l.settle()
	assert.Empty(t, l.wait)
}

func TestTooMuchIsNotTakenIn(t *testing.T) {
	require.ErrorIs(t, (&importer{rows: 200_000}).put(&copied{}, ""), errTooMuch)
	path := filepath.Join(t.TempDir(), "spooled")
	require.NoError(t, spool(path, strings.NewReader("0123456789"), 10))
	require.ErrorIs(t, spool(path+"2", strings.NewReader("0123456789"), 5), errTooMuch)
	info, err := os.Stat(path + "2")
	require.NoError(t, err)
	assert.Equal(t, int64(6), info.Size(), "no more is put on the disk")
}

// What waited for long is saved in transactions of a few MiB.
func TestLongWaitIsSavedInParts(t *testing.T) {
	r := &Recorder{journal: &Journal{}}
	for range 4 {
		r.sampled.wait = append(r.sampled.wait, &block{row: row{count: 1, data: make([]byte, 3<<20)}})
	}
	b, more := r.take()
	assert.True(t, more)
	assert.Len(t, b.streams[0].rows, 2)
}

// A migration of a version 1 that fails at its last statement leaves the file as it was.
func TestFailedMigrationLeavesTheOldFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	db, conn, err := connect(path, "")
	require.NoError(t, err)
	defer db.Close()
	defer conn.Close()
	ctx := context.Background()
	_, err = conn.ExecContext(ctx, `CREATE TABLE drives (id INTEGER PRIMARY KEY, protocol TEXT); INSERT INTO drives VALUES (1, 'ISO 9141-2');
		CREATE TABLE samples (id INTEGER PRIMARY KEY); CREATE TABLE exchanges (id INTEGER PRIMARY KEY); PRAGMA user_version = 1`)
	require.NoError(t, err)
	step := migrations()[1]
	step.statements += "; SELECT * FROM nowhere"
	require.Error(t, migrate(ctx, conn, []migration{step}))
	id, err := identify(ctx, conn)
	require.NoError(t, err)
	assert.Equal(t, identity{version: 1, tables: 3}, id)
	columns, err := columnsIn(ctx, conn, "samples")
	require.NoError(t, err)
	assert.Len(t, columns, 1)
	var protocol string
	require.NoError(t, conn.QueryRowContext(ctx, "SELECT protocol FROM drives").Scan(&protocol))
	assert.Equal(t, "ISO 9141-2", protocol)
	require.NoError(t, migrate(ctx, conn, migrations()[:2]))
	require.NoError(t, conn.QueryRowContext(ctx, "SELECT protocol FROM drives").Scan(&protocol))
	assert.Equal(t, "3", protocol)
}
