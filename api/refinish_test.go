package api_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"askwright/api/wire"
)

type refinish struct {
	Finish, Color string
	Refusal       *struct{ Reason, Detail string }
	PriceEffect   *struct{ Percent, Low, High float64 } `json:"price_effect"`
	Pace          *float64
	Ask           *float64
	ExpectedNet   *float64 `json:"expected_net"`
	Gain          *float64
	NetPerHour    *float64 `json:"net_per_hour"`
	Chance        *float64 `json:"chance_better_than_as_it_is"`
	Cost          *float64
	Materials     float64
	ToBuy         float64 `json:"to_buy"`
	Hours         float64
	DryHours      float64 `json:"dry_hours"`
	DaysOut       int     `json:"days_out"`
	CostsFrom     string  `json:"costs_from"`
	HoursBasis    string  `json:"hours_basis"`
	Method        string
	Area          float64
	AreaUnit      string `json:"area_unit"`
	Parts         []struct {
		Part string
		Area float64
	}
	Steps []struct {
		Step, Grits, Product string
		Parts                []string
		Coats                int
		Hours                float64
	}
	Products []struct {
		Product, Unit, Basis string
		Quantity, Size       float64
		Containers           int
		ToBuy                *float64 `json:"to_buy"`
	}
	Assumptions []struct {
		Name, Unit, Basis string
		Value             float64
	}
	Warnings []struct{ Code, Text string }
	Cautions []struct{ Code, Source string }
}

type refinishEstimate struct {
	Ref, Category string
	Planned       *refinish
	Finishes      []refinish
	Compared      int
	Refused       []struct{ Finish, Reason, Detail string }
	AsItIs        *struct {
		Ask         float64
		ExpectedNet float64 `json:"expected_net"`
	} `json:"as_it_is"`
	Labels    []string
	Refusal   *struct{ Reason string }
	Sentences []wire.Sentence
}

func (s *site) refinishes(t *testing.T, key, body string) []refinishEstimate {
	t.Helper()
	return want[struct{ Items []refinishEstimate }](t, s.do(t, call{method: "POST", path: "/v1/refinish-estimates", key: key, body: body}), 200).Items
}

const oakDresser = `"category":"dresser","width":54,"depth":19,"height":33,"drawers":6,"material":"solid_wood","wood":"oak","condition":"good","finish":"original"`

