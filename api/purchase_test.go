package api_test

import (
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service/servicetest"
)

// demoSite is the API on the demo group, where an hour is worth 18, with the
// key of a member who may change the group.
func demoSite(t *testing.T) (*site, string) {
	t.Helper()
	s := newSite(t, servicetest.Demo(t), web.Limits{RequestsPerMinute: 100_000})
	for _, key := range s.Keys {
		if strings.HasPrefix(key, "ask_a") {
			want[row](t, s.do(t, call{method: "PATCH", path: "/v1/group", key: key, body: `{"hour_value":18}`}), 200)
			return s, key
		}
	}
	t.Fatal("nobody may change the group")
	return nil, ""
}

type outcome struct {
	Price          float64
	CashLeft       float64  `json:"cash_left"`
	CashPerHour    *float64 `json:"cash_per_hour"`
	LeftAfterHours *float64 `json:"left_after_hours"`
	ChanceOfLoss   *float64 `json:"chance_of_loss"`
}

type purchaseLimit struct {
	Ref, Category string
	Rank          *int
	Offer         *float64
	WalkAway      *float64 `json:"walk_away"`
	MostToPay     *float64 `json:"most_to_pay"`
	AtLikely      *float64 `json:"at_likely"`
	BreakEven     *float64 `json:"break_even"`
	RuleOfThird   *float64 `json:"rule_of_third"`
	AtMost        *outcome `json:"at_most"`
	AtSellerAsk   *outcome `json:"at_seller_ask"`
	PassBy        *string  `json:"pass_by"`
	Plan          struct {
		Finish, Color, Condition string
		Hours                    float64
		DaysOut                  int    `json:"days_out"`
		CostsFrom                string `json:"costs_from"`
	}
	SalePrice   *struct{ Likely, Low, High float64 } `json:"sale_price"`
	Costs       *struct{ Materials, Labor, Transport, Other, Holding, Fees float64 }
	Sensitivity []struct {
		Input, Change string
		Difference    float64
	}
	Inspect   []struct{ Code, Text, Source string }
	Refusal   *struct{ Reason string }
	Sentences []wire.Sentence
	Cautions  []struct{ Code string }
}

type purchaseAnswer struct {
	Items    []purchaseLimit
	RankedBy string `json:"ranked_by"`
}

const kerbside = `"category":"dresser","width":60,"depth":20,"height":36,"material":"solid_wood","condition":"good","planned_finish":"painted"`

