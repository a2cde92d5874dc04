package refinish

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The instance P07 of J. Burkardt's data set KNAPSACK_01 (after D. Kreher and
// D. Stinson, Combinatorial Algorithms), quoted from memory; the best of all
// 2^15 choices is counted here as well.
func TestPlanWorkOnAKnownKnapsack(t *testing.T) {
	weights := []float64{70, 73, 77, 80, 82, 87, 90, 94, 98, 106, 110, 113, 115, 118, 120}
	profits := []float64{135, 139, 149, 150, 156, 163, 173, 184, 192, 201, 210, 214, 221, 229, 240}
	var tasks []Task
	for i := range weights {
		tasks = append(tasks, Task{Piece: fmt.Sprint(i), Hours: weights[i], Gain: profits[i]})
	}
	best := 0.0
	for choice := range 1 << len(weights) {
		weight, profit := 0.0, 0.0
		for i := range weights {
			if choice>>i&1 == 1 {
				weight += weights[i]
				profit += profits[i]
			}
		}
		if weight <= 750 {
			best = max(best, profit)
		}
	}
	if got := PlanWork(tasks, 750, 0); got.Gain != best || best != 1458 || got.Hours > 750 {
		t.Errorf("plan gains %v in %v, all choices %v, published 1458", got.Gain, got.Hours, best)
	}
}

// drawJobs draws a few pieces, each with some tasks.
func drawJobs(t *rapid.T) []Task {
	var tasks []Task
	for p := range rapid.IntRange(0, 5).Draw(t, "pieces") {
		for range rapid.IntRange(1, 3).Draw(t, "options") {
			tasks = append(tasks, Task{
				Piece: fmt.Sprint(p),
				Hours: float64(rapid.IntRange(0, 60).Draw(t, "hours")) / 4,
				Money: float64(rapid.IntRange(0, 80).Draw(t, "money")),
				Gain:  float64(rapid.IntRange(-20, 150).Draw(t, "gain")),
			})
		}
	}
	return tasks
}

// allChoices is the best gain by trying every choice.
func allChoices(tasks []Task, taken map[string]bool, hours, money float64) float64 {
	if len(tasks) == 0 {
		return 0
	}
	best := allChoices(tasks[1:], taken, hours, money)
	if j := tasks[0]; !taken[j.Piece] && j.Hours <= hours && j.Money <= money {
		taken[j.Piece] = true
		best = max(best, j.Gain+allChoices(tasks[1:], taken, hours-j.Hours, money-j.Money))
		delete(taken, j.Piece)
	}
	return best
}

func TestPlanWorkIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tasks := drawJobs(t)
		hours, money := float64(rapid.IntRange(0, 30).Draw(t, "limit hours")), float64(rapid.IntRange(0, 150).Draw(t, "limit money"))
		got := PlanWork(tasks, hours, money)
		if want := allChoices(tasks, map[string]bool{}, hours, money); math.Abs(got.Gain-want) > 1e-9 {
			t.Errorf("plan gains %v, the best choice %v", got.Gain, want)
		}
		if got.Hours > hours || got.Money > money {
			t.Errorf("%+v exceeds %v h and %v", got, hours, money)
		}
		pieces := map[string]bool{}
		for n, i := range got.Tasks {
			if pieces[tasks[i].Piece] || tasks[i].Gain <= 0 {
				t.Errorf("%+v among %+v", tasks[i], got)
			}
			pieces[tasks[i].Piece] = true
			if n > 0 && tasks[i].PerHour() > tasks[got.Tasks[n-1]].PerHour() {
				t.Error("not the best per hour first")
			}
		}
		if again := PlanWork(tasks, hours+1, money+1); again.Gain < got.Gain {
			t.Errorf("more time and money gain less: %v, before %v", again.Gain, got.Gain)
		}
	})
}

func TestPlanWorkLeavesNonsenseAlone(t *testing.T) {
	tasks := []Task{
		{Piece: "a", Hours: math.NaN(), Gain: 10}, {Piece: "b", Money: math.Inf(1), Gain: 10}, {Piece: "c", Gain: math.NaN()},
		{Piece: "d", Hours: -1, Gain: 10}, {Piece: "e", Gain: math.Inf(1)}, {Piece: "f", Hours: 0.01, Gain: 1},
	}
	if got := PlanWork(tasks, 0.05, 0); !slices.Equal(got.Tasks, []int{5}) {
		t.Errorf("%+v, want the last task", got)
	}
	if got := PlanWork(tasks, math.NaN(), -1); len(got.Tasks) != 0 {
		t.Errorf("%+v, want none", got)
	}
}

func BenchmarkPlanWork(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 2))
	var tasks []Task
	for p := range 300 {
		for range 4 {
			tasks = append(tasks, Task{Piece: fmt.Sprint(p), Hours: 20 * rng.Float64(), Money: 90 * rng.Float64(), Gain: 200 * rng.Float64()})
		}
	}
	for b.Loop() {
		PlanWork(tasks, 40, 300)
	}
}
