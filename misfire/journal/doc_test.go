package journal_test

import (
	"database/sql"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The queries of the package's comment are run as they stand there, without this program.
func TestDocumentedQueriesWork(t *testing.T) {
	j := fresh(t)
	worked(t, j)
	text, err := os.ReadFile("doc.go")
	require.NoError(t, err)
	var examples []string
	for _, part := range strings.Split(string(text), "//\n") {
		if query, ok := strings.CutPrefix(part, "//\tSELECT"); ok {
			examples = append(examples, "SELECT"+strings.ReplaceAll(query, "//\t", ""))
		}
	}
	require.Len(t, examples, 4)
	db, err := sql.Open("sqlite", j.Path())
	require.NoError(t, err)
	defer db.Close()
	for _, example := range examples {
		example = strings.Replace(example, "job_id = 3", "job_id = 1", 1)
		rows, err := db.Query(example)
		require.NoError(t, err, example)
		assert.True(t, rows.Next(), example)
		require.NoError(t, rows.Close())
	}
}
