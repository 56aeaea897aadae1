package vision

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// An exception in OpenCV ends the process. Every call of it, and what stands
// before the call, is in a table of DEVELOPERS.md; this test holds the table
// against the source, so that no call comes in without its guard being named.
func TestCallsOfOpenCVAreListed(t *testing.T) {
	made := callsOfOpenCV(t)
	if len(made) < 10 {
		t.Fatalf("found only %v", made)
	}
	text, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, table, _ := strings.Cut(string(text), "\n| call of OpenCV |")
	table, _, _ = strings.Cut(table, "\n\n")
	listed := map[string]bool{}
	for row := range strings.Lines(table) {
		cells := strings.Split(row, "|")
		if len(cells) < 5 || !strings.Contains(cells[1], "`") {
			continue
		}
		if strings.TrimSpace(cells[3]) == "" {
			t.Errorf("no guard for %s", cells[1])
		}
		for _, call := range strings.Split(cells[1], ",") {
			listed[strings.TrimSpace(cells[2])+" "+strings.Trim(call, " `")] = true
		}
	}
	for _, call := range slices.Sorted(maps.Keys(made)) {
		if !listed[call] {
			t.Errorf("%s: not in the table of DEVELOPERS.md", call)
		}
	}
	for _, call := range slices.Sorted(maps.Keys(listed)) {
		if !made[call] {
			t.Errorf("%s: in the table of DEVELOPERS.md, but not in the source", call)
		}
	}
}

// callsOfOpenCV returns "file.go call" for every call of a function of gocv
// and of a method of what such a function returned.
func callsOfOpenCV(t *testing.T) map[string]bool {
	t.Helper()
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	made := map[string]bool{}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.ContainsFunc(file.Imports, func(i *ast.ImportSpec) bool { return strings.Contains(i.Path.Value, gocvPath) }) {
			continue
		}
		of := ofOpenCV(file)
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			if f, ok := call.Fun.(*ast.SelectorExpr); ok && of[rootOf(f.X)] {
				made[name+" "+rootOf(f.X)+"."+f.Sel.Name] = true
			}
			return true
		})
	}
	return made
}

// ofOpenCV returns the names in a file that stand for gocv, for what it
// returned, or for what is declared to be of a type of it.
func ofOpenCV(file *ast.File) map[string]bool {
	of := map[string]bool{"gocv": true}
	for before := 0; before != len(of); {
		before = len(of)
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.AssignStmt:
				for i, to := range n.Lhs {
					from := n.Rhs[min(i, len(n.Rhs)-1)]
					if name, ok := to.(*ast.Ident); ok && name.Name != "_" && name.Name != "err" && of[rootOf(from)] && !plainValue(from) {
						of[name.Name] = true
					}
				}
			case *ast.Field: // of a struct, or a parameter
				if of[rootOf(n.Type)] {
					for _, name := range n.Names {
						of[name.Name] = true
					}
				}
			case *ast.ValueSpec:
				if n.Type != nil && of[rootOf(n.Type)] {
					for _, name := range n.Names {
						of[name.Name] = true
					}
				}
			}
			return true
		})
	}
	return of
}

// plainValue says whether an expression is a method call on something of
// gocv's, which here gives a number or bytes.
func plainValue(e ast.Expr) bool {
	call, ok := e.(*ast.CallExpr)
	if !ok {
		return false
	}
	f, ok := call.Fun.(*ast.SelectorExpr)
	return ok && rootOf(f.X) != "gocv"
}

// rootOf returns the first name of an expression such as a.b, *a, &a or a(b).
func rootOf(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name
	case *ast.SelectorExpr:
		return rootOf(e.X)
	case *ast.CallExpr:
		return rootOf(e.Fun)
	case *ast.StarExpr:
		return rootOf(e.X)
	case *ast.UnaryExpr:
		return rootOf(e.X)
	case *ast.IndexExpr:
		return rootOf(e.X)
	case *ast.ParenExpr:
		return rootOf(e.X)
	}
	return ""
}
