package service_test

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"askwright/service"
	"askwright/service/advice"
	"askwright/service/profit"
	"askwright/service/servicetest"
)

// Every caution of the table comes where it applies, stays away where it does
// not, names where it comes from, and is told in the guide with when it applies.
func TestEveryCaution(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	w := servicetest.Workshop(t, f, "Wilda")
	working := func(year int, plan advice.Plan) []service.Caution {
		l := servicetest.Nightstand()
		l.YearMade = year
		got, err := w.Estimate(l, plan)
		if err != nil || got.Work.Refusal != nil {
			t.Fatalf("%+v: %+v, %v", plan, got, err)
		}
		return got.Cautions
	}
	offering := func(ref, category, material string) []service.Caution {
		return servicetest.TextOf(t, f, servicetest.Record(t, f, "Wilda", service.Cells{"ref": ref, "category": category, "material": material, "stage": "bought"})).Cautions
	}
	profit, err := f.Profit.Report(t.Context(), f.Actor(t, "Wilda"), profit.Query{})
	if err != nil {
		t.Fatal(err)
	}
	brushed := working(1995, advice.Plan{Finish: "painted", Color: "navy"})
	dresser := offering("B-1", "dresser", "solid_wood")
	mirror := offering("B-2", "mirror", "")
	sprayed := working(1995, advice.Plan{Finish: "painted", Color: "navy", Method: "spray"})

	cases := map[string]struct{ applies, not [][]service.Caution }{
		"lead": {
			[][]service.Caution{working(0, advice.Plan{Finish: "painted", Color: "navy"}), working(1979, advice.Plan{Finish: "clear"})},
			[][]service.Caution{working(1980, advice.Plan{Finish: "clear"}), working(1950, advice.Plan{Finish: "cleaned"}), dresser},
		},
		"stripper":      {[][]service.Caution{working(1995, advice.Plan{Finish: "stained"})}, [][]service.Caution{brushed, mirror}},
		"spraying":      {[][]service.Caution{sprayed}, [][]service.Caution{brushed, working(1995, advice.Plan{Finish: "cleaned", Method: "spray"})}},
		"rags":          {[][]service.Caution{working(1995, advice.Plan{Finish: "oiled"}), working(1995, advice.Plan{Finish: "stained"})}, [][]service.Caution{brushed, sprayed}},
		"own_price":     {[][]service.Caution{dresser, mirror}, [][]service.Caution{brushed, profit.Cautions}},
		"recall":        {[][]service.Caution{dresser, mirror}, [][]service.Caution{brushed, profit.Cautions}},
		"buyers":        {[][]service.Caution{dresser, mirror}, [][]service.Caution{brushed, profit.Cautions}},
		"tip_over":      {[][]service.Caution{dresser, offering("B-3", "bookcase", "")}, [][]service.Caution{mirror, brushed}},
		"upholstery":    {[][]service.Caution{offering("B-4", "armchair", ""), offering("B-5", "bench", "upholstered")}, [][]service.Caution{dresser, mirror}},
		"no_tax_advice": {[][]service.Caution{profit.Cautions}, [][]service.Caution{dresser, brushed}},
	}
	guide, err := os.ReadFile("../docs/api.md")
	if err != nil {
		t.Fatal(err)
	}
	source := regexp.MustCompile(`^(common practice|\d+ (CFR|U\.S\.C\.) \d+)`)
	for _, rule := range service.CautionRules() {
		told, ok := cases[rule.Code]
		if !ok {
			t.Errorf("%s: no case in this test", rule.Code)
		}
		for _, list := range told.applies {
			if !slices.Contains(list, rule.Caution) {
				t.Errorf("%s applies (%s) and is not among %v", rule.Code, rule.When, list)
			}
		}
		for _, list := range told.not {
			if slices.Contains(list, rule.Caution) {
				t.Errorf("%s does not apply (%s) and is among %v", rule.Code, rule.When, list)
			}
		}
		if !source.MatchString(rule.Source) || !strings.HasSuffix(rule.Text, ".") {
			t.Errorf("%s: %q, source %q", rule.Code, rule.Text, rule.Source)
		}
		if line := "| `" + rule.Code + "` | " + rule.When + " | " + rule.Source + " |"; !strings.Contains(string(guide), line) {
			t.Errorf("docs/api.md has no line %s", line)
		}
		delete(cases, rule.Code)
	}
	for code := range cases {
		t.Errorf("%s is no caution of the table", code)
	}
}