func TestRefinishEstimates(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	got := s.refinishes(t, key, `{"finishes":100,"subjects":[
		{"ref":"K-1",`+oakDresser+`,"planned_finish":"Two Tone","planned_color":"navy","method":"spray","include":["back"],"hours_a_week":6,"assumptions":{"damp":true,"leg_height":6}},
		{"category":"desk","material":"laminate","finish":"original","planned_finish":"stained"},
		{"category":"harmonium","width":"40","planned_finish":"painted"}]}`)
	first := got[0]
	p := first.Planned
	if p == nil || p.Refusal != nil || p.PriceEffect == nil || p.NetPerHour == nil || p.AreaUnit != "ft2" || p.Method != "spray" || p.CostsFrom != "estimate" {
		t.Fatalf("%+v", p)
	}
	if first.Ref != "K-1" || first.AsItIs == nil || first.Compared != len(first.Finishes) || first.Compared < 8 || len(first.Sentences) == 0 {
		t.Errorf("%d looks, %+v", first.Compared, first)
	}
	// 54 × 19 on top, and the back, in square feet.
	if p.Parts[0].Part != "top" || !about(p.Parts[0].Area, 54*19/144.) || p.Parts[len(p.Parts)-1].Part != "back" || !about(p.Parts[len(p.Parts)-1].Area, 54*33/144.) {
		t.Errorf("parts %+v", p.Parts)
	}
	hours, buy := 0.0, 0.0
	for _, step := range p.Steps {
		hours += step.Hours
	}
	for _, product := range p.Products {
		buy += *product.ToBuy
		if product.Basis != "common practice, no source" || product.Containers < 1 {
			t.Errorf("%+v", product)
		}
	}
	if hours < p.Hours-0.1 || hours > p.Hours+0.1 || !about(buy, p.ToBuy) {
		t.Errorf("steps of %.2f hours for %.2f, products of %.2f for %.2f", hours, p.Hours, buy, p.ToBuy)
	}
	if !about(*p.Gain, *p.ExpectedNet-first.AsItIs.ExpectedNet) || !about(*p.NetPerHour, (*p.Gain+18*p.Hours)/p.Hours) {
		t.Errorf("gain %g, an hour %g: %+v", *p.Gain, *p.NetPerHour, p)
	}
	bases := map[string]string{}
	for _, a := range p.Assumptions {
		bases[a.Name] = fmt.Sprint(a.Value, " ", a.Unit, " ", a.Basis)
	}
	for name, wanted := range map[string]string{
		"damp": "1 yes given", "leg_height": "6 in given", "temperature": "69.8 °F common practice, no source", "transfer_efficiency": "0.65 share common practice, no source",
	} {
		if bases[name] != wanted {
			t.Errorf("%s: %q, want %q", name, bases[name], wanted)
		}
	}
	var codes []string
	for _, c := range p.Cautions {
		codes = append(codes, c.Code)
		if c.Source == "" {
			t.Errorf("a caution without its source: %+v", c)
		}
	}
	if !slices.Equal(codes, []string{"lead", "stripper", "spraying", "tip_over"}) {
		t.Errorf("cautions %v", codes)
	}
	for i, f := range first.Finishes {
		if i > 0 && *f.NetPerHour > *first.Finishes[i-1].NetPerHour {
			t.Errorf("%s %s stands below a worse one", f.Finish, f.Color)
		}
	}
	laminate := got[1]
	if laminate.Planned.Refusal == nil || laminate.Planned.Refusal.Reason != "finish_not_possible" || laminate.Planned.Ask != nil || len(laminate.Refused) < 3 {
		t.Errorf("stain on laminate: %+v, %+v", laminate.Planned, laminate.Refused)
	}
	if unknown := got[2]; unknown.Refusal == nil || unknown.Planned.Hours < 3 || unknown.Planned.Ask != nil {
		t.Errorf("a kind never sold: %+v", unknown)
	}
}

// A subject on file, one's own or another's, with what is laid over it; an
// open listing is held against waiting, as its review does.
func TestRefinishOnFile(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	reviews := want[struct {
		Items []struct {
			ID, Ref, Member string
			Remedies        []struct {
				Action, Finish, Color string
				ExpectedNet           float64 `json:"expected_net"`
				Hours                 float64
				DaysOut               int `json:"days_out"`
			}
		}
	}](t, s.do(t, call{method: "GET", path: "/v1/reviews?member=me", key: key}), 200).Items // of others the estimate is hidden
	told := 0
	for _, review := range reviews[:min(12, len(reviews))] {
		looks := s.refinishes(t, key, `{"finishes":100,"subjects":[{"id":"`+review.ID+`"}]}`)[0].Finishes
		for _, r := range review.Remedies {
			if r.Action != "refinish" {
				continue
			}
			told++
			i := slices.IndexFunc(looks, func(f refinish) bool { return f.Finish == r.Finish && f.Color == r.Color })
			if i < 0 || !about(*looks[i].ExpectedNet, r.ExpectedNet) || !about(looks[i].Hours, r.Hours) || looks[i].DaysOut != r.DaysOut {
				t.Errorf("%s: the review says %+v, the estimate has it at %d of %d", review.Ref, r, i, len(looks))
			}
		}
	}
	if told == 0 {
		t.Error("no review offers another look: nothing was tested")
	}
	plain := s.refinishes(t, key, `{"subjects":[{"id":"`+reviews[0].ID+`","planned_finish":"cleaned"}]}`)[0]
	wider := s.refinishes(t, key, `{"subjects":[{"id":"`+reviews[0].ID+`","width":90,"finish":"original","planned_finish":"cleaned"}]}`)[0]
	if wider.Planned.Refusal != nil || len(wider.Finishes) > 5 || plain.Ref != wider.Ref {
		t.Errorf("laid over: %+v", wider.Planned)
	}
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/refinish-estimates", key: key, body: `{"subjects":[{"ref":"no such row"}]}`}), 422, "invalid")
}

