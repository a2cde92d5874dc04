// Package reference reads the published values in its testdata for the tests
// of pricing and of its sub-packages, and compares with them.
package reference

import (
	"bytes"
	"embed"
	"encoding/csv"
	"encoding/json"
	"math"
	"strconv"
	"testing"
)

//go:embed testdata
var files embed.FS

// Read decodes a file of published values (testdata/README.md) and
// names their source in the test's log.
func Read(t testing.TB, name string, into any) {
	t.Helper()
	text, err := files.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	var about struct{ Source string }
	if err := json.Unmarshal(text, &about); err != nil || about.Source == "" {
		t.Fatalf("%s names no source: %v", name, err)
	}
	t.Logf("%s: %s", name, about.Source)
}

// Columns reads a table with a header line into text columns by name.
func Columns(t testing.TB, name string) map[string][]string {
	t.Helper()
	text, err := files.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	columns := map[string][]string{}
	for _, row := range rows[1:] {
		for j, cell := range row {
			columns[rows[0][j]] = append(columns[rows[0][j]], cell)
		}
	}
	return columns
}

// Numbers parses a text column.
func Numbers(t testing.TB, column []string) []float64 {
	t.Helper()
	out := make([]float64, len(column))
	for i, cell := range column {
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			t.Fatal(err)
		}
		out[i] = v
	}
	return out
}

// WantRel checks got against a reference by relative error (absolute at 0).
func WantRel(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	scale := math.Abs(want)
	if scale == 0 {
		scale = 1
	}
	if !(math.Abs(got-want) <= tolerance*scale) {
		off := math.Abs(got-want) / scale
		t.Errorf("%s: got %.17g, want %.17g (off by %.2g, allowed %.2g)", what, got, want, off, tolerance)
	}
}

// WantPrinted checks that got rounds to a figure printed to so many decimals.
func WantPrinted(t testing.TB, what string, got, want float64, decimals int) {
	t.Helper()
	if unit := math.Pow10(-decimals); !(math.Abs(got-want) <= unit*(0.5+1e-9)) {
		t.Errorf("%s: got %.8g, printed %.*f", what, got, decimals, want)
	}
}
