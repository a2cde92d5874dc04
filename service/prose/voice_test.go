package prose

import (
	"testing"

	"askwright/pricing"
	"askwright/pricing/askplan"
	"askwright/service"
)

func TestMoneyIsWrittenWithTheSignOfTheGroup(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		code string
		x    float64
		want string
	}{
		{"USD", 1250, "$1,250"}, {"USD", 12.6, "$13"}, {"USD", 9.5, "$9.50"}, {"USD", 8, "$8"}, {"USD", -12, "−$12"}, {"USD", -0.001, "$0.00"},
		{"EUR", 1234567, "€1,234,567"}, {"GBP", 999.6, "£1,000"}, {"CAD", 40, "$40"}, {"AUD", 40, "$40"}, {"CHF", 340, "CHF 340"}, {"JPY", 9.4, "JPY 9"},
	} {
		c, ok := service.CurrencyByCode(tt.code)
		if got := In(c).Money(tt.x); !ok || got != tt.want {
			t.Errorf("%v %s is %q, want %q", tt.x, tt.code, got, tt.want)
		}
	}
}

func TestChancesDaysAndHoursAreSaidInRoundFigures(t *testing.T) {
	t.Parallel()
	today := pricing.NewDate(2026, 3, 31)
	for got, want := range map[string]string{
		Chance(0.01): "under 5%", Chance(0.62): "about 60%", Chance(0.99): "over 95%",
		Hours(0.75): "45 minutes", Hours(1.1): "1 hour", Hours(9.64): "9.5 hours",
		Day(pricing.NewDate(2026, 12, 5), today): "Dec 5", Day(pricing.NewDate(2025, 12, 5), today): "Dec 5, 2025",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestAMoveSaysWhatToDo(t *testing.T) {
	t.Parallel()
	c, _ := service.CurrencyByCode("USD")
	for _, tt := range []struct {
		remedy pricing.Remedy
		want   string
	}{
		{pricing.Remedy{Action: pricing.ActionReprice, Ask: 1500}, "Drop it to $1,500"},
		{pricing.Remedy{Action: pricing.ActionRenew}, "Repost it"},
		{pricing.Remedy{Action: pricing.ActionRefinish, Finish: "painted", Color: "navy", Ask: 310}, "Pull it, paint it navy, ask $310"},
		{pricing.Remedy{Action: pricing.ActionRefinish, Finish: "clear", Ask: 310}, "Pull it, refinish it (clear finish), ask $310"},
		{pricing.Remedy{Action: pricing.ActionWait}, "Leave it"},
	} {
		if got := In(c).Move(tt.remedy); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

func TestAPlanSaysTheLaterAsks(t *testing.T) {
	t.Parallel()
	dollars, _ := service.CurrencyByCode("USD")
	francs, _ := service.CurrencyByCode("CHF")
	step := func(from int, on pricing.Date, ask float64) pricing.Step {
		return pricing.Step{Step: askplan.Step{FromDay: from, Ask: ask}, On: on}
	}
	today, later, last := pricing.NewDate(2026, 11, 27), pricing.NewDate(2026, 12, 18), pricing.NewDate(2027, 1, 8)
	dated := []pricing.Step{step(0, today, 340), step(21, later, 310), step(42, last, 285), step(63, last+21, 260)}
	for _, tt := range []struct {
		currency service.Currency
		steps    []pricing.Step
		want     string // after the ask
	}{
		{dollars, dated, "Still here on Dec 18: $310. On Jan 8: $285."},
		{francs, dated[:2], "Still here on Dec 18: CHF 310."},
		{dollars, []pricing.Step{step(0, 0, 340), step(21, 0, 310), step(42, 0, 285)},
			"Still here after 21 days: $310. After 42 days: $285."},
		{dollars, dated[:1], ""},
	} {
		s := pricing.Suggestion{Ask: 340, Plan: pricing.Plan{Steps: tt.steps}, Choices: make([]pricing.Choice, 3)}
		all := In(tt.currency).Suggestion(&s, nil)
		if got := pricing.Said(all, pricing.SaidPlan); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
		if all[0].Kind != pricing.SaidAsk || tt.want != "" && all[1].Kind != pricing.SaidPlan {
			t.Errorf("the plan does not follow the ask: %q", pricing.Joined(all))
		}
	}
}
