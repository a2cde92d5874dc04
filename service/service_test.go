package service_test

import (
	"os"
	"testing"

	"askwright/db/dbtest"
	"askwright/service/advice"
	"askwright/service/servicetest"
)

func TestMain(m *testing.M) {
	code := m.Run()
	dbtest.Stop()
	os.Exit(code)
}

func TestDemoIsAnswered(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	a := f.Actor(t, servicetest.FirstMember(f))
	ctx := t.Context()

	reviews, err := f.Advice.Reviews(ctx, a, advice.ReviewQuery{})
	if err != nil {
		t.Fatal(err)
	}
	states := map[string]int{}
	for _, r := range reviews {
		states[r.State]++
		t.Logf("%-8s %-7s %3dd %.2f %-9s gain %.0f %v %s", r.Row.Ref, r.State, r.ActiveDays, r.ChanceSoldByNow, r.Reason, r.Gain, r.Action, r.Row.Category)
	}
	for _, state := range advice.ListingStates {
		if states[state] == 0 {
			t.Errorf("no listing is %s; have %v", state, states)
		}
	}

	answers, err := f.Advice.Suggest(ctx, a, []advice.Subject{{"category": "sideboard", "width": "60", "depth": "18", "height": "34", "condition": "good", "finish": "painted"}}, 30)
	if err != nil {
		t.Fatal(err)
	}
	got := answers[0]
	if got.Refusal != nil || got.Ask <= 0 || got.SalePrice == nil || len(got.Nearest) == 0 || len(got.Choices) != 3 {
		t.Fatalf("suggestion = %+v, want an ask with choices and comparables", got)
	}
	t.Log(got.Sentences, got.SalePrice, got.Ask)
}