func TestPurchaseLimits(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	ask := func(body string) purchaseAnswer {
		t.Helper()
		return want[purchaseAnswer](t, s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key, body: body}), 200)
	}
	all := ask(`{"subjects":[{` + kerbside + `,"materials":30,"hours":5,"days_out":7,"transport":15,"price":60},
		{"ref":"K-2",` + kerbside + `,"materials":30,"hours":3,"days_out":7,"price":"40.00"},
		{"category":"harmonium","planned_finish":"painted","hours":5},
		{"category":"dresser","material":"laminate","planned_finish":"stained","hours":5}]}`)
	first, second := all.Items[0], all.Items[1]
	if first.MostToPay == nil || first.AtSellerAsk == nil || first.Costs == nil || first.Offer == nil || first.WalkAway == nil {
		t.Fatalf("the first find: %+v", first)
	}
	if *first.Offer > *first.WalkAway || *first.WalkAway > *first.MostToPay || *first.MostToPay > *first.AtLikely || *first.AtLikely > *first.BreakEven {
		t.Errorf("offer %g, walk away %g, most %g, at likely %g, break-even %g", *first.Offer, *first.WalkAway, *first.MostToPay, *first.AtLikely, *first.BreakEven)
	}
	if c := first.Costs; c.Materials != 30 || c.Labor != 5*18 || c.Transport != 15 {
		t.Errorf("costs %+v", *c)
	}
	if p := first.AtSellerAsk; p.Price != 60 || !about(*p.LeftAfterHours, *first.BreakEven-60) || !about(*p.CashPerHour, p.CashLeft/5) || !about(p.CashLeft, *p.LeftAfterHours+5*18) || p.ChanceOfLoss == nil {
		t.Errorf("at the price: %+v", p)
	}
	if p := first.AtMost; !about(*p.LeftAfterHours, *first.BreakEven-*first.MostToPay) || *p.ChanceOfLoss < 0 || *p.ChanceOfLoss > 1 {
		t.Errorf("at the most to pay: %+v", p)
	}
	if first.Plan.CostsFrom != "find" || first.Plan.Finish != "painted" || first.Plan.Condition != "very_good" || first.SalePrice == nil || len(first.Sensitivity) < 5 {
		t.Errorf("plan %+v, sensitivity %+v", first.Plan, first.Sensitivity)
	}
	if second.Ref != "K-2" || *second.Rank != 1 || *first.Rank != 2 || all.RankedBy != "cash_per_hour" || *second.MostToPay <= *first.MostToPay {
		t.Errorf("ranked by %s: %d and %d", all.RankedBy, *first.Rank, *second.Rank)
	}
	if r := all.Items[2]; r.Refusal == nil || r.Refusal.Reason != "interval_too_wide" || r.MostToPay != nil || r.Rank != nil {
		t.Errorf("a kind never sold: %+v", r)
	}
	if r := all.Items[3]; r.Refusal == nil || r.Refusal.Reason != "finish_not_possible" || r.Costs != nil {
		t.Errorf("stain on laminate: %+v", r)
	}
	if codes := fmt.Sprint(first.Cautions); codes != "[{lead} {recall} {tip_over}]" {
		t.Errorf("cautions %s", codes)
	}
}

func about(got, want float64) bool { return got > want-0.02 && got < want+0.02 }

// What a find leaves out comes from the group's options, or counts as nothing
// with a word about it; without hours the rank is by profit.
func TestPurchaseCosts(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	ask := func(finds string) purchaseAnswer {
		t.Helper()
		return want[purchaseAnswer](t, s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key, body: `{"subjects":[` + finds + `]}`}), 200)
	}
	said := func(l purchaseLimit) bool {
		return strings.Contains(textOf(l.Sentences), "Work not counted")
	}
	none := ask(`{"category":"dresser","condition":"good","planned_finish":"gilded"}`)
	if l := none.Items[0]; l.Plan.CostsFrom != "nothing" || !said(l) || none.RankedBy != "cash_left" || l.AtMost.CashPerHour != nil || l.Plan.Hours != 0 {
		t.Errorf("no costs known: %+v", l)
	}
	// The work is what the refinish estimate tells.
	estimated := ask(`{` + kerbside + `}`).Items[0]
	work := want[struct {
		Items []struct {
			Planned struct {
				Materials, Hours float64
				DaysOut          int `json:"days_out"`
			}
		}
	}](t, s.do(t, call{method: "POST", path: "/v1/refinish-estimates", key: key, body: `{"subjects":[{` + kerbside + `}]}`}), 200).Items[0].Planned
	if p := estimated.Plan; p.CostsFrom != "estimate" || said(estimated) || !about(p.Hours, work.Hours) || p.Hours < 3 || p.DaysOut != work.DaysOut || !about(estimated.Costs.Materials, work.Materials) {
		t.Errorf("estimated: %+v, the work %+v", estimated, work)
	}
	asItIs := ask(`{"category":"dresser","condition":"fair","material":"solid_wood"}`).Items[0]
	if asItIs.Plan.CostsFrom != "as_it_is" || said(asItIs) || fmt.Sprint(asItIs.Cautions) != "[{recall} {tip_over}]" {
		t.Errorf("as it is: %+v", asItIs)
	}
	want[row](t, s.do(t, call{method: "PATCH", path: "/v1/group", key: key, body: `{"refinish_options":[
		{"finish":"painted","color":"navy","materials":44,"hours":9,"days_out":8},{"finish":"painted","materials":33,"hours":7,"days_out":6},
		{"finish":"clear","color":"natural","materials":20,"hours":12,"days_out":10}]}`}), 200)
	for find, wanted := range map[string]string{
		`{` + kerbside + `,"planned_color":"navy"}`:                                 "44 9 8 refinish_options",
		`{` + kerbside + `,"planned_color":"green"}`:                                "33 7 6 refinish_options",
		`{` + kerbside + `}`:                                                        "33 7 6 refinish_options",
		`{` + kerbside + `,"hours":2}`:                                              "33 2 6 refinish_options",
		`{` + kerbside + `,"hours":2,"materials":0,"days_out":0}`:                   "0 2 0 find",
		`{"category":"dresser","planned_finish":"clear","planned_color":"natural"}`: "20 12 10 refinish_options",
		`{"category":"dresser","finish":"painted","planned_color":"red"}`:           "33 7 6 refinish_options",
		`{"category":"dresser","planned_finish":"gilded"}`:                          "0 0 0 nothing",
	} {
		l := ask(find).Items[0]
		if l.Refusal != nil || l.Costs == nil {
			t.Errorf("%s: %+v", find, l.Refusal)
			continue
		}
		if got := fmt.Sprint(l.Costs.Materials, l.Plan.Hours, l.Plan.DaysOut) + " " + l.Plan.CostsFrom; got != wanted {
			t.Errorf("%s: %s, want %s", find, got, wanted)
		}
	}
}

