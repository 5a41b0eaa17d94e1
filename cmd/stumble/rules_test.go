package main

import (
	"bytes"
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The rules of the house that a compiler does not keep. Rules that nobody checks fade.

const module = "stumble"

// root is the folder of the module.
func root(t testing.TB) string {
	t.Helper()
	path, err := filepath.Abs(filepath.Join("..", ".."))
	require.NoError(t, err)
	return path
}

// pkg is what go list tells of a package.
type pkg struct {
	ImportPath    string
	Imports, Deps []string
}

// packages are those of the module, by their path below it.
func packages(t testing.TB) map[string]pkg {
	t.Helper()
	list := exec.Command("go", "list", "-deps", "-json=ImportPath,Imports,Deps", "./...")
	list.Dir = root(t)
	out, err := list.Output()
	require.NoError(t, err)
	all := make(map[string]pkg)
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pkg
		err := d.Decode(&p)
		if err == io.EOF {
			return all
		}
		require.NoError(t, err)
		if path, ours := strings.CutPrefix(p.ImportPath, module+"/"); ours {
			all[path] = p
		}
	}
}

// within reports whether a package is one of a tree.
func within(path, tree string) bool { return path == tree || strings.HasPrefix(path, tree+"/") }

// Imports run one way: cmd -> views -> misfire -> obd. Inside obd each package may only know those named here.
func TestImportsRunOneWay(t *testing.T) {
	layers := []string{"obd", "misfire", "views", "cmd"}
	layer := func(path string) int {
		top, _, _ := strings.Cut(path, "/")
		at := slices.Index(layers, top)
		require.GreaterOrEqual(t, at, 0, "%s belongs to no layer: %v", path, layers)
		return at
	}
	allowed := map[string][]string{
		"obd":               {},
		"obd/clock":         {},
		"obd/frame":         {"obd"},
		"obd/link":          {"obd/clock"},
		"obd/link/linktest": {"obd/link", "obd/clock"},
		"obd/elm":           {"obd", "obd/clock", "obd/frame", "obd/uds"},
		"obd/uds":           {"obd"},
		"obd/counters":      {"obd"},
		"obd/vehicle":       {"obd", "obd/clock", "obd/counters", "obd/elm", "obd/uds"},
		"obd/sim":           {"obd", "obd/clock", "obd/link", "obd/sim/car"},
		"obd/sim/car":       {"obd"},
		"obd/sim/simtest":   {"obd", "obd/sim/car"},
	}
	for path, p := range packages(t) {
		may, inside := allowed[path]
		assert.Equal(t, layer(path) == 0, inside, "%s: say here what it may import", path)
		for _, imported := range p.Imports {
			other, ours := strings.CutPrefix(imported, module+"/")
			if !ours {
				continue
			}
			assert.GreaterOrEqual(t, layer(path), layer(other), "%s must not know %s", path, other)
			if inside {
				assert.Contains(t, may, other, "%s must not know %s", path, other)
			}
		}
	}
}

// What reaches outside is met in one place each, so that the rest can be tested without it.
func TestOnePlaceForEachOutsideThing(t *testing.T) {
	for path, p := range packages(t) {
		for _, dep := range p.Deps {
			if within(path, "obd") || within(path, "misfire") {
				assert.NotContains(t, dep, "github.com/gdamore/tcell", "%s must not know a screen", path)
			}
			if within(path, "misfire") {
				assert.NotEqual(t, "go.bug.st/serial", dep, "%s must not know a port", path)
				// Package job holds a dialogue, which is handed a clock; it has none of its own.
				assert.True(t, dep != module+"/obd/clock" || path == "misfire/job", "%s must not know the hour", path)
				assert.NotContains(t, []string{module + "/obd/link", module + "/obd/sim"}, dep, "%s must not know how an adapter is reached", path)
			}
			if within(path, "obd/sim") {
				assert.NotEqual(t, module+"/obd/elm", dep, "a fault of one could hide in the other")
			}
		}
		for _, imported := range p.Imports {
			if imported == module+"/obd/clock" {
				assert.False(t, within(path, "misfire"), "%s must not know the hour", path)
			}
			if path == "misfire/job" {
				assert.NotContains(t, []string{"flag", "os", "io", "github.com/spf13/cobra", "github.com/spf13/pflag", "golang.org/x/term"}, imported, "%s parses and prints nothing", path)
			}
			if strings.HasPrefix(imported, "github.com/gdamore/tcell") {
				assert.Equal(t, "views/screen", path, "only the screens know a terminal")
			}
			if strings.HasPrefix(imported, "go.bug.st/serial") {
				assert.Equal(t, "obd/link", path, "only the link knows serial ports")
			}
			if strings.Contains(imported, "/fpdf") {
				assert.Equal(t, "views/report/sheet", path, "only the sheet knows how a PDF is written")
			}
			if strings.HasPrefix(imported, "gonum.org/v1/plot") {
				assert.True(t, within(path, "views/report"), "%s must not draw charts", path)
			}
			if strings.HasPrefix(imported, "github.com/spf13/") {
				assert.Equal(t, "cmd/stumble", path, "only the command line knows how it is parsed")
			}
			if imported == "database/sql" || strings.Contains(imported, "sqlite") {
				assert.Equal(t, "misfire/journal", path, "only the journal knows a database")
			}
		}
	}
}

