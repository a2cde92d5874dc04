package pricing

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// readReference decodes a file of published values (testdata/README.md) and
// names their source in the test's log.
func readReference(t testing.TB, name string, into any) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", name))
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

// readColumns reads a table with a header line into text columns by name.
func readColumns(t testing.TB, name string) map[string][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", name))
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

// numbers parses a text column.
func numbers(t testing.TB, column []string) []float64 {
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

// wantRel checks got against a reference by relative error (absolute at 0).
func wantRel(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	scale := math.Abs(want)
	if scale == 0 {
		scale = 1
	}
	if !(math.Abs(got-want) <= tolerance*scale) {
		t.Errorf("%s: got %.17g, want %.17g (off by %.2g, allowed %.2g)", what, got, want, math.Abs(got-want)/scale, tolerance)
	}
}

// wantPrinted checks that got rounds to a figure printed to so many decimals.
func wantPrinted(t testing.TB, what string, got, want float64, decimals int) {
	t.Helper()
	if unit := math.Pow10(-decimals); !(math.Abs(got-want) <= unit*(0.5+1e-9)) {
		t.Errorf("%s: got %.8g, printed %.*f", what, got, decimals, want)
	}
}
