package api_test

import (
	"encoding/csv"
	"fmt"
	"math/big"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/profit"
	"askwright/service/servicetest"
)

// reportFigures are columns of the profit report, each with the same figure in
// PostgreSQL's numeric arithmetic, over the rows of sold below.
var reportFigures = [][2]string{
	{"pieces", "count(*)"},
	{"revenue", "round(sum(revenue), 2)"},
	{"purchase_cost", "round(sum(purchase), 2)"},
	{"pickup_cost", "round(sum(pickup), 2)"},
	{"materials_cost", "round(sum(materials), 2)"},
	{"other_cost", "round(sum(other), 2)"},
	{"fees", "round(sum(fees), 2)"},
	{"fees_estimated", "round(sum(estimated), 2)"},
	{"cost", "round(sum(cost), 2)"},
	{"delivery_charged", "round(sum(charged), 2)"},
	{"delivery_cost", "round(sum(delivery), 2)"},
	{"profit", "round(sum(profit), 2)"},
	{"margin_percent", "round(100 * sum(profit) / nullif(sum(revenue + charged - fees), 0), 1)"},
	{"return_on_cost_percent", "round(100 * sum(profit) / nullif(sum(cost + delivery), 0), 1)"},
	{"hours", "trim_scale(sum(bench))"},
	{"hours_other", "trim_scale(sum(elsewhere))"},
	{"profit_per_hour", "round(sum(profit) filter (where bench + elsewhere > 0) / nullif(sum(bench + elsewhere), 0), 2)"},
	{"timed_pieces", "count(*) filter (where bench + elsewhere > 0)"},
	{"days_owned", "sum(days)"},
	{"profit_per_day_owned", "round(sum(profit) filter (where days is not null) / nullif(sum(days), 0), 2)"},
	{"dated_pieces", "count(days)"},
	{"purchase_unknown", "count(*) filter (where unpaid)"},
	{"at_a_loss", "count(*) filter (where profit < 0)"},
}

// soldPieces calculates each sold piece of a member (%s) from the tables, in
// numeric, apart from the service: fees that nobody recorded from the rates
// that the test sets.
const soldPieces = `
	with rates(venue, since, rate) as (values
		('local classifieds', date '0001-01-01', 0.0125), ('local classifieds', date '2025-10-01', 0.0275), ('porch sale board', date '0001-01-01', 0.0503)),
	own as (select l.* from askwright.listing l join askwright.member m using (group_id, member_id) where m.name = '%s' and l.source = 'own'),
	line as (
		select o.piece_id, c.kind, c.amount / 100.0 as amount, c.on_date from own o join askwright.cost_line c using (group_id, listing_id)
		where c.voids is null and c.line_id not in (select voids from askwright.cost_line where voids is not null)),
	origin as (
		select o.piece_id, min(g.bought_on) as bought_on, (array_agg(g.bought_from order by o.listed_on) filter (where g.bought_from <> ''))[1] as bought_from
		from own o join askwright.ledger g using (group_id, listing_id) group by o.piece_id),
	sale as (
		select distinct on (piece_id) piece_id, ended_on, category, finish, lower(sold_venue) as venue from own where outcome = 'sold'
		order by piece_id, ended_on desc),
	told as (
		select s.*, p.ref, g.bought_on, g.bought_from, (select sum(sale_price) from own o where o.piece_id = s.piece_id) / 100.0 as revenue,
			(select jsonb_object_agg(kind, total) from (select kind, sum(amount) as total from line where line.piece_id = s.piece_id group by kind) k) as costs
		from sale s join askwright.piece p using (piece_id) left join origin g using (piece_id)),
	priced as (
		select *, case when costs->>'fees' is null then round(revenue * coalesce(
			(select rate from rates where rates.venue = told.venue and since <= ended_on order by since desc limit 1), 0.0333), 2) else 0 end as estimated
		from told),
	spent as (
		select *, coalesce((costs->>'purchase_cost')::numeric, 0) as purchase, coalesce((costs->>'pickup_cost')::numeric, 0) as pickup,
			coalesce((costs->>'materials_cost')::numeric, 0) as materials, coalesce((costs->>'other_cost')::numeric, 0) as other,
			coalesce((costs->>'fees')::numeric, 0) + estimated as fees, coalesce((costs->>'delivery_charged')::numeric, 0) as charged,
			coalesce((costs->>'delivery_cost')::numeric, 0) as delivery, coalesce((costs->>'hours')::numeric, 0) as bench,
			coalesce((costs->>'hours_other')::numeric, 0) as elsewhere, case when bought_on is not null then greatest(1, ended_on - bought_on) end as days, costs->>'purchase_cost' is null as unpaid
		from priced),
	costed as (select *, purchase + pickup + materials + other + fees as cost from spent),
	sold as (select *, revenue + charged - cost - delivery as profit from costed)`

