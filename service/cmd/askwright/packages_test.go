package main

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"unicode/utf8"

	"golang.org/x/tools/go/packages"
)

// Limits of a package, a file and a function.
const (
	maxKnot     = 12 // files that all need each other
	maxFiles    = 30
	maxLines    = 5000
	longestFile = 400
	longestFunc = 60
	widestLine  = 120
)

// flatPackages are still too large: each with its limits until it is divided.
var flatPackages = map[string]struct{ knot, files, lines int }{}

// wideTrees have lines over the limit that are still to be wrapped.
var wideTrees = []string{"api", "db", "service"}

// excusedFiles may be longer or wider, for the reason told.
var excusedFiles = map[string]string{}

// excusedFuncs may be longer, for the reason told.
var excusedFuncs = map[string]string{
	"api/board.curveChart": "one drawing in the order of its layers",
	"api/board.storyChart": "one drawing in the order of its layers",
}

// typed loads the module's packages, without tests, with their types.
var typed = sync.OnceValues(func() ([]*packages.Package, error) {
	mode := packages.NeedName | packages.NeedFiles | packages.NeedImports |
		packages.NeedSyntax | packages.NeedTypes | packages.NeedTypesInfo
	return packages.Load(&packages.Config{Mode: mode}, "askwright/...")
})

func typedPackages(t *testing.T) []*packages.Package {
	t.Helper()
	all, err := typed()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range all {
		for _, e := range p.Errors {
			t.Fatalf("%s: %v", p.PkgPath, e)
		}
	}
	return all
}

// A package whose files all need each other cannot be read, tested or changed
// in parts. Files need each other by types: a use of a name, method or field,
// or a receiver, that another file declares.
func TestPackagesStaySmall(t *testing.T) {
	t.Parallel()
	for _, p := range typedPackages(t) {
		knot, lines := largestKnot(fileUses(p)), 0
		for _, name := range p.GoFiles {
			lines += bytes.Count(sourceOf(t, name), []byte("\n"))
		}
		t.Logf("%-36s knot %2d, files %2d, lines %5d", p.PkgPath, len(knot), len(p.GoFiles), lines)
		limits, ok := flatPackages[p.PkgPath]
		if !ok {
			limits.knot, limits.files, limits.lines = maxKnot, maxFiles, maxLines
		}
		if len(knot) > limits.knot {
			t.Errorf("%s: %d files all need each other, at most %d may: %s",
				p.PkgPath, len(knot), limits.knot, strings.Join(knot, " "))
		}
		if len(p.GoFiles) > limits.files || lines > limits.lines {
			t.Errorf("%s: %d files of %d lines, at most %d of %d may be",
				p.PkgPath, len(p.GoFiles), lines, limits.files, limits.lines)
		}
	}
}

// fileUses tells of each file of a package which others it uses.
func fileUses(p *packages.Package) map[string]map[string]bool {
	file := func(pos token.Pos) string { return filepath.Base(p.Fset.Position(pos).Filename) }
	uses := map[string]map[string]bool{}
	for _, f := range p.Syntax {
		uses[file(f.Pos())] = map[string]bool{}
	}
	for id, o := range p.TypesInfo.Uses {
		if o.Pkg() != p.Types {
			continue
		}
		v, isVar := o.(*types.Var)
		f, isFunc := o.(*types.Func)
		isMember := isVar && v.IsField() || isFunc && f.Signature().Recv() != nil
		if from, to := file(id.Pos()), file(o.Pos()); from != to && (isMember || o.Parent() == p.Types.Scope()) {
			uses[from][to] = true
		}
	}
	return uses
}

// largestKnot is the largest strongly connected component of a graph, by name
// (R. Tarjan 1972, SIAM Journal on Computing 1, 146-160).
func largestKnot(uses map[string]map[string]bool) []string {
	var largest, stack []string
	number, low := map[string]int{}, map[string]int{}
	var visit func(string)
	visit = func(f string) {
		number[f] = len(number) + 1
		low[f] = number[f]
		stack = append(stack, f)
		for _, to := range slices.Sorted(maps.Keys(uses[f])) {
			if number[to] == 0 {
				visit(to)
				low[f] = min(low[f], low[to])
			} else if slices.Contains(stack, to) {
				low[f] = min(low[f], number[to])
			}
		}
		if low[f] == number[f] {
			at := slices.Index(stack, f)
			if knot := slices.Clone(stack[at:]); len(knot) > len(largest) {
				largest = knot
			}
			stack = stack[:at]
		}
	}
	for _, f := range slices.Sorted(maps.Keys(uses)) {
		if number[f] == 0 {
			visit(f)
		}
	}
	slices.Sort(largest)
	return largest
}

