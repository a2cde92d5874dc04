package pricing_test

import (
	"askwright/pricing"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"
)

var writeTargets = flag.Bool("targets", false, "measure in full and write the table into docs/pricing.md")

// target is a line of the table: what was measured, and what is aimed at.
type target struct {
	measure, aim, measured string
	met                    bool
}

// effort is how much is played: in full where the table is written.
type effort struct{ markets, pieces, stock, finds int }

func effortOf(t *testing.T) effort {
	t.Helper()
	switch {
	case *writeTargets:
		return effort{markets: 12, pieces: 60, stock: 60, finds: 60}
	case testing.Short():
		return effort{markets: 1, pieces: 20, stock: 20, finds: 20}
	}
	return effort{markets: 3, pieces: 30, stock: 40, finds: 40}
}

// sizesOf are the numbers of listings that a measure is taken at.
func sizesOf() []int {
	if *writeTargets {
		return []int{20, 100, 300}
	}
	return []int{100}
}

// The engine on markets of its own, against what is aimed at. As an ordinary test
// it plays a little and holds loose bounds that fail when something is broken;
//
//	go test ./pricing -run Targets -targets -v -timeout 20m
//
// plays in full and writes the table, with the day, into docs/pricing.md.
func TestTargets(t *testing.T) {
	pricing.PlaysForLong(t)
	e := effortOf(t)
	var lines []target
	for _, measure := range []func(*testing.T, effort) []target{
		measureAsks, measureStock, measureDayOne, measureLull, measurePurchases, measureSlips,
	} {
		began := time.Now()
		found := measure(t, e)
		for _, l := range found {
			t.Logf("%s | %s | %s | %v", l.measure, l.measured, l.aim, l.met)
		}
		t.Logf("took %s", time.Since(began).Round(time.Second))
		lines = append(lines, found...)
	}
	if *writeTargets {
		writeTable(t, lines)
	}
}

const (
	tableBegins = "<!-- targets: written by go test ./pricing -run Targets -targets -->\n"
	tableEnds   = "<!-- end of targets -->\n"
)

// writeTable puts the table between its marks; what is explained below it stays.
func writeTable(t *testing.T, lines []target) {
	t.Helper()
	const path = "../docs/pricing.md"
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, begins := strings.Cut(string(text), tableBegins)
	_, after, ends := strings.Cut(rest, tableEnds)
	if !begins || !ends {
		t.Fatalf("%s has no place for the table", path)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Measured on %s.\n\n| measure | measured | target | |\n|---|---|---|---|\n", time.Now().UTC().Format("2006-01-02"))
	for _, l := range lines {
		fmt.Fprintf(&b, "| %s | %s | %s | %s |\n", l.measure, l.measured, l.aim, map[bool]string{true: "met", false: "missed"}[l.met])
	}
	if err := os.WriteFile(path, []byte(before+tableBegins+b.String()+tableEnds+after), 0o600); err != nil {
		t.Fatal(err)
	}
}

// series are figures by size as "a / b / c".
func series(format string, x []float64) string {
	texts := make([]string, len(x))
	for i, v := range x {
		texts[i] = strings.TrimPrefix(fmt.Sprintf(format, v), "0")
	}
	return strings.Join(texts, " / ")
}

// all reports whether each figure passes.
func all(x []float64, passes func(i int, v float64) bool) bool {
	for i, v := range x {
		if !passes(i, v) {
			return false
		}
	}
	return true
}
