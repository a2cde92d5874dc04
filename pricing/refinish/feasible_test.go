package refinish

import (
	"slices"
	"testing"

	"askwright/pricing/furniture"
)

// What cannot be done. Common practice, no source.
func TestFeasible(t *testing.T) {
	for _, tt := range []struct {
		material, present, presentColor string
		look                            Look
		want                            string // reason; "": it can be done
	}{
		{"solid_wood", "painted", "white", Look{Finish: "clear"}, ""},
		{"solid_wood", "", "", Look{Finish: "oiled"}, ""},
		{"veneer", "original", "", Look{Finish: "stained", Color: "dark_wood"}, ""},
		{"", "painted", "white", Look{Finish: "clear"}, ""},
		{"mixed", "painted", "white", Look{Finish: "clear"}, ""},
		{"laminate", "original", "", Look{Finish: "painted", Color: "navy"}, ""},
		{"metal", "original", "", Look{Finish: "painted", Color: "navy"}, ""},
		{"laminate", "original", "", Look{Finish: "stained"}, FinishNotPossible},
		{"foil", "original", "", Look{Finish: "clear"}, FinishNotPossible},
		{"particle_board", "original", "", Look{Finish: "oiled"}, FinishNotPossible},
		{"mdf", "painted", "white", Look{Finish: "raw"}, FinishNotPossible},
		{"mdf", "painted", "white", Look{Finish: "whitewashed"}, FinishNotPossible},
		{"metal", "painted", "white", Look{Finish: "waxed"}, FinishNotPossible},
		{"glass", "", "", Look{Finish: "clear"}, FinishNotPossible},
		{"glass", "", "", Look{Finish: "painted"}, FinishNotPossible},
		{"stone", "", "", Look{Finish: "distressed"}, FinishNotPossible},
		{"upholstered", "", "", Look{Finish: "stained"}, FinishNotPossible},
		{"laminate", "", "", Look{Finish: "two_tone", Color: "navy"}, FinishNotPossible},
		{"laminate", "", "", Look{Finish: "two_tone", Color: "navy", SecondFinish: "painted"}, ""},
		{"solid_wood", "painted", "navy", Look{Finish: "painted", Color: "navy"}, SameLook},
		{"solid_wood", "painted", "navy", Look{Finish: "painted"}, SameLook},
		{"solid_wood", "painted", "navy", Look{Finish: "painted", Color: "navy", Condition: 5}, ""},
		{"solid_wood", "painted", "navy", Look{Finish: "painted", Color: "green"}, ""},
		{"solid_wood", "painted", "navy", Look{Finish: "cleaned"}, CannotGoBack},
		{"solid_wood", "clear", "", Look{Finish: "original"}, CannotGoBack},
		{"solid_wood", "stained", "dark_wood", Look{Finish: "cleaned"}, CannotGoBack},
		{"laminate", "original", "", Look{Finish: "cleaned"}, ""},
		{"solid_wood", "clear", "", Look{}, NoSuchFinish},
	} {
		a := furniture.Attributes{Material: tt.material, Finish: tt.present, Color: tt.presentColor, Condition: 3}
		got := ""
		if r := WhyNot(a, tt.look); r != nil {
			got = r.Reason
			if r.Detail == "" {
				t.Errorf("%+v: refused without a word", tt)
			}
		}
		if got != tt.want {
			t.Errorf("%s on %s, now %s %s: %q, want %q", tt.look.Finish, tt.material, tt.presentColor, tt.present, got, tt.want)
		}
	}
	if got := shop.Estimate(Job{Attributes: inches("sideboard", 59, 18, 31), Look: Look{Finish: "decoupage"}}); got.Refusal == nil || got.Refusal.Reason != NoSuchFinish {
		t.Errorf("a finish that nobody has a plan for: %+v", got.Refusal)
	}
}

// What to mind. Common practice, no source.
func TestWarnings(t *testing.T) {
	for _, tt := range []struct {
		a    furniture.Attributes
		look Look
		want []string
	}{
		{furniture.Attributes{Material: "veneer", Wood: "maple", Finish: "painted"}, Look{Finish: "clear"}, []string{"sand_through"}},
		{furniture.Attributes{Material: "solid_wood", Wood: "maple", Finish: "waxed"}, Look{Finish: "painted", Color: "navy"}, []string{"wax_or_silicone"}},
		{furniture.Attributes{Material: "solid_wood", Wood: "maple", Finish: "clear"}, Look{Finish: "painted", Color: "white", Topcoat: "oil_clear"}, []string{"yellowing"}},
		{furniture.Attributes{Material: "solid_wood", Wood: "maple", Finish: "clear"}, Look{Finish: "painted", Color: "navy", Topcoat: "oil_clear"}, nil},
		{furniture.Attributes{Material: "solid_wood", Wood: "mahogany", Finish: "clear"}, Look{Finish: "painted", Color: "white"}, []string{"bleed_through"}},
		{furniture.Attributes{Material: "solid_wood", Wood: "mahogany", Finish: "clear"}, Look{Finish: "painted", Color: "navy"}, nil},
		{furniture.Attributes{Material: "solid_wood", Wood: "teak", Finish: "clear"}, Look{Finish: "painted", Color: "navy"}, []string{"paint_lowers_value"}},
		{furniture.Attributes{Material: "solid_wood", Wood: "teak", Finish: "clear"}, Look{Finish: "oiled"}, nil},
		{furniture.Attributes{Material: "solid_wood", Wood: "maple", Finish: "clear", Maker: "paper label"}, Look{Finish: "painted", Color: "navy"}, []string{"maker"}},
		{furniture.Attributes{Finish: "painted"}, Look{Finish: "clear"}, []string{"material_unknown"}},
		{furniture.Attributes{Material: "rattan_cane", Finish: "painted"}, Look{Finish: "clear"}, []string{"cane"}},
	} {
		var got []string
		for _, w := range warnings(tt.a, tt.look) {
			got = append(got, w.Code)
			if w.Text == "" {
				t.Errorf("%s has no text", w.Code)
			}
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%+v to %+v: %v, want %v", tt.a, tt.look, got, tt.want)
		}
	}
}
