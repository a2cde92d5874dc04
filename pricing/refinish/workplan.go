package refinish

import (
	"cmp"
	"math"
	"slices"
)

// Task is one thing that can be done to one piece.
type Task struct {
	Piece  string  // at most one task is done to a piece
	Action string  // "reprice", "refinish", ...
	Hours  float64 // of work
	Money  float64 // to lay out
	Gain   float64 // expected, over doing nothing, after the cost of the work
}

// WorkPlan is the best choice of tasks within the limits.
type WorkPlan struct {
	Tasks        []int // places in the list of tasks, the best per hour first
	Hours, Money float64
	Gain         float64
}

// Work is counted in twentieths of an hour and hundredths of the unit of
// money, both rounded up, so that a plan never exceeds its limits.
const (
	hourParts  = 20
	moneyParts = 100
)

// partial is a choice among the first tasks; later ones extend it.
type partial struct {
	hours, money int64
	gain         float64
	task         int // the last one taken
	before       *partial
}

// PlanWork chooses the tasks with the greatest gain in all whose hours and money
// stay within the limits, at most one for each piece: a multiple-choice
// knapsack with two constraints. It is exact: partial choices are dropped only
// where another one needs no more and gains no less, or where even a bound on
// what may still come does not reach a plan already found. Tasks without gain
// are not taken.
//
// Source: H. Kellerer, U. Pferschy, D. Pisinger (2004), Knapsack Problems,
// Springer, chapters 9 and 11 (dominance, Lagrangian bounds).
func PlanWork(tasks []Task, hours, money float64) WorkPlan {
	k := knapsack{tasks: tasks, pieces: byPiece(tasks), hours: limit(hours, hourParts), money: limit(money, moneyParts)}
	k.setPrices()
	found := k.greedy()
	front := []*partial{{task: -1}}
	for n, piece := range k.pieces {
		next := slices.Clone(front)
		for _, i := range piece {
			h, m := parts(tasks[i].Hours, hourParts), parts(tasks[i].Money, moneyParts)
			for _, p := range front {
				if p.hours+h <= k.hours && p.money+m <= k.money {
					next = append(next, &partial{p.hours + h, p.money + m, p.gain + tasks[i].Gain, i, p})
				}
			}
		}
		still := k.still(n + 1)
		next = slices.DeleteFunc(next, func(p *partial) bool { return k.bound(p, still) < found-1e-9*math.Abs(found) })
		front = undominated(next)
	}
	best := front[0]
	for _, p := range front {
		if p.gain > best.gain {
			best = p
		}
	}
	return best.plan(tasks)
}

// knapsack is the problem with a price for each part of an hour and of money:
// the gain of the last part of each that the best plan would use, roughly.
type knapsack struct {
	tasks        []Task
	pieces       [][]int
	hours, money int64 // limits

	hourPrice, moneyPrice float64
}

// reduced is the gain of a task less the price of what it needs.
func (k *knapsack) reduced(i int) float64 {
	hours, money := parts(k.tasks[i].Hours, hourParts), parts(k.tasks[i].Money, moneyParts)
	return k.tasks[i].Gain - k.hourPrice*float64(hours) - k.moneyPrice*float64(money)
}

// bestOf is the task of a piece with the greatest reduced gain; false where none
// is worth its price.
func (k *knapsack) bestOf(piece []int) (task int, reduced float64, ok bool) {
	for _, i := range piece {
		if r := k.reduced(i); r > reduced {
			task, reduced, ok = i, r, true
		}
	}
	return task, reduced, ok
}

// setPrices lowers the Lagrangian bound by subgradient steps. Any prices give a
// valid bound; good ones a tight one.
func (k *knapsack) setPrices() {
	total := k.still(0)
	bestBound, bestHour, bestMoney := total, 0.0, 0.0
	for step := range 200 {
		hours, money, sum := float64(k.hours), float64(k.money), 0.0
		for _, piece := range k.pieces {
			if i, r, ok := k.bestOf(piece); ok {
				hours -= float64(parts(k.tasks[i].Hours, hourParts))
				money -= float64(parts(k.tasks[i].Money, moneyParts))
				sum += r
			}
		}
		if b := sum + k.hourPrice*float64(k.hours) + k.moneyPrice*float64(k.money); b < bestBound {
			bestBound, bestHour, bestMoney = b, k.hourPrice, k.moneyPrice
		}
		size := total / float64(4+step)
		k.hourPrice = math.Max(0, k.hourPrice-size*hours/sumOfSquares(float64(k.hours), hours))
		k.moneyPrice = math.Max(0, k.moneyPrice-size*money/sumOfSquares(float64(k.money), money))
	}
	k.hourPrice, k.moneyPrice = bestHour, bestMoney
}

