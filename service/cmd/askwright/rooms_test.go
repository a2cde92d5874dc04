package main

import (
	"bytes"
	"go/token"
	"go/types"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	gopackages "golang.org/x/tools/go/packages"
)

// room is what a package may have: files, their lines, and files in a knot, each
// of which needs each other one.
type room struct{ files, lines, knot int }

var (
	small = room{files: 30, lines: 5000, knot: 12}
	// larger are packages that are still to be parted; the numbers only go down.
	larger = map[string]room{
		"askwright/api":     {files: 58, lines: 11_800, knot: 52},
		"askwright/pricing": {files: 37, lines: 7700, knot: 25},
	}
)

func TestPackagesStaySmallEnoughToKnow(t *testing.T) {
	t.Parallel()
	all, err := gopackages.Load(&gopackages.Config{
		Context: t.Context(),
		Mode: gopackages.NeedName | gopackages.NeedFiles | gopackages.NeedSyntax | gopackages.NeedTypes |
			gopackages.NeedTypesInfo | gopackages.NeedImports | gopackages.NeedDeps,
	}, "askwright/...")
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range all {
		got, knot := roomOf(t, p)
		limit, isLarger := larger[p.PkgPath]
		if !isLarger {
			limit = small
		}
		t.Logf("%s: %d files, %d lines, knot of %d", p.PkgPath, got.files, got.lines, got.knot)
		if got.files > limit.files || got.lines > limit.lines {
			t.Errorf("%s has %d files of %d lines, more than %d of %d: part it", p.PkgPath, got.files, got.lines, limit.files, limit.lines)
		}
		if got.knot > limit.knot {
			t.Errorf("%s: %d files need each other, more than %d: %s", p.PkgPath, got.knot, limit.knot, strings.Join(knot, " "))
		}
	}
}

// roomOf measures a package, and names the files of its largest knot.
func roomOf(t *testing.T, p *gopackages.Package) (room, []string) {
	t.Helper()
	file := func(at token.Pos) string { return filepath.Base(p.Fset.Position(at).Filename) }
	uses := map[string]map[string]bool{}
	for _, f := range p.Syntax {
		uses[file(f.Pos())] = map[string]bool{}
	}
	for name, object := range p.TypesInfo.Uses {
		if object.Pkg() == p.Types && isShared(object) {
			uses[file(name.Pos())][file(object.Pos())] = true
		}
	}
	size := room{files: len(p.GoFiles)}
	for _, name := range p.GoFiles {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		size.lines += bytes.Count(text, []byte("\n"))
	}
	knot := largestKnot(uses)
	size.knot = len(knot)
	return size, knot
}

// isShared reports whether files of a package may meet in an object: a symbol of
// the package, a field or a method.
func isShared(o types.Object) bool {
	switch o := o.(type) {
	case *types.Var:
		if o.IsField() {
			return true
		}
	case *types.Func:
		return true
	}
	return o.Parent() == o.Pkg().Scope()
}

// largestKnot finds the most files that reach each other.
func largestKnot(uses map[string]map[string]bool) []string {
	reached := map[string]map[string]bool{}
	for from := range uses {
		seen := map[string]bool{}
		for next := []string{from}; len(next) > 0; next = next[1:] {
			for to := range uses[next[0]] {
				if !seen[to] {
					seen[to] = true
					next = append(next, to)
				}
			}
		}
		reached[from] = seen
	}
	var largest []string
	for from := range uses {
		knot := []string{from}
		for to := range uses {
			if to != from && reached[from][to] && reached[to][from] {
				knot = append(knot, to)
			}
		}
		if len(knot) > len(largest) {
			largest = knot
		}
	}
	slices.Sort(largest)
	return largest
}