// A piece on file brings its own costs; another member's costs stay theirs.
func TestPurchaseOfPieceOnFile(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	mine := want[row](t, s.do(t, call{method: "POST", path: "/v1/listings", key: key, body: `{"ref":"YARD-1","category":"dresser","stage":"bought","width":40,"depth":18,"height":34,"condition":"fair","finish":"original","purchase_cost":55,"pickup_cost":12,"hours":1.5,"materials_cost":9}`}), 201)
	path := call{method: "POST", path: "/v1/purchase-limits", key: key, body: `{"subjects":[{"ref":"YARD-1"},{"id":"` + mine["id"].(string) + `","price":70,"planned_finish":"painted","hours":6}]}`}
	l := want[purchaseAnswer](t, s.do(t, path), 200).Items
	if p := l[0].AtSellerAsk; p == nil || p.Price != 55 || l[0].Costs.Transport != 12 || l[0].Costs.Materials != 9 || l[0].Plan.Hours != 1.5 || l[0].Ref != "YARD-1" {
		t.Errorf("on file: %+v", l[0])
	}
	if p := l[1].AtSellerAsk; p == nil || p.Price != 70 || l[1].Plan.Hours != 6 || l[1].Plan.Finish != "painted" || l[1].Costs.Transport != 12 {
		t.Errorf("laid over: %+v", l[1])
	}
	want[row](t, s.do(t, call{method: "POST", path: "/v1/listings", key: key, body: `{"ref":"SEEN-1","category":"dresser","stage":"found","seller_ask":65}`}), 201)
	found := want[purchaseAnswer](t, s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key, body: `{"subjects":[{"ref":"SEEN-1","condition":"good"}]}`}), 200).Items[0]
	if p := found.AtSellerAsk; p == nil || p.Price != 65 {
		t.Errorf("what the seller asks: %+v", found)
	}
	for _, other := range s.Keys {
		if other == key {
			continue
		}
		path.key = other
		path.body = `{"subjects":[{"id":"` + mine["id"].(string) + `"}]}`
		if l := want[purchaseAnswer](t, s.do(t, path), 200).Items[0]; l.AtSellerAsk != nil || l.Costs.Transport != 0 || l.Costs.Materials != 0 || l.Plan.Hours != 0 {
			t.Errorf("another member reads the costs: %+v", l)
		}
	}
}

