package service_test

import (
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/prose"
	"askwright/service/servicetest"
)

// reviewDays are the days back on which the demo is reviewed.
var reviewDays = []pricing.Date{0, 14, 31, 45, 60, 90, 120, 150, 180, 210, 240, 270}

// On twelve days of the demo each review is one verdict: cause and move agree, no
// drop goes below the likely price without the cause for it, and no sentence has a
// number that the answer has not.
func TestReviewsOfTheDemoAreOneVerdict(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	a := f.Actor(t, servicetest.FirstMember(f))
	actions, stale, below := map[string]int{}, 0, 0
	for _, back := range reviewDays {
		day := a.Today - back
		reviews, err := f.Advice.Reviews(t.Context(), a, advice.ReviewQuery{AsOf: day})
		if err != nil {
			t.Fatal(err)
		}
		for i := range reviews {
			r := &reviews[i]
			label := fmt.Sprintf("%s on %s", r.Row.Ref, day)
			checkOneVerdict(t, label, r, a.Group.FlagGain)
			checkNumbers(t, label, r, a.Group.Currency)
			actions[r.State+" "+r.Reason+" "+r.Action]++
			if r.State == pricing.StateStale {
				stale++
			}
			if r.Action == pricing.ActionReprice && r.SalePrice != nil && r.NextAsk < r.SalePrice.Likely {
				below++
			}
			if testing.Verbose() && (back == 0 || back == 60 || back == 180) {
				ask := r.Ask.Major(a.Group.Currency)
				t.Logf("%-8s %-6s %-8s %-8s ask %.0f likely %.0f | %s", r.Row.Ref, r.State, r.Reason, r.Action, ask, likelyOf(r), pricing.Joined(r.Sentences))
			}
		}
	}
	for _, what := range slices.Sorted(maps.Keys(actions)) {
		t.Logf("%3d %s", actions[what], what)
	}
	t.Logf("%d stale, %d drops below the likely price", stale, below)
}

func likelyOf(r *advice.Review) float64 {
	if r.SalePrice == nil {
		return 0
	}
	return r.SalePrice.Likely
}

func checkOneVerdict(t *testing.T, label string, r *advice.Review, flagGain float64) {
	t.Helper()
	ofAStep := r.Reason == pricing.CausePrice || r.Reason == pricing.CauseDemand
	due := r.Due && r.Action != pricing.ActionCheck
	if r.Action == pricing.ActionReprice && !ofAStep || !due && ofAStep {
		t.Errorf("%s: %s because of %s", label, r.Action, r.Reason)
	}
	if r.Action == pricing.ActionReprice && r.SalePrice != nil && r.NextAsk < r.SalePrice.Likely && r.Reason != pricing.CauseDemand {
		t.Errorf("%s: to %g, below the likely %g, because of %s", label, r.NextAsk, r.SalePrice.Likely, r.Reason)
	}
	if r.State == pricing.StateFresh && len(r.Remedies) > 0 || r.State == pricing.StateStale && !r.Due {
		t.Errorf("%s: %s, due %t, with moves %v", label, r.State, r.Due, r.Remedies)
	}
	if said := pricing.Joined(r.Sentences); r.Action == pricing.ActionWait && strings.Contains(said, "Drop it to") ||
		r.Action == pricing.ActionReprice && strings.Contains(said, "Leave it") {
		t.Errorf("%s: %s, and says %q", label, r.Action, said)
	}
	if len(r.Remedies) > 0 && r.Action != pricing.ActionCheck && r.Remedies[0].Action != r.Action {
		t.Errorf("%s: %s, and %s stands first", label, r.Action, r.Remedies[0].Action)
	}
}

var numberInText = regexp.MustCompile(`\d[\d,]*(\.\d+)?`)

// checkNumbers finds each number of the sentences in the answer, as it is rounded
// for reading, or in the name of a day.
func checkNumbers(t *testing.T, label string, r *advice.Review, c service.Currency) {
	t.Helper()
	known := map[string]bool{}
	amount := func(all ...float64) {
		for _, x := range all {
			known[strconv.FormatFloat(math.Round(math.Abs(x)), 'f', 0, 64)] = true
			known[strconv.FormatFloat(math.Abs(x), 'f', 2, 64)] = true
		}
	}
	chance := func(all ...*float64) {
		for _, p := range all {
			if p != nil {
				known[strings.Trim(prose.Chance(*p), "abcdefghijklmnopqrstuvwxyz %")] = true
			}
		}
	}
	date := func(all ...pricing.Date) {
		for _, d := range all {
			known[strconv.Itoa(d.Time().Day())], known[strconv.Itoa(d.Time().Year())] = true, true
		}
	}
	amount(r.Ask.Major(c), r.NextAsk, r.Gain, r.WaitingCosts, likelyOf(r), r.MessagesUsual, r.ViewsUsual)
	amount(float64(r.ActiveDays), float64(r.DaysInAll), float64(r.Listings), 100*(1-r.GroupPulse), 5*math.Round(20*r.Demand))
	chance(&r.ChanceSoldByNow, &r.Odds, r.OddsIfBack, r.OddsIfAway)
	date(r.NextStepOn)
	for _, n := range []*int{r.MessagesSeen, r.ViewsSeen} {
		if n != nil {
			amount(float64(*n))
		}
	}
	for _, step := range r.Plan.Steps {
		amount(step.Ask)
		date(step.On)
	}
	for _, check := range r.Checks {
		date(check.On, check.DoneOn)
	}
	for _, m := range r.Remedies {
		amount(m.Ask)
	}
	for _, s := range r.Sentences {
		if s.Kind == pricing.SaidHold || s.Kind == pricing.SaidRefusal {
			continue
		}
		for _, n := range numberInText.FindAllString(s.Text, -1) {
			if !known[strings.ReplaceAll(n, ",", "")] {
				t.Errorf("%s: %s is nowhere in the answer: %q", label, n, s.Text)
			}
		}
	}
}