// source is one Go file of the product.
type source struct {
	path string // below the root, with slashes
	fset *token.FileSet
	file *ast.File
}

// sources are all Go files that are no tests, for every system.
func sources(t testing.TB) (all []source) {
	t.Helper()
	eachFile(t, func(path string, text []byte) {
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return
		}
		fset := token.NewFileSet()
		file, err := parser.ParseFile(fset, path, text, parser.ParseComments)
		require.NoError(t, err)
		all = append(all, source{path, fset, file})
	})
	require.NotEmpty(t, all)
	return all
}

// eachFile gives every file of the product, version control apart.
func eachFile(t testing.TB, take func(path string, text []byte)) {
	t.Helper()
	top := root(t)
	require.NoError(t, filepath.WalkDir(top, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() && entry.Name() == ".git" {
			return filepath.SkipDir
		}
		if !entry.Type().IsRegular() || entry.Name() == ".git" { // a file in a further working tree
			return nil
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		short, err := filepath.Rel(top, path)
		take(filepath.ToSlash(short), text)
		return err
	}))
}

// Time enters through a clock that is handed in: nothing else asks the system for it, or waits on it.
func TestOnlyTheClockAsksForTime(t *testing.T) {
	asks := map[string][]string{
		"time":    {"Now", "Since", "Until", "After", "AfterFunc", "Sleep", "NewTimer", "NewTicker", "Tick"},
		"context": {"WithTimeout", "WithTimeoutCause", "WithDeadline", "WithDeadlineCause"},
	}
	exceptions := map[string]string{ // file to reason
		"obd/clock/system.go": "it is the system's clock",
		"obd/clock/scaled.go": "it is the system's clock, hurried",
	}
	used := make(map[string]bool)
	for _, s := range sources(t) {
		ast.Inspect(s.file, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			name, ok := sel.X.(*ast.Ident)
			if !ok || !slices.Contains(asks[name.Name], sel.Sel.Name) || !imports(s.file, name.Name) {
				return true
			}
			used[s.path] = true
			assert.Contains(t, exceptions, s.path, "%s: %s.%s asks the system for time; take a clock", s.fset.Position(n.Pos()), name.Name, sel.Sel.Name)
			return true
		})
	}
	for path := range exceptions {
		assert.True(t, used[path], "%s needs no exception any more", path)
	}
}

// imports reports whether a file imports a package of the standard library under its own name.
func imports(f *ast.File, path string) bool {
	return slices.ContainsFunc(f.Imports, func(i *ast.ImportSpec) bool {
		return i.Path.Value == `"`+path+`"` && i.Name == nil
	})
}

// What lies at the level of a package is never changed: tables, errors that are compared with, embedded files.
func TestPackagesKeepNoState(t *testing.T) {
	byPackage := make(map[string][]source)
	for _, s := range sources(t) {
		dir := filepath.Dir(s.path)
		byPackage[dir] = append(byPackage[dir], s)
	}
	for _, files := range byPackage {
		vars := make(map[string]bool)
		for _, s := range files {
			for _, name := range packageVars(t, s) {
				vars[name] = true
			}
		}
		for _, s := range files {
			for _, d := range s.file.Decls {
				if f, ok := d.(*ast.FuncDecl); ok && f.Body != nil {
					requireUnchanged(t, s, f, vars)
				}
			}
		}
	}
}