// Hours and materials of one's own pieces correct the estimate and the answer
// says so; those of another member are never told.
func TestRefinishLearns(t *testing.T) {
	t.Parallel()
	s := setup(t)
	for i := range 6 {
		s.create(t, "Otto", fmt.Sprintf(`{"ref":"N-%d","category":"nightstand","width":22,"depth":16,"height":26,"finish":"painted","color":"navy","listed_on":"2026-03-01","ask":90,"hours":12}`, i))
	}
	body := `{"subjects":[{"category":"nightstand","width":22,"depth":16,"height":26,"finish":"original","planned_finish":"painted","planned_color":"navy"}]}`
	his := s.refinishes(t, s.Keys["Otto"], body)[0].Planned
	hers := s.refinishes(t, s.Keys["Wilda"], body)[0].Planned
	if !strings.Contains(his.HoursBasis, "after 6 pieces of yours") || his.Hours < 1.3*hers.Hours || hers.HoursBasis != "common practice, no source" {
		t.Errorf("Otto %.2f (%s), Wilda %.2f (%s)", his.Hours, his.HoursBasis, hers.Hours, hers.HoursBasis)
	}
}

func TestRefinishBadInput(t *testing.T) {
	t.Parallel()
	s := setup(t)
	path, key := "/v1/refinish-estimates", s.Keys["Wilda"]
	for body, wanted := range map[string]string{
		`{"subjects":[]}`: "expected 1 to 500",
		`{"subjects":[{` + oakDresser + `}],"finishes":0}`:                                       "expected 1 to 100",
		`{"subjects":[{"planned_finish":"painted"}]}`:                                            "category",
		`{"subjects":[{` + oakDresser + `,"planned_color":"navy"}]}`:                             "say which finish",
		`{"subjects":[{` + oakDresser + `,"planned_finnish":"painted"}]}`:                        "did you mean planned_finish",
		`{"subjects":[{` + oakDresser + `,"wdith":3}]}`:                                          "did you mean width",
		`{"subjects":[{` + oakDresser + `,"method":"dip"}]}`:                                     "brush, roller, spray",
		`{"subjects":[{` + oakDresser + `,"include":["bottom"]}]}`:                               "back, insides",
		`{"subjects":[{` + oakDresser + `,"include":"back"}]}`:                                   "expected an array",
		`{"subjects":[{` + oakDresser + `,"planned_second_part":"sides"}]}`:                      "top, drawer_fronts, legs",
		`{"subjects":[{` + oakDresser + `,"planned_topcoat":"honey"}]}`:                          "water_clear",
		`{"subjects":[{` + oakDresser + `,"planned_condition":"superb"}]}`:                       "excellent",
		`{"subjects":[{` + oakDresser + `,"hours_a_week":0}]}`:                                   "more than 0",
		`{"subjects":[{` + oakDresser + `,"hours_a_week":1e308}]}`:                               "at most 168",
		`{"subjects":[{` + oakDresser + `,"hours_a_week":1e999}]}`:                               "out of range",
		`{"subjects":[{` + oakDresser + `,"hours_a_week":"ten"}]}`:                               "expected a number",
		`{"subjects":[{` + oakDresser + `,"assumptions":{"leg_hight":4}}]}`:                      "did you mean leg_height",
		`{"subjects":[{` + oakDresser + `,"assumptions":{"leg_height":-4}}]}`:                    "expected 0 to",
		`{"subjects":[{` + oakDresser + `,"assumptions":{"transfer_efficiency":0}}]}`:            "expected 0.05 to 1 share",
		`{"subjects":[{` + oakDresser + `,"assumptions":{"color_coats":"many"}}]}`:               "expected a number",
		`{"subjects":[{` + oakDresser + `,"assumptions":[1]}]}`:                                  "expected an object",
		`{"subjects":[{` + oakDresser + `,"planned_finish":"` + strings.Repeat("x", 61) + `"}]}`: "longer than 60",
		`{"subjects":[{"category":"dresser","width":-3}]}`:                                       "width",
		`{"subjects":[7]}`: "expected an object",
	} {
		if p := wantProblem(t, s.do(t, call{method: "POST", path: path, key: key, body: body}), 422, "invalid"); !strings.Contains(p.Detail+fmt.Sprint(p.Errors), wanted) {
			t.Errorf("%s: %q %+v, want %q", body, p.Detail, p.Errors, wanted)
		}
	}
	odd := s.refinishes(t, key, `{"subjects":[{"category":"nightstand","width":200,"planned_finish":"painted"}]}`)[0].Planned
	if odd.Refusal != nil || len(odd.Warnings) == 0 || !strings.Contains(odd.Warnings[0].Text, "It is 200 in; usual are 11.8 to 31.5") || odd.Area < 20 {
		t.Errorf("a nightstand of 200 inches: %+v", odd.Warnings)
	}
}