func TestLargestKnot(t *testing.T) {
	t.Parallel()
	uses := func(to ...string) map[string]bool {
		m := map[string]bool{}
		for _, f := range to {
			m[f] = true
		}
		return m
	}
	got := largestKnot(map[string]map[string]bool{
		"a": uses("b"), "b": uses("c", "e"), "c": uses("a"), "d": uses("a", "e"), "e": uses("f"), "f": uses("e"),
	})
	if want := []string{"a", "b", "c"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// Tables, texts and struct tags may be wider than a line of code.
func TestFilesAndFunctionsStayShort(t *testing.T) {
	t.Parallel()
	found := map[string]bool{}
	for _, p := range typedPackages(t) {
		tree := strings.TrimPrefix(p.PkgPath, "askwright/")
		top, _, _ := strings.Cut(tree, "/")
		for _, f := range p.Syntax {
			if ast.IsGenerated(f) {
				continue
			}
			path := p.Fset.Position(f.Pos()).Filename
			lines := strings.Split(string(sourceOf(t, path)), "\n")
			var wrong []string
			if n := len(lines) - 1; n > longestFile {
				wrong = append(wrong, fmt.Sprintf("%d lines, at most %d may be", n, longestFile))
			}
			if !slices.Contains(wideTrees, top) {
				wrong = append(wrong, wideLines(lines, widthFree(p.Fset, f))...)
			}
			name := tree + "/" + filepath.Base(path)
			found[name] = len(wrong) > 0
			if len(wrong) > 0 && excusedFiles[name] == "" {
				t.Errorf("%s: %s", name, strings.Join(wrong, "; "))
			}
			for of, n := range longFunctions(p.Fset, f) {
				of = tree + "." + of
				found[of] = true
				if excusedFuncs[of] == "" {
					t.Errorf("%s: %s has %d lines, at most %d may be", name, of, n, longestFunc)
				}
			}
		}
	}
	for _, excused := range []map[string]string{excusedFiles, excusedFuncs} {
		for name := range excused {
			if !found[name] {
				t.Errorf("%s needs no excuse any more", name)
			}
		}
	}
}

// wideLines tells of each line over the limit that may not be wide.
func wideLines(lines []string, free map[int]bool) (wrong []string) {
	for i, line := range lines {
		if width := utf8.RuneCountInString(line); width > widestLine && !free[i+1] {
			wrong = append(wrong, fmt.Sprintf("line %d is %d wide, at most %d may be", i+1, width, widestLine))
		}
	}
	return wrong
}

// longFunctions are those over the limit with their lines.
func longFunctions(fset *token.FileSet, f *ast.File) map[string]int {
	long := map[string]int{}
	for _, d := range f.Decls {
		fn, ok := d.(*ast.FuncDecl)
		if !ok {
			continue
		}
		if n := fset.Position(fn.End()).Line - fset.Position(fn.Pos()).Line + 1; n > longestFunc {
			name := fn.Name.Name
			if fn.Recv != nil {
				name = strings.TrimPrefix(types.ExprString(fn.Recv.List[0].Type), "*") + "." + name
			}
			long[name] = n
		}
	}
	return long
}

// widthFree are the lines of a file that may be wide: of raw strings, of long
// texts, of struct tags and of tables, that is, of literals inside another
// literal; and swag's comments, which cannot be wrapped.
func widthFree(fset *token.FileSet, f *ast.File) map[int]bool {
	free := map[int]bool{}
	mark := func(n ast.Node) {
		for line := fset.Position(n.Pos()).Line; line <= fset.Position(n.End()).Line; line++ {
			free[line] = true
		}
	}
	for _, group := range f.Comments {
		for _, c := range group.List {
			if text := strings.TrimSpace(strings.TrimPrefix(c.Text, "//")); strings.HasPrefix(text, "@") {
				mark(c)
			}
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BasicLit:
			if n.Kind == token.STRING && (n.Value[0] == '`' || len(n.Value) > widestLine/2) {
				mark(n)
			}
		case *ast.Field:
			if n.Tag != nil {
				mark(n)
			}
		case *ast.CompositeLit:
			for _, e := range n.Elts {
				if kv, ok := e.(*ast.KeyValueExpr); ok {
					e = kv.Value
				}
				if row, ok := e.(*ast.CompositeLit); ok && len(n.Elts) > 1 {
					mark(row)
				}
			}
		}
		return true
	})
	return free
}

func sourceOf(t *testing.T, path string) []byte {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return text
}