// packageVars are a file's variables at the level of the package. One without a value could only be state, unless
// a file is embedded in it.
func packageVars(t *testing.T, s source) (names []string) {
	for _, d := range s.file.Decls {
		decl, ok := d.(*ast.GenDecl)
		if !ok || decl.Tok != token.VAR {
			continue
		}
		embedded := decl.Doc != nil && strings.Contains(decl.Doc.List[len(decl.Doc.List)-1].Text, "//go:embed")
		for _, spec := range decl.Specs {
			v := spec.(*ast.ValueSpec)
			assert.True(t, embedded || len(v.Values) > 0, "%s: a variable of the package that begins empty is state", s.fset.Position(v.Pos()))
			for _, n := range v.Names {
				if n.Name != "_" {
					names = append(names, n.Name)
				}
			}
		}
	}
	return names
}

// requireUnchanged holds a function to changing none of the package's variables. A local variable of the same name
// hides one.
func requireUnchanged(t *testing.T, s source, f *ast.FuncDecl, vars map[string]bool) {
	local := make(map[string]bool)
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.AssignStmt:
			if n.Tok == token.DEFINE {
				for _, e := range n.Lhs {
					local[rootOf(e)] = true
				}
			}
		case *ast.RangeStmt:
			local[rootOf(n.Key)], local[rootOf(n.Value)] = true, true
		case *ast.ValueSpec:
			for _, name := range n.Names {
				local[name.Name] = true
			}
		case *ast.Field:
			for _, name := range n.Names {
				local[name.Name] = true
			}
		}
		return true
	})
	unchanged := func(e ast.Expr) {
		name := rootOf(e)
		assert.False(t, vars[name] && !local[name], "%s: %s is a variable of the package and must not change", s.fset.Position(e.Pos()), name)
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.AssignStmt:
			for _, e := range n.Lhs {
				unchanged(e)
			}
		case *ast.IncDecStmt:
			unchanged(n.X)
		}
		return true
	})
}

// rootOf is the name that an expression such as table[i].field begins with.
func rootOf(e ast.Expr) string {
	for {
		switch x := e.(type) {
		case *ast.Ident:
			return x.Name
		case *ast.IndexExpr:
			e = x.X
		case *ast.SelectorExpr:
			e = x.X
		case *ast.StarExpr:
			e = x.X
		case *ast.ParenExpr:
			e = x.X
		default:
			return ""
		}
	}
}

// The product stands by itself: no file points outside it, and nothing in it waits to be finished.
func TestNothingPointsOutside(t *testing.T) {
	forbidden := []string{"../" + "shared", "/" + "work/", "." + "library", "TO" + "DO", "FIX" + "ME"}
	eachFile(t, func(path string, text []byte) {
		if !utf8.Valid(text) {
			return // a picture or a database
		}
		for _, words := range forbidden {
			assert.NotContains(t, string(text), words, path)
		}
	})
}

// Within the package of the screens two files know the terminal: what is drawn on, and what listens.
func TestTwoFilesKnowTheTerminal(t *testing.T) {
	var know []string
	for _, s := range sources(t) {
		for _, i := range s.file.Imports {
			if strings.Contains(i.Path.Value, "/tcell/") && !slices.Contains(know, s.path) {
				know = append(know, s.path)
			}
		}
	}
	assert.ElementsMatch(t, []string{"views/screen/canvas.go", "views/screen/loop.go"}, know)
}

// The laboratories make their drives apart from the simulator, so that a fault in one cannot hide in the other, and the
// product knows neither them nor, but for the practice that is offered to users, the simulated car.
func TestLaboratoriesStandApart(t *testing.T) {
	all := packages(t)
	for _, lab := range []string{"misfire/lab", "misfire/gear/lab"} {
		require.Contains(t, all, lab)
		for _, d := range all[lab].Deps {
			path, _ := strings.CutPrefix(d, module+"/")
			assert.False(t, within(path, "obd/sim"), "%s knows %s", lab, path)
		}
		for path, p := range all {
			assert.NotContains(t, p.Imports, module+"/"+lab, "%s knows a laboratory", path)
		}
	}
	practised := []string{"obd/sim", "obd/sim/car", "obd/sim/simtest", "misfire/practice", "views/wire", "cmd/stumble"} // wire prints what really happened
	for path, p := range all {
		for _, car := range []string{"obd/sim", "obd/sim/car"} {
			if slices.Contains(p.Imports, module+"/"+car) {
				assert.Contains(t, practised, path, "the simulated car is for practice and tests")
			}
		}
	}
}
