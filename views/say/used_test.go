package say

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/views/say/catalogue"
)

// source are the files of the packages that tell messages, but for their tests.
func source(t testing.TB) map[string]*ast.File {
	t.Helper()
	files := make(map[string]*ast.File)
	for _, pattern := range [...]string{"*.go", "../report/*.go"} {
		paths, err := filepath.Glob(pattern)
		require.NoError(t, err)
		for _, path := range paths {
			if !strings.HasSuffix(path, "_test.go") {
				files[path], err = parser.ParseFile(token.NewFileSet(), path, nil, 0)
				require.NoError(t, err)
			}
		}
	}
	return files
}

// literal is the text of a string as it stands in the source.
func literal(n ast.Node) (string, bool) {
	l, ok := n.(*ast.BasicLit)
	if !ok || l.Kind != token.STRING {
		return "", false
	}
	text, err := strconv.Unquote(l.Value)
	return text, err == nil
}

// Words joined by hyphens are keys in these packages, and nothing else: each must be in the catalogue, and all of the
// catalogue must be used.
func TestEveryMessageIsThereAndUsed(t *testing.T) {
	isKey := regexp.MustCompile(`^[a-z]+(-[a-z0-9]+)+$`)
	used := make(map[catalogue.Key]bool)
	words := catalogue.English()
	for path, file := range source(t) {
		if name := filepath.Base(path); name == "html.go" || strings.HasPrefix(name, "pdf") {
			continue // classes and properties of style sheets look the same
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if text, ok := literal(n); ok && isKey.MatchString(text) {
				used[catalogue.Key(text)] = true
				assert.Contains(t, words.Keys(), catalogue.Key(text), path)
			}
			return true
		})
	}
	for _, key := range words.Keys() {
		assert.True(t, used[key], "%s is told nowhere", key)
	}
}

// A message is given as many things as it is about.
func TestMessagesAreGivenWhatTheyAreAbout(t *testing.T) {
	words := catalogue.English()
	looked := 0
	for path, file := range source(t) {
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) == 0 || call.Ellipsis != token.NoPos {
				return true
			}
			sel, ok := call.Fun.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			key, ok := literal(call.Args[0])
			if !ok {
				return true
			}
			given := len(call.Args) - 1
			switch sel.Sel.Name {
			case "tell", "count": // count writes the number that it is given
			case "Count":
				given--
			default:
				return true
			}
			places, err := words.Places(catalogue.Key(key))
			require.NoError(t, err)
			assert.Equal(t, places, given, "%s: %s", path, key)
			looked++
			return true
		})
	}
	assert.Greater(t, looked, 100)
}