// groupings are the expressions over sold for each by.
var groupings = map[string]string{
	"piece": "ref", "month": "to_char(ended_on, 'YYYY-MM')", "year": "to_char(ended_on, 'YYYY')", "category": "category",
	"finish": "coalesce(nullif(finish, ''), 'unknown')", "venue": "coalesce(nullif(venue, ''), 'unknown')", "source": "coalesce(bought_from, 'unknown')",
}

// ledgerOfTheDemo is the demo with fees by venue, and pieces of which little is
// known, or something undone.
func ledgerOfTheDemo(t *testing.T) *site {
	t.Helper()
	f := servicetest.Demo(t)
	s := newSite(t, f, web.Limits{RequestsPerMinute: 100_000})
	want[row](t, s.do(t, call{method: "PATCH", path: "/v1/group", key: s.keyWith(t, "Maren", service.ScopeAdmin), body: `{"fee_rate":0.0333,"venue_fees":[
		{"venue":"Local classifieds","rate":0.0125},{"venue":"local classifieds","from":"2025-10-01","rate":0.0275},{"venue":"porch sale board","rate":0.0503}]}`}), 200)
	for _, body := range []string{
		`{"ref":"X-1","category":"desk","listed_on":"2026-02-01","ask":101,"outcome":"sold","ended_on":"2026-02-01","sale_price":101.01}`,
		`{"ref":"X-2","category":"desk","listed_on":"2026-02-01","ask":55,"outcome":"sold","ended_on":"2026-02-09","sale_price":45.45,"purchase_cost":60,"bought_on":"2026-02-09","hours":0.25}`,
		`{"ref":"X-3","category":"bench","listed_on":"2026-02-01","ask":5,"outcome":"sold","ended_on":"2026-02-09","sale_price":1.5,"fees":1.5,"bought_from":"kerb"}`,
	} {
		made := s.create(t, "Maren", body)
		piece := want[struct{ Items []struct{ ID string } }](t, s.do(t, call{method: "GET", path: "/v1/pieces?state=sold&member=me&limit=1000", key: s.Keys["Maren"]}), 200)
		id := piece.Items[len(piece.Items)-1].ID // X sorts last
		paint := s.do(t, call{method: "POST", path: "/v1/pieces/" + id + "/costs", key: s.Keys["Maren"], body: `{"kind":"purchase_cost","amount":12.34}`})
		line := want[row](t, paint, 201)
		if line["ref"] != made["ref"] {
			t.Fatalf("the line went to %v, not to %v", line["ref"], made["ref"])
		}
		want[row](t, s.do(t, call{method: "POST", path: "/v1/pieces/" + id + "/costs", key: s.Keys["Maren"], body: `{"voids":"` + line["id"].(string) + `"}`}), 201)
	}
	s.create(t, "Maren", `{"ref":"X-4","category":"desk","stage":"on_bench","bought_on":"2025-06-01","purchase_cost":25,"closed_as":"given_away","closed_on":"2025-11-30"}`)
	return s
}