func TestPurchaseTables(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	finds := "\uFEFFref;category;width;planned_finish;hours;price;materials\r\nF-1;dresser;60;painted;3;30;20\r\n;;;;;;\r\nF-2;harmonium;;;;;\r\n"
	header := []string{"Content-Type", "text/csv", "Accept", "text/csv"}
	r := s.do(t, call{method: "POST", path: "/v1/purchase-limits?hourly=20&fields=ref,rank,walk_away,at_seller_ask_price,at_seller_ask_chance_of_loss,refusal", key: key, body: finds, header: header})
	if r.StatusCode != 200 || !strings.HasPrefix(r.Header.Get("Content-Type"), "text/csv") {
		t.Fatalf("%d: %s", r.StatusCode, r.body)
	}
	table, err := csv.NewReader(strings.NewReader(r.body)).ReadAll()
	if err != nil || len(table) != 3 {
		t.Fatalf("%v in %q", err, r.body)
	}
	asJSON := want[purchaseAnswer](t, s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key,
		body: `{"subjects":[{"ref":"F-1","category":"dresser","width":60,"planned_finish":"painted","hours":3,"price":30,"materials":20}],"target":{"hourly":20}}`}), 200).Items[0]
	walk, err := strconv.ParseFloat(table[1][2], 64)
	if err != nil || table[1][0] != "F-1" || table[1][1] != "1" || walk != *asJSON.WalkAway || table[1][3] != "30.00" || table[1][4] == "" || table[2][5] != "interval_too_wide" || table[2][1] != "" {
		t.Errorf("table %q, as JSON %+v", table, asJSON)
	}
	for _, both := range []string{"hourly=20&profit=4", "margin_percent=120"} {
		wantProblem(t, s.do(t, call{method: "POST", path: "/v1/purchase-limits?" + both, key: key, body: finds, header: header}), 422, "invalid")
	}
	for path, reason := range map[string]string{
		"/v1/purchase-limits?hourly=-20": "more than zero", "/v1/purchase-limits?margin_percent=0": "more than zero", "/v1/purchase-limits?target=5": "not known",
	} {
		p := wantProblem(t, s.do(t, call{method: "POST", path: path, key: key, body: finds, header: header}), 400, "malformed")
		if !strings.Contains(p.Detail, reason) {
			t.Errorf("%s: %q, want %q", path, p.Detail, reason)
		}
	}
	p := wantProblem(t, s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key, body: "category,planned_finnish\ndesk,painted\n", header: header}), 422, "invalid")
	if !strings.Contains(p.Detail, "planned_finish") {
		t.Errorf("no advice: %q", p.Detail)
	}
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key, body: "category,price\ndesk,5,7\n", header: header}), 422, "invalid")
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key, body: "category\n" + strings.Repeat("desk\n", 501), header: header}), 413, "too-large")
	wantProblem(t, s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key, body: "category\n", header: header}), 422, "invalid")
}

func TestPurchaseFaults(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Otto"]
	for body, reason := range map[string]string{
		`{"subjects":[]}`: "expected 1 to 500",
		`{"subjects":[{"category":"desk","planned_finnish":"painted"}]}`:      "did you mean planned_finish",
		`{"subjects":[{"category":"desk","planned_condition":"9"}]}`:          "planned_condition",
		`{"subjects":[{"category":"desk","price":-1}]}`:                       "must not be negative",
		`{"subjects":[{"category":"desk","price":"lots"}]}`:                   "price",
		`{"subjects":[{"category":"desk","days_out":400}]}`:                   "0 to 365",
		`{"subjects":[{"category":"desk","days_out":1.5}]}`:                   "whole number",
		`{"subjects":[{"category":"desk","hours":"1e5"}]}`:                    "hours",
		`{"subjects":[{"category":"desk","planned_color":"navy"}]}`:           "planned_finish",
		`{"subjects":[{"width":4}]}`:                                          "category",
		`{"subjects":[{"ref":"nowhere"}]}`:                                    "no listing with the ref",
		`{"subjects":[{"category":"desk"}],"target":{"hourly":0}}`:            "more than zero",
		`{"subjects":[{"category":"desk"}],"target":{"margin_percent":0}}`:    "more than zero",
		`{"subjects":[{"category":"desk"}],"target":{"margin_percent":-3}}`:   "0.1 to 99",
		`{"subjects":[{"category":"desk"}],"target":{"profit":5,"hourly":5}}`: "one of",
		`{"subjects":[{"category":"desk"}],"target":{"profit":"9e99"}}`:       "profit",
		`{"subjects":[{"category":"desk"}],"target":{"profits":5}}`:           "did you mean profit",
	} {
		r := s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key, body: body})
		if p := wantProblem(t, r, 422, "invalid"); !strings.Contains(r.body, reason) {
			t.Errorf("%s: %q, want %q", body, p.Detail, reason)
		}
	}
	// Without sales there is no limit but from one's own price.
	r := want[purchaseAnswer](t, s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key, body: `{"subjects":[{"category":"desk"},{"category":"desk","own_price":300,"price":0}]}`}), 200)
	if l := r.Items[0]; l.Refusal == nil || l.Refusal.Reason != "too_few_sales" || l.MostToPay != nil {
		t.Errorf("without sales: %+v", l)
	}
	if l := r.Items[1]; l.MostToPay == nil || l.AtLikely == nil || l.AtSellerAsk == nil || l.SalePrice != nil || l.Rank == nil {
		t.Errorf("with an estimate: %+v", l)
	}
}

