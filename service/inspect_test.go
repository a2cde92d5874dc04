package service

import (
	"slices"
	"testing"
)

// Each entry is told of some piece and not of one that was described so that
// nothing is left to ask; each known kind has a few.
func TestInspections(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, category := range Categories {
		for _, material := range append([]string{""}, materials...) {
			bare := &Listing{Category: category, Material: material}
			list := bare.Inspect()
			if len(list) < 3 || len(list) > 9 {
				t.Errorf("%s %s: %d points", material, category, len(list))
			}
			for _, one := range list {
				seen[one.Code] = true
				if one.Text == "" || one.Source == "" {
					t.Errorf("%+v has no text or no source", one)
				}
			}
		}
	}
	var codes []string
	for _, one := range inspections {
		if codes = append(codes, one.Code); !seen[one.Code] {
			t.Errorf("%s is told of nothing", one.Code)
		}
		for _, kind := range one.kinds {
			if !slices.Contains(Categories, kind) {
				t.Errorf("%s is told of %s, which is no kind", one.Code, kind)
			}
		}
	}
	slices.Sort(codes)
	if n := len(slices.Compact(codes)); n != len(inspections) {
		t.Errorf("%d codes for %d entries", n, len(inspections))
	}
	told := &Listing{Category: "desk", Condition: 3, Material: "veneer", Smell: "none", Flaws: "a ring on the top", Hardware: "original"}
	if got := told.Inspect(); got != nil {
		t.Errorf("of what was told: %+v", got)
	}
	for category, code := range map[string]string{"dining_table": "leaves", "wardrobe": "comes_apart", "stool": "fellow", "armchair": "seams"} {
		if !slices.ContainsFunc((&Listing{Category: category}).Inspect(), func(i Inspection) bool { return i.Code == code }) {
			t.Errorf("%s: no %s", category, code)
		}
	}
	if pair := (&Listing{Category: "nightstand", SetSize: 2}).Inspect(); slices.ContainsFunc(pair, func(i Inspection) bool { return i.Code == "fellow" }) {
		t.Errorf("a pair looks for its fellow: %+v", pair)
	}
}