func sumOfSquares(a, b float64) float64 { return a*a + b*b + 1 }

// still is the most that the pieces from the n-th on can gain above their prices.
func (k *knapsack) still(n int) float64 {
	sum := 0.0
	for _, piece := range k.pieces[n:] {
		if _, r, ok := k.bestOf(piece); ok {
			sum += r
		}
	}
	return sum
}

// bound is at least the gain of any plan that begins so.
func (k *knapsack) bound(p *partial, still float64) float64 {
	return p.gain + k.hourPrice*float64(k.hours-p.hours) + k.moneyPrice*float64(k.money-p.money) + still
}

// greedy is the gain of a plan that takes the tasks in order of their gain over
// the price of what they need.
func (k *knapsack) greedy() float64 {
	var order []int
	for _, piece := range k.pieces {
		order = append(order, piece...)
	}
	rank := func(i int) float64 { return k.tasks[i].Gain / (k.tasks[i].Gain - k.reduced(i) + 1e-9) }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(rank(b), rank(a)) })
	taken := map[string]bool{}
	hours, money, gain := k.hours, k.money, 0.0
	for _, i := range order {
		h, m := parts(k.tasks[i].Hours, hourParts), parts(k.tasks[i].Money, moneyParts)
		if !taken[k.tasks[i].Piece] && h <= hours && m <= money {
			taken[k.tasks[i].Piece] = true
			hours, money, gain = hours-h, money-m, gain+k.tasks[i].Gain
		}
	}
	return gain
}

// byPiece groups the places of the tasks worth doing by their piece, in order of
// appearance.
func byPiece(tasks []Task) [][]int {
	var out [][]int
	at := map[string]int{}
	for i, j := range tasks {
		if !(j.Gain > 0) || !(j.Hours >= 0) || !(j.Money >= 0) || math.IsInf(j.Gain+j.Hours+j.Money, 0) {
			continue
		}
		g, ok := at[j.Piece]
		if !ok {
			g = len(out)
			at[j.Piece] = g
			out = append(out, nil)
		}
		out[g] = append(out[g], i)
	}
	return out
}

// parts counts an amount in whole parts of its unit, rounded up.
func parts(amount float64, each int64) int64 {
	return int64(math.Min(math.Ceil(amount*float64(each)-1e-9), 1e15))
}

// limit counts whole parts, rounded down.
func limit(amount float64, each int64) int64 {
	if !(amount > 0) {
		return 0
	}
	return int64(math.Min(math.Floor(amount*float64(each)+1e-9), 1e15))
}

// undominated keeps the choices to which no other is preferable: sorted by
// hours, then money, then gain, one is kept if its gain exceeds that of every
// kept one with no more hours and no more money.
func undominated(all []*partial) []*partial {
	slices.SortStableFunc(all, func(a, b *partial) int {
		return cmp.Or(cmp.Compare(a.hours, b.hours), cmp.Compare(a.money, b.money), cmp.Compare(b.gain, a.gain))
	})
	var kept []*partial
	var stairs []*partial // of the kept, by money: gain rises with money
	for _, p := range all {
		i, _ := slices.BinarySearchFunc(stairs, p.money, func(s *partial, m int64) int {
			if s.money <= m {
				return -1
			}
			return 1
		})
		if i > 0 && stairs[i-1].gain >= p.gain {
			continue
		}
		kept = append(kept, p)
		end := i
		for end < len(stairs) && stairs[end].gain <= p.gain {
			end++
		}
		if i > 0 && stairs[i-1].money == p.money {
			i--
		}
		stairs = slices.Replace(stairs, i, end, p)
	}
	return kept
}

func (p *partial) plan(tasks []Task) WorkPlan {
	var out WorkPlan
	for ; p.task >= 0; p = p.before {
		out.Tasks = append(out.Tasks, p.task)
	}
	slices.Reverse(out.Tasks)
	for _, i := range out.Tasks {
		out.Hours += tasks[i].Hours
		out.Money += tasks[i].Money
		out.Gain += tasks[i].Gain
	}
	slices.SortStableFunc(out.Tasks, func(a, b int) int { return cmp.Compare(tasks[b].PerHour(), tasks[a].PerHour()) })
	return out
}

// PerHour is the gain for an hour of work; without work it is endless.
func (j Task) PerHour() float64 {
	if j.Hours <= 0 {
		return math.Inf(1)
	}
	return j.Gain / j.Hours
}