// The group's prices of materials: rough shop prices are shown beside its own
// and marked.
func TestMaterialPriceSetting(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	type group struct {
		MaterialPrices []struct {
			Product, Unit, Basis string
			Price, Size          float64
		} `json:"material_prices"`
	}
	own := func(g group) (n int) {
		for _, p := range g.MaterialPrices {
			if p.Basis == "group" {
				n++
			} else if p.Basis != "common practice, no source" || p.Price <= 0 || p.Size <= 0 {
				t.Errorf("%+v", p)
			}
		}
		return n
	}
	before := s.do(t, call{method: "GET", path: "/v1/group", key: key})
	if g := want[group](t, before, 200); own(g) != 0 || len(g.MaterialPrices) < 12 {
		t.Errorf("%+v", g)
	}
	g := want[group](t, s.do(t, call{method: "PATCH", path: "/v1/group", key: key, body: `{"material_prices":[{"product":"paint","price":"31.50","size":1,"unit":"qt"},{"product":"wax","price":20,"size":8,"unit":"fl_oz","basis":"common practice, no source"}]}`}), 200)
	if p := g.MaterialPrices[0]; own(g) != 1 || p.Product != "paint" || p.Price != 31.5 {
		t.Errorf("%+v", g)
	}
	planned := s.refinishes(t, key, `{"subjects":[{`+oakDresser+`,"planned_finish":"painted","planned_color":"navy"}]}`)[0].Planned
	for _, p := range planned.Products {
		if p.Product == "paint" && (p.Basis != "group" || *p.ToBuy != 31.5 || p.Unit != "qt") {
			t.Errorf("%+v", p)
		}
	}
	wantProblem(t, s.do(t, call{method: "PATCH", path: "/v1/group", key: key, body: `{"material_prices":[{"product":"paint","price":"a lot","size":1,"unit":"qt"}]}`}), 422, "invalid")
	wantProblem(t, s.do(t, call{method: "PATCH", path: "/v1/group", key: key, body: `{"material_prices":[{"product":"glue","price":3,"size":1,"unit":"qt"}]}`}), 422, "invalid")
	if g := want[group](t, s.do(t, call{method: "PATCH", path: "/v1/group", key: key, body: `{"material_prices":[]}`}), 200); own(g) != 0 {
		t.Errorf("%+v", g)
	}
}

// A batch of 500 is answered.
func TestRefinishBatch(t *testing.T) {
	t.Parallel()
	s := setup(t)
	one := `{` + oakDresser + `,"planned_finish":"painted"}`
	got := s.refinishes(t, s.Keys["Otto"], `{"finishes":1,"subjects":[`+strings.Repeat(one+",", 499)+one+`]}`)
	if len(got) != 500 || got[499].Planned == nil {
		t.Errorf("%d answers", len(got))
	}
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/refinish-estimates", key: s.Keys["Otto"], body: `{"subjects":[` + strings.Repeat(one+",", 500) + one + `]}`}), 422, "invalid")
}
