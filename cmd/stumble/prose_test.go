package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// mayCompose are the files and folders below views that compose texts all the same, and why. What no longer does goes.
func mayCompose() map[string]string {
	return map[string]string{
		"misfire/journal/import.go": "names a row in the text of an error",
		"misfire/proof/side.go":     "names a drive in the text of an error",
		"obd/link/":                 "what to do about an error of a port is part of its text; a recording begins with a comment",
		"obd/sim/":                  "a simulated car and adapter speak for themselves",
		"obd/tests.go":              "names of the standard's monitors and tests, which have a number in them; exports carry them as data",
	}
}

// permit is the entry of mayCompose that a file falls under, "" for none.
func permit(allowed map[string]string, name string) string {
	for prefix := range allowed {
		if name == prefix || strings.HasSuffix(prefix, "/") && strings.HasPrefix(name, prefix) {
			return prefix
		}
	}
	return ""
}

// Results are data below views: no text of several words is put together there by fmt.Sprintf or by adding strings. Errors
// may have texts, which fmt.Errorf, errors.New and methods called Error give, and so may a panic; SQL is no prose.
func TestNoProseBelowViews(t *testing.T) {
	allowed := mayCompose()
	used := map[string]bool{}
	for _, top := range [...]string{"obd", "misfire"} {
		err := filepath.WalkDir(filepath.Join(root(t), top), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
			require.NoError(t, err)
			name, err := filepath.Rel(root(t), path)
			require.NoError(t, err)
			for _, text := range composed(file) {
				by := permit(allowed, filepath.ToSlash(name))
				if by == "" {
					t.Errorf("%s composes %q: give a kind with numbers, and word it in views/say", name, text)
				}
				used[by] = true
			}
			return nil
		})
		require.NoError(t, err)
	}
	for name := range allowed {
		assert.True(t, used[name], "%s composes nothing any more", name)
	}
}

// composed are the texts that a file puts together.
func composed(file *ast.File) (texts []string) {
	prose := regexp.MustCompile(`[A-Za-z][,;:.]? [A-Za-z]`)
	sql := regexp.MustCompile(`\b(SELECT|INSERT|INTO|UPDATE|DELETE|PRAGMA|CREATE|ALTER|FROM|WHERE|VALUES|ORDER BY|VACUUM|ATTACH)\b`)
	keep := func(n ast.Expr) {
		ast.Inspect(n, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
				if text, err := strconv.Unquote(lit.Value); err == nil && prose.MatchString(text) && !sql.MatchString(text) {
					texts = append(texts, text)
				}
			}
			_, call := n.(*ast.CallExpr)
			return !call
		})
	}
	look := func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.FuncDecl:
			return n.Name.Name != "Error"
		case *ast.CallExpr:
			if called, ok := n.Fun.(*ast.Ident); ok && called.Name == "panic" {
				return false
			}
			sel, ok := n.Fun.(*ast.SelectorExpr)
			if ok && (sel.Sel.Name == "Errorf" || sel.Sel.Name == "New") {
				return false
			}
			if ok && sel.Sel.Name == "Sprintf" && len(n.Args) > 0 {
				keep(n.Args[0])
			}
		case *ast.BinaryExpr:
			if n.Op == token.ADD {
				keep(n)
				return false
			}
		}
		return true
	}
	ast.Inspect(file, look)
	return texts
}

// The rule sees what it is to see.
func TestProseIsSeen(t *testing.T) {
	const source = `package p
import ("errors"; "fmt")
func f(n int) string { return fmt.Sprintf("cylinder %d misses", n) }
func g(s string) string { return "measured: " + s + " is even" }
func h(n int) error { return fmt.Errorf("no cylinder %d here", n) }
func i() error { return errors.New("nothing " + "is here") }
func j(s string) { panic("no such thing: " + s) }
type e struct{}
func (e) Error() string { return fmt.Sprintf("a fault of %d", 1) }
var q = "SELECT a FROM b WHERE " + c
var key = fmt.Sprintf("step-%d", 1)
`
	file, err := parser.ParseFile(token.NewFileSet(), "p.go", source, 0)
	require.NoError(t, err)
	assert.Equal(t, []string{"cylinder %d misses", " is even"}, composed(file))
}