// Every figure of every grouping, for every member, equals PostgreSQL's own
// numeric calculation from the tables.
func TestProfitEqualsNumericSQL(t *testing.T) {
	t.Parallel()
	s := ledgerOfTheDemo(t)
	fields, figures := []string{"group"}, []string{}
	for _, f := range reportFigures {
		fields, figures = append(fields, f[0]), append(figures, "coalesce(("+f[1]+")::text, '')")
	}
	line := strings.Join(figures, " || ',' || ")
	for member, key := range s.Keys {
		with := fmt.Sprintf(soldPieces, member)
		for by, expr := range groupings {
			sql := with + " select (" + expr + ")::text || ',' || " + line + " from sold group by " + expr
			expected := s.Select(t, sql)
			r := s.do(t, call{method: "GET", path: "/v1/reports/profit.csv?by=" + by + "&fields=" + strings.Join(fields, ","), key: key})
			got := strings.Split(strings.TrimSuffix(r.body, "\r\n"), "\r\n")[1:]
			slices.Sort(expected)
			slices.Sort(got)
			if len(expected) == 0 {
				t.Errorf("%s sold nothing: nothing was tested", member)
			}
			if diff := cmp.Diff(expected, got); diff != "" {
				t.Errorf("%s by %s (-SQL +report), columns %v:\n%s", member, by, fields, diff)
			}
		}
		checkTotals(t, s, member, key, with)
	}
}

// checkTotals compares the total of a year and the stock at its end.
func checkTotals(t *testing.T, s *site, member, key, with string) {
	t.Helper()
	type amounts struct {
		Pieces                int
		Revenue, Profit, Cost float64
	}
	report := want[struct {
		Items      []amounts
		Total      amounts
		StockTotal amounts `json:"stock_total"`
		StockOn    string  `json:"stock_on"`
	}](t, s.do(t, call{method: "GET", path: "/v1/reports/profit?from=2025-01-01&to=2025-12-31", key: key}), 200)
	wanted := s.Select(t, with+" select count(*) || ',' || coalesce(sum(revenue), 0)::float8 || ',' || coalesce(sum(profit), 0)::float8 from sold where ended_on between '2025-01-01' and '2025-12-31'")
	got := fmt.Sprintf("%d,%v,%v", report.Total.Pieces, report.Total.Revenue, report.Total.Profit)
	if got != wanted[0] || len(report.Items) != report.Total.Pieces {
		t.Errorf("%s in 2025: pieces, revenue, profit %s, want %s", member, got, wanted[0])
	}
	wanted = s.Select(t, with+`, held as (
		select o.piece_id from own o left join origin g using (piece_id) group by o.piece_id
		having coalesce(min(g.bought_on), min(o.listed_on), '0001-01-01') <= '2025-12-31' and not bool_or(o.outcome = 'sold' and o.ended_on <= '2025-12-31')
		is true and not bool_or(coalesce(o.stage, '') = 'found') and coalesce(min(o.let_go_on), '2026-01-01') > '2025-12-31')
		select count(*) || ',' || coalesce(sum(cost), 0)::float8 from (
			select piece_id, (select sum(amount) from line where line.piece_id = held.piece_id and on_date <= '2025-12-31'
				and kind in ('purchase_cost', 'pickup_cost', 'materials_cost', 'other_cost', 'fees')) as cost from held) x`)
	got = fmt.Sprintf("%d,%v", report.StockTotal.Pieces, report.StockTotal.Cost)
	stock := want[struct{ Items []amounts }](t, s.do(t, call{method: "GET", path: "/v1/reports/stock?to=2025-12-31", key: key}), 200).Items
	if got != wanted[0] || len(stock) != report.StockTotal.Pieces || report.StockOn != "2025-12-31" {
		t.Errorf("%s at the end of 2025: pieces in stock, cost %s, want %s", member, got, wanted[0])
	}
}

