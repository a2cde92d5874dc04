package advice_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/servicetest"
)

func workQueue(t *testing.T, f *servicetest.Fixture, member string, hours float64, money service.Money) *advice.WorkQueue {
	t.Helper()
	got, err := f.Advice.WorkQueue(t.Context(), f.Actor(t, member), advice.WorkQuery{Hours: hours, Money: money})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestWorkQueueKeepsWithinTheWeek(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	for _, member := range []string{"Brisa", "Junia", "Maren", "Oswin", "Tolliver"} {
		a := f.Actor(t, member)
		stale, err := f.Advice.Reviews(t.Context(), a, advice.ReviewQuery{Member: a.MemberID, States: []string{"stale"}})
		if err != nil {
			t.Fatal(err)
		}
		before := 0.0
		for _, week := range []struct {
			hours float64
			money service.Money
		}{{0, 0}, {3, 2000}, {12, 6000}, {40, 50000}} {
			got := workQueue(t, f, member, week.hours, week.money)
			gain, pieces := 0.0, map[string]bool{}
			for i, task := range got.Tasks {
				gain += task.Gain
				if task.Gain <= 0 || task.Row.MemberID != a.MemberID || pieces[task.Row.PieceRef] || task.Sentence == "" {
					t.Errorf("%s: %+v", member, task)
				}
				pieces[task.Row.PieceRef] = true
				if i > 0 && task.GainPerHour != nil && got.Tasks[i-1].GainPerHour != nil && *task.GainPerHour > *got.Tasks[i-1].GainPerHour {
					t.Errorf("%s: %s is better for an hour than what stands before it", member, task.Row.Ref)
				}
				if task.Row.IsOffered() && !slices.ContainsFunc(stale, func(r advice.Review) bool { return r.Row.ID == task.Row.ID }) {
					t.Errorf("%s: %s is not stale", member, task.Row.Ref)
				}
				if task.Row.Stage == service.StageFound {
					t.Errorf("%s: %s is a find", member, task.Row.Ref)
				}
			}
			for _, task := range got.Left {
				if pieces[task.Row.PieceRef] {
					t.Errorf("%s: %s is both to be done and left", member, task.Row.Ref)
				}
			}
			if got.Hours > week.hours || got.Materials > week.money || math.Abs(gain-got.Gain.Major(a.Group.Currency)) > 0.01 || gain < before-0.01 {
				t.Errorf("%s: %v h, %v, gain %v (%v), before %v", member, got.Hours, got.Materials, got.Gain, gain, before)
			}
			before = gain
		}
	}
}

// Two dressers to be painted compete for the hours of the week; what was spent
// on one does not count, what was done on it does.
func TestWorkQueueForgetsWhatWasSpent(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	f.AddMember(t, "Maren", "Wilda")
	dresser := service.Cells{
		"category": "dresser", "stage": "on_bench", "width": "48", "depth": "18", "height": "33", "material": "solid_wood", "wood": "oak",
		"finish": "original", "condition_found": "poor", "drawers": "6",
	}
	fresh, begun := service.Cells{"ref": "W-1", "purchase_cost": "40"}, service.Cells{"ref": "W-2", "purchase_cost": "40", "materials_cost": "12", "other_cost": "900", "hours": "4"}
	for _, cells := range []service.Cells{fresh, begun} {
		for name, cell := range dresser {
			cells[name] = cell
		}
		servicetest.Record(t, f, "Wilda", cells)
	}
	all := workQueue(t, f, "Wilda", 100, 100000)
	if len(all.Tasks) != 2 || all.Tasks[0].Row.Ref != "W-2" || all.Tasks[0].Action != advice.WorkFinish {
		t.Fatalf("%+v left %+v", all.Tasks, all.Left)
	}
	second := all.Tasks[1]
	if first := all.Tasks[0]; first.Hours >= second.Hours || first.Gain <= second.Gain || !strings.Contains(first.Sentence, "does not count") {
		t.Errorf("begun: %+v, fresh: %+v", first, second)
	}
	if len(all.Together) == 0 || len(all.Together[0].Refs) != 2 {
		t.Errorf("two alike share %+v", all.Together)
	}
	// In the hours of the better one alone, both in cheaper looks may gain more.
	if less := workQueue(t, f, "Wilda", all.Tasks[0].Hours, 100000); less.Gain < service.Money(100*all.Tasks[0].Gain)-1 || less.Gain >= all.Gain {
		t.Errorf("%+v", less)
	}
	one := workQueue(t, f, "Wilda", 1.6, 100000)
	if len(one.Tasks) != 1 || one.Tasks[0].Row.Ref != "W-2" || one.Tasks[0].Finish != "cleaned" || len(one.Left) != 1 || !strings.Contains(one.Left[0].Sentence, "only 1.6 hours") {
		t.Errorf("%+v left %+v", one.Tasks, one.Left)
	}
	if none := workQueue(t, f, "Wilda", 0.5, 0); len(none.Tasks) != 0 || len(none.Left) != 2 || len(none.Sentences) != 1 {
		t.Errorf("%+v", none)
	}
}

func TestWorkQueueRefuses(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	a := f.Actor(t, "Wilda")
	for _, q := range []advice.WorkQuery{{Hours: -1}, {Hours: 169}, {Hours: math.NaN()}, {Hours: 1, Money: -1}} {
		var wrong *service.InvalidError
		if _, err := f.Advice.WorkQueue(t.Context(), a, q); !errors.As(err, &wrong) {
			t.Errorf("%+v: %v", q, err)
		}
	}
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "W-1", "category": "desk", "stage": "bought"})
	if got := workQueue(t, f, "Wilda", 10, 0); len(got.Tasks)+len(got.Left) != 0 {
		t.Errorf("without sales nothing can be said: %+v", got)
	}
	if label := workQueue(t, f, "Wilda", 10, 0).Labels; a.Group.HourValue == 0 != slices.Contains(label, pricing.LabelHourValueUnknown) {
		t.Errorf("labels %v with an hour worth %v", label, a.Group.HourValue)
	}
}