// A size that such pieces hardly have is warned of with the usual span, and
// answered: in a suggestion, and in the limit of a find with and without an
// estimate of the work.
func TestUnusualSizeIsAnswered(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	for path, subject := range map[string]string{
		"/v1/suggestions":                   `{"category":"nightstand","width":110}`,
		"/v1/purchase-limits":               `{"category":"nightstand","width":110}`,
		"/v1/purchase-limits?with=its work": `{"category":"nightstand","width":110,"planned_finish":"painted","planned_color":"navy"}`,
	} {
		path, _, _ := strings.Cut(path, "?")
		type told struct {
			Ask      float64
			Warnings []struct{ Code, Text string }
		}
		got := want[struct{ Items []told }](t, s.do(t, call{method: "POST", path: path, key: key, body: `{"subjects":[` + subject + `,{"category":"nightstand","width":20}]}`}), 200)
		both := got.Items
		if w := both[0].Warnings; both[0].Ask <= 0 || len(w) == 0 || w[0].Code != "unusual_size" || !strings.HasSuffix(w[0].Text, "It is 110 in; usual are 11.8 to 31.5 (common practice, no source).") {
			t.Errorf("%s: asked %g, %v", path, both[0].Ask, w)
		}
		if w := both[1].Warnings; both[1].Ask <= 0 || len(w) > 0 && w[0].Code == "unusual_size" {
			t.Errorf("%s: of a usual size %+v", path, both[1])
		}
	}
}

// The look planned for a find is kept with it, and taken where none is told.
func TestPlanOfAFindIsKept(t *testing.T) {
	t.Parallel()
	s, key := demoSite(t)
	const plan = `"planned_finish":"painted","planned_color":"navy"`
	made := want[row](t, s.do(t, call{method: "POST", path: "/v1/listings", key: key, body: `{"ref":"F-1","stage":"found","category":"dresser","width":48,"seller_ask":45,` + plan + `}`}), 201)
	if made["planned_finish"] != "painted" || made["planned_color"] != "navy" {
		t.Errorf("on file %v", made)
	}
	limits := want[struct{ Items []purchaseLimit }](t, s.do(t, call{method: "POST", path: "/v1/purchase-limits", key: key,
		body: `{"subjects":[{"ref":"F-1"},{"ref":"F-1",` + plan + `},{"ref":"F-1","planned_finish":"cleaned"}]}`}), 200).Items
	if kept, told, other := limits[0], limits[1], limits[2]; kept.Plan.Finish != "painted" || kept.Plan.Color != "navy" || kept.Plan.CostsFrom == "as_it_is" ||
		*kept.MostToPay != *told.MostToPay || other.Plan.Finish != "cleaned" || *other.MostToPay == *kept.MostToPay {
		t.Errorf("kept %+v\ntold %+v\nother %+v", kept, told, other)
	}
}