func TestProfitForms(t *testing.T) {
	t.Parallel()
	s := ledgerOfTheDemo(t)
	key := s.Keys["Maren"]
	r := s.do(t, call{method: "GET", path: "/v1/reports/profit.csv", key: key})
	if r.Header.Get("Askwright-Caution") == "" || strings.Contains(r.body, "advice") {
		t.Errorf("the CSV's caution is %q; its rows hold data alone", r.Header.Get("Askwright-Caution"))
	}
	for _, path := range []string{"/v1/reports/profit.csv", "/v1/reports/profit-lines.csv", "/v1/reports/stock.csv", "/v1/reports/let-go.csv", "/v1/reports/quick-sales.csv", "/v1/reports/profit.csv?by=source&delimiter=%3B&decimal=,"} {
		r := s.do(t, call{method: "GET", path: path, key: key})
		table := csv.NewReader(strings.NewReader(r.body))
		if strings.Contains(path, "%3B") {
			table.Comma = ';'
		}
		records, err := table.ReadAll()
		if err != nil || len(records) < 2 || r.StatusCode != 200 {
			t.Errorf("%s: %d, %d rows, %v", path, r.StatusCode, len(records), err)
		}
	}
	type line struct {
		Group, Kind, On string
		Amount          float64
		CostID          string `json:"cost_id"`
		ListingID       string `json:"listing_id"`
	}
	report := want[struct {
		Items []struct {
			Group   string
			Profit  float64
			PerHour *float64 `json:"profit_per_hour"`
			Verdict string
		}
		Sentences []wire.Sentence
		Cautions  []struct{ Code string }
	}](t, s.do(t, call{method: "GET", path: "/v1/reports/profit", key: key}), 200)
	quickSales := want[struct{ Items []struct{ Ref string } }](t, s.do(t, call{method: "GET", path: "/v1/reports/quick-sales", key: key}), 200).Items
	letGo := want[struct {
		Items []struct {
			Ref       string
			Cost      float64
			DaysOwned int `json:"days_owned"`
		}
	}](t, s.do(t, call{method: "GET", path: "/v1/reports/let-go", key: key}), 200).Items
	lines := want[struct{ Items []line }](t, s.do(t, call{method: "GET", path: "/v1/reports/profit-lines", key: key}), 200).Items
	if len(report.Cautions) != 1 || report.Cautions[0].Code != "no_tax_advice" || len(report.Sentences) < 2 {
		t.Errorf("cautions %v, sentences %v", report.Cautions, report.Sentences)
	}
	if !slices.ContainsFunc(quickSales, func(q struct{ Ref string }) bool { return q.Ref == "M-52" }) {
		t.Errorf("quick sales %v, want M-52 among them", quickSales)
	}
	if len(letGo) != 1 || letGo[0].Ref != "X-4" || letGo[0].Cost != 25 || letGo[0].DaysOwned != 182 {
		t.Errorf("let go: %+v, want X-4 at a cost of 25.00 after 182 days", letGo)
	}
	if len(lines) == 0 {
		t.Error("no lines")
	}
	for _, item := range report.Items {
		if item.Group == "X-1" && (item.PerHour != nil || item.Profit != 97.65) { // 101.01 less 3.33 %, 3.36
			t.Errorf("X-1: profit %v, an hour %v; want 97.65 and null", item.Profit, item.PerHour)
		}
	}
	for _, l := range lines {
		isCost := l.Kind != profit.LineSalePrice && l.Kind != profit.LineEstimatedFees
		if (l.CostID != "") != isCost || l.ListingID == "" || l.On == "" {
			t.Errorf("line %+v cannot be traced", l)
		}
	}
	for _, path := range []string{"?by=colour", "?from=2026-01-02&to=2026-01-01", "?rows=lines", "?member=me", "?from=yesterday"} {
		wantProblem(t, s.do(t, call{method: "GET", path: "/v1/reports/profit" + path, key: key}), 400, "malformed")
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/reports/profit.csv?lines=true", key: key}), 400, "malformed")
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/reports/profit.csv?key=" + s.keyWith(t, "Maren", service.ScopeFeed)}), 400, "key-in-address")
}

func TestCosts(t *testing.T) {
	t.Parallel()
	s := setup(t)
	s.create(t, "Otto", `{"ref":"B-17","category":"desk","stage":"on_bench","purchase_cost":40}`)
	id := want[struct{ Items []struct{ ID string } }](t, s.do(t, call{method: "GET", path: "/v1/pieces", key: s.Keys["Otto"]}), 200).Items[0].ID
	costs := "/v1/pieces/" + id + "/costs"
	post := func(member, body string) reply {
		return s.do(t, call{method: "POST", path: costs, key: s.Keys[member], body: body})
	}
	line := want[row](t, post("Otto", `{"kind":"hours","hours":"1.50","on":"2026-03-03","step":"Clear coat","note":"two thin ones"}`), 201)
	if line["hours"] != 1.5 || line["step"] != "clear_coat" || line["amount"] != nil || line["on"] != "2026-03-03" {
		t.Errorf("line %v", line)
	}
	want[row](t, post("Otto", `{"kind":"materials_cost","amount":12.5,"note":"=1+1"}`), 201)
	want[row](t, post("Otto", `{"voids":"`+line["id"].(string)+`"}`), 201)
	r := s.do(t, call{method: "GET", path: costs + ".csv?fields=on,kind,amount,hours,step,note", key: s.Keys["Otto"]})
	wanted := "on,kind,amount,hours,step,note\r\n2026-03-03,hours,,1.5,clear_coat,two thin ones\r\n2026-03-03,hours,,-1.5,clear_coat,\r\n" +
		"2026-03-31,purchase_cost,40.00,,,\r\n2026-03-31,materials_cost,12.50,,,'=1+1\r\n"
	if r.body != wanted {
		t.Errorf("CSV\n%s\nwant\n%s", r.body, wanted)
	}
	if piece := s.do(t, call{method: "GET", path: "/v1/pieces/" + id, key: s.Keys["Otto"]}).body; !strings.Contains(piece, `"materials_cost":12.50`) || !strings.Contains(piece, `"hours":null`) {
		t.Errorf("the piece shows %s; want materials of 12.50 and no hours", piece)
	}
	// To others the ledger is not there, also for an admin key.
	wantProblem(t, s.do(t, call{method: "GET", path: costs, key: s.Keys["Wilda"]}), 404, "not-found")
	wantProblem(t, post("Wilda", `{"kind":"fees","amount":1}`), 404, "not-found")
	p := wantProblem(t, post("Otto", `{"kind":"fees","amount":"1.005"}`), 422, "invalid")
	if len(p.Errors) != 1 || p.Errors[0].Pointer != "#/amount" {
		t.Errorf("errors %+v, want one of /amount", p.Errors)
	}
	wantProblem(t, post("Otto", `{"voids":"`+line["id"].(string)+`"}`), 409, "conflict")
	wantProblem(t, post("Otto", `{"kind":"fees","amount":1,"price":2}`), 422, "invalid")
}

// Digits after ISO 4217, list one as published on 2024-06-25: JPY 0, KWD 3.
func TestProfitInOtherCurrencies(t *testing.T) {
	t.Parallel()
	for code, wanted := range map[string]string{
		"JPY": "desk,48000,5040,12000,30960,72.1,6880\r\n", // 10.5 % of 48000; 30960 / 42960; 30960 / 4.5 hours
		"KWD": "desk,48.125,5.053,12.000,31.072,72.1,6.905\r\n",
		"EUR": "desk,48.13,5.05,12.00,31.08,72.1,6.91\r\n",
	} {
		s := setup(t)
		amount := strings.SplitN(wanted, ",", 4)[1]
		want[row](t, s.do(t, call{method: "PATCH", path: "/v1/group", key: s.Keys["Wilda"], body: `{"currency":"` + code + `","fee_rate":0.105}`}), 200)
		cost := map[string]string{"JPY": "12000"}[code]
		if cost == "" {
			cost = "12"
		}
		s.create(t, "Wilda", `{"ref":"B-17","category":"desk","listed_on":"2026-03-01","ask":"`+amount+`","outcome":"sold","ended_on":"2026-03-20","sale_price":"`+amount+`","purchase_cost":"`+cost+`","hours":4.5}`)
		r := s.do(t, call{method: "GET", path: "/v1/reports/profit.csv?by=category&fields=group,revenue,fees_estimated,purchase_cost,profit,margin_percent,profit_per_hour", key: s.Keys["Wilda"]})
		_, got, _ := strings.Cut(r.body, "\r\n")
		if margin := strings.Split(wanted, ",")[5]; got != wanted {
			t.Errorf("%s: %q, want %q with a margin of %s %% of what came in after fees", code, got, wanted, margin)
		}
	}
}

// A reader of three CSV files can trace each figure of the report: the lines of
// a piece add up to it, and those of a row to the row's own cells.
func TestProfitCanBeTraced(t *testing.T) {
	t.Parallel()
	s := ledgerOfTheDemo(t)
	for member, key := range s.Keys {
		table := func(path string) []map[string]string {
			return cells(t, s.do(t, call{method: "GET", path: path, key: key}).body)
		}
		rows, report := map[string]map[string]string{}, map[string]map[string]string{}
		for _, r := range table("/v1/listings.csv?member=me&source=own") {
			rows[r["ref"]] = r
		}
		for _, r := range table("/v1/reports/profit.csv") {
			report[r["group"]] = r
		}
		ofRow, ofPiece := map[string]*big.Rat{}, map[string]*big.Rat{}
		for _, l := range table("/v1/reports/profit-lines.csv") {
			amount, ok := new(big.Rat).SetString(l["amount"] + l["hours"]) // one of them is empty
			if !ok {
				t.Fatalf("%s: %v", member, l)
			}
			for sums, of := range map[*map[string]*big.Rat]string{&ofRow: l["ref"], &ofPiece: l["piece_ref"]} {
				of += " " + l["kind"]
				if (*sums)[of] == nil {
					(*sums)[of] = new(big.Rat)
				}
				(*sums)[of].Add((*sums)[of], amount)
			}
		}
		for of, sum := range ofRow {
			ref, kind, _ := strings.Cut(of, " ")
			if cell, ok := new(big.Rat).SetString(rows[ref][kind]); kind != profit.LineEstimatedFees && (!ok || cell.Cmp(sum) != 0) {
				t.Errorf("%s: lines of %s add up to %s, its cell is %q", member, of, sum.FloatString(2), rows[ref][kind])
			}
		}
		for piece, figures := range report {
			for column, kinds := range map[string][]string{
				"revenue": {profit.LineSalePrice}, "fees": {"fees", profit.LineEstimatedFees}, "purchase_cost": {"purchase_cost"}, "pickup_cost": {"pickup_cost"},
				"materials_cost": {"materials_cost"}, "other_cost": {"other_cost"}, "delivery_charged": {"delivery_charged"}, "delivery_cost": {"delivery_cost"},
				"hours": {"hours"}, "hours_other": {"hours_other"},
			} {
				sum := new(big.Rat)
				for _, kind := range kinds {
					if one := ofPiece[piece+" "+kind]; one != nil {
						sum.Add(sum, one)
					}
				}
				if figure, ok := new(big.Rat).SetString(figures[column]); !ok || figure.Cmp(sum) != 0 {
					t.Errorf("%s: lines of %s add up to %s of %s, the report has %q", member, piece, column, sum.FloatString(2), figures[column])
				}
			}
		}
		if len(ofRow) < 20 || len(report) < 5 {
			t.Errorf("%s: %d sums of rows, %d pieces: little was tested", member, len(ofRow), len(report))
		}
	}
}

// cells reads a CSV file with a header.
func cells(t *testing.T, text string) []map[string]string {
	t.Helper()
	records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil || len(records) < 2 {
		t.Fatalf("%v: %.300s", err, text)
	}
	var out []map[string]string
	for _, r := range records[1:] {
		one := map[string]string{}
		for i, name := range records[0] {
			one[name] = r[i]
		}
		out = append(out, one)
	}
	return out
}
