package main

import (
	"math"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestMain is the measured server, too, as the program is.
func TestMain(m *testing.M) {
	if len(os.Args) == 3 && os.Args[1] == "serve" {
		main()
		return
	}
	os.Exit(m.Run())
}

func TestExponentTellsGrowth(t *testing.T) {
	t.Parallel()
	sizes := []int{1_000, 10_000, 100_000}
	for want, of := range map[float64]func(float64) float64{
		0:   func(float64) float64 { return 3 },
		1:   func(n float64) float64 { return 2 * n },
		0.5: math.Sqrt,
	} {
		var costs []float64
		for _, size := range sizes {
			costs = append(costs, of(float64(size)))
		}
		if got := exponent(sizes, costs); math.Abs(got-want) > 1e-9 {
			t.Errorf("exponent %g, want %g", got, want)
		}
	}
}

// What this process works shows in what it is told to have used.
func TestProcessorTimeCountsWork(t *testing.T) {
	t.Parallel()
	before, err := processorTime(os.Getpid())
	if err != nil {
		t.Fatal(err)
	}
	const work = 20 * time.Millisecond
	for sum := 0.0; ; sum++ {
		math.Sqrt(sum)
		if after, err := processorTime(os.Getpid()); err != nil || after-before >= work {
			if err != nil {
				t.Fatal(err)
			}
			return
		}
	}
}

// A run measures every kind of request, each with an answer.
func TestARunMeasuresEveryRequest(t *testing.T) {
	t.Parallel()
	c := config{sizes: []int{200}, only: regexp.MustCompile("."), budget: time.Millisecond, fewest: 1, atOnce: 1}
	got, err := measureAll(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range got.Figures {
		names = append(names, f.Name)
		for i, cost := range f.Costs {
			if cost.Program <= 0 || cost.Requests < c.fewest || cost.Objects <= 0 {
				t.Errorf("%s at %d listings: %+v", f.Name, c.sizes[i], cost)
			}
		}
		if len(f.Costs) != len(c.sizes) {
			t.Errorf("%s: %d figures, want one for each size", f.Name, len(f.Costs))
		}
	}
	want := make([]string, len(requests))
	for i, r := range requests {
		want[i] = r.name
	}
	if !slices.Equal(names, want) {
		t.Errorf("measured %v, want %v", names, want)
	}
	table := got.table()
	for _, name := range want {
		if !strings.Contains(table, "| "+name+" | ") {
			t.Errorf("%s is missing in\n%s", name, table)
		}
	}
}
