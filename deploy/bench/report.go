package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"runtime"
	"strings"
)

// figures are what a run measured.
type figures struct {
	MeasuredOn string   `json:"measured_on"`
	Sizes      []int    `json:"sizes"`
	Bare       cost     `json:"bare"` // of the bare read: the median of its measurements
	Figures    []figure `json:"figures"`
}

// figure is a kind of request with its cost at each size.
type figure struct {
	Name   string  `json:"name"`
	Target float64 `json:"target,omitempty"`
	Costs  []cost  `json:"costs"`
}

// ratio is the cost of a kind of request at a size against the bare read.
func (f *figures) ratio(of figure, i int) float64 { return of.Costs[i].total() / f.Bare.total() }

// exponent is the b of cost = a·listings^b, fitted by least squares on the
// logarithms; 0: an answer costs the same whatever the size.
func exponent(sizes []int, costs []float64) float64 {
	var n, x, y, xx, xy float64
	for i, size := range sizes {
		u, v := math.Log(float64(size)), math.Log(costs[i])
		n, x, y, xx, xy = n+1, x+u, y+v, xx+u*u, xy+u*v
	}
	return (n*xy - x*y) / (n*xx - x*x)
}

// table is for reading, and for docs/performance.md.
func (f *figures) table() string {
	var out strings.Builder
	fmt.Fprintf(&out, "\nMeasured on %s, %s/%s, %d processors. 1 is one bare read, %.3f ms: processor time, program and PostgreSQL.\n\n",
		f.MeasuredOn, runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), f.Bare.total())
	out.WriteString("| request | target |")
	rule := "|---|---|"
	for _, size := range f.Sizes {
		fmt.Fprintf(&out, " at %d |", size)
		rule += "---|"
	}
	out.WriteString(" exponent | program, ms | PostgreSQL, ms | objects |\n" + rule + "---|---|---|---|\n")
	for _, line := range f.Figures {
		target := "–"
		if line.Target > 0 {
			target = fmt.Sprintf("≤ %g", line.Target)
		}
		fmt.Fprintf(&out, "| %s | %s |", line.Name, target)
		totals := make([]float64, len(line.Costs))
		for i := range line.Costs {
			totals[i] = f.ratio(line, i)
			fmt.Fprintf(&out, " %.1f |", totals[i])
		}
		last := line.Costs[len(line.Costs)-1]
		growth := "–"
		if len(totals) > 1 {
			growth = fmt.Sprintf("%.2f", exponent(f.Sizes, totals))
		}
		fmt.Fprintf(&out, " %s | %.3f | %.3f | %.0f |\n", growth, last.Program, last.Database, last.Objects)
	}
	return out.String()
}

// write keeps the figures as JSON.
func (f *figures) write(path string) error {
	text, err := json.MarshalIndent(f, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(path, append(text, '\n'), 0o600) //nolint:gosec // where the caller says
}
