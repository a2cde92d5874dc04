package profit_test

import (
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/profit"
	"askwright/service/recording"
	"askwright/service/servicetest"
)

func reportOf(t testing.TB, f *servicetest.Fixture, a *service.Actor, q profit.Query) *profit.Report {
	t.Helper()
	p, err := f.Profit.Report(t.Context(), a, q)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func dateOf(t testing.TB, text string) pricing.Date {
	t.Helper()
	d, err := pricing.ParseDate(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// refinished is a piece with two listings, whose costs stand in both rows.
const refinished = `ref,piece_ref,category,finish,venue,listed_on,ask,outcome,ended_on,sale_price,sold_venue,bought_on,bought_from,purchase_cost,pickup_cost,materials_cost,hours,hours_other,delivery_charged,delivery_cost
B-17,B-17,cabinet,painted,town board,2025-11-01,230,pulled,2025-12-20,,,2025-10-10,thrift,45,10,30.15,8,2,,
B-17-2,B-17,cabinet,clear,town board;checkout,2026-01-10,310,sold,2026-01-16,300,Checkout,,,,,66.25,15,3.5,40,25
`

func TestARefinishedPieceCostsOnce(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	a := f.Actor(t, "Wilda")
	if got, err := f.Recording.Import(t.Context(), a, servicetest.Rows(t, refinished), recording.ImportOptions{Atomic: true}); err != nil || got.Rejected > 0 {
		t.Fatal(got, err)
	}
	p := reportOf(t, f, a, profit.Query{WithLines: true})
	if len(p.Items) != 1 || p.Items[0].Group != "B-17" || p.Items[0].Sale.Listing.Finish != "clear" || len(p.Stock) != 0 {
		t.Fatalf("items %+v, stock %v; want the piece once, in the finish that sold", p.Items, p.Stock)
	}
	got := p.Items[0]
	// 300 - (45 + 10 + 30.15 + 66.25) + 40 - 25 = 163.60 over 28.5 hours and 98 days
	perHour, _ := got.PerHour()
	perDay, _ := got.PerDayOwned()
	margin, _ := got.MarginPercent()
	back, _ := got.ReturnPercent()
	for what, pair := range map[string][2]int64{
		"revenue": {int64(got.Revenue), 30000}, "cost": {int64(got.Cost()), 15140}, "profit": {int64(got.Profit()), 16360},
		"hours": {int64(got.Hours()), 2850}, "an hour": {perHour, 574}, "days": {int64(got.DaysOwned), 98}, "a day": {perDay, 167},
		"margin": {margin, 481}, "return": {back, 927},
	} {
		if pair[0] != pair[1] {
			t.Errorf("%s %d, want %d", what, pair[0], pair[1])
		}
	}
	days := map[string]string{}
	for _, l := range p.Lines {
		days[l.Kind] = l.On.String()
	}
	want := map[string]string{
		"purchase_cost": "2025-10-10", "pickup_cost": "2025-10-10", "materials_cost": "2026-01-10", "hours": "2026-01-10", "hours_other": "2026-01-10",
		"delivery_charged": "2026-01-16", "delivery_cost": "2026-01-16", "sale_price": "2026-01-16",
	}
	if !maps.Equal(days, want) {
		t.Errorf("days of the lines %v, want %v", days, want)
	}
	// On New Year's Eve it was unsold, with what it had cost by then.
	p = reportOf(t, f, a, profit.Query{To: dateOf(t, "2025-12-31")})
	if len(p.Items) != 0 || len(p.Stock) != 1 || p.StockTotal.Cost() != 8515 || p.StockTotal.DaysOwned != 82 {
		t.Errorf("at the end of 2025: items %+v, stock %+v; want nothing sold and 85.15 in stock", p.Items, p.StockTotal)
	}
}

func TestFeesByVenue(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	a := f.Actor(t, "Wilda")
	if _, err := f.Recording.Import(t.Context(), a, servicetest.Rows(t, refinished), recording.ImportOptions{}); err != nil {
		t.Fatal(err)
	}
	_, err := f.Members.UpdateGroup(t.Context(), a, func(g *service.Group) error {
		g.FeeRate = 0.02
		g.VenueFees = []service.VenueFee{
			{Venue: "checkout", From: dateOf(t, "2026-02-01"), Rate: 0.15}, {Venue: " Checkout", Rate: 0.125},
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	a = f.Actor(t, "Wilda")
	if p := reportOf(t, f, a, profit.Query{}); p.Total.FeesEstimated != 3750 || p.Total.Amount(service.CostFees) != 3750 || p.Total.FeesUntold != 1 {
		t.Errorf("fees %d, estimated %d; want 37.50, the rate of the venue on the day of the sale", p.Total.Amount(service.CostFees), p.Total.FeesEstimated)
	}
	rates := map[string]float64{"": 0.02, "town board": 0.02, "CHECKOUT": 0.15, "town board; checkout": 0.085, ";": 0.02}
	for venues, want := range rates {
		if got := a.Group.SettingsFor(venues, a.Today).FeeRate; math.Abs(got-want) > 1e-12 {
			t.Errorf("rate of %q is %v, want %v", venues, got, want)
		}
	}
	if got := a.Group.SettingsFor("checkout", dateOf(t, "2026-01-31")).FeeRate; got != 0.125 {
		t.Errorf("rate before the new one is %v, want 0.125", got)
	}
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-17-2", "category": "cabinet", "fees": "0"})
	if p := reportOf(t, f, a, profit.Query{}); p.Total.FeesEstimated != 0 || p.Total.Amount(service.CostFees) != 0 {
		t.Errorf("fees %d after none were recorded as paid, want 0", p.Total.Amount(service.CostFees))
	}
	for name, fees := range map[string][]service.VenueFee{
		"no venue": {{Rate: 0.1}}, "several venues": {{Venue: "a;b", Rate: 0.1}}, "too much": {{Venue: "a", Rate: 0.95}},
		"two of one day": {{Venue: "a", Rate: 0.1}, {Venue: "A", Rate: 0.2}},
	} {
		if _, err := f.Members.UpdateGroup(t.Context(), a, func(g *service.Group) error { g.VenueFees = fees; return nil }); err == nil || !strings.Contains(err.Error(), "venue_fees") {
			t.Errorf("%s: %v, want an error of venue_fees", name, err)
		}
	}
}

// A piece that nobody timed or bought on a known day has no earning per hour or
// day, and takes no part in that of its group.
func TestRatiosLeaveOutTheUnknown(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	a := f.Actor(t, "Wilda")
	sold := service.Cells{"category": "desk", "listed_on": "2026-03-01", "ask": "100", "outcome": "sold", "ended_on": "2026-03-02", "sale_price": "100"}
	with := func(cells service.Cells) service.Cells {
		all := maps.Clone(sold)
		maps.Copy(all, cells)
		return all
	}
	servicetest.Record(t, f, "Wilda", with(service.Cells{"ref": "D-1"}))
	p := reportOf(t, f, a, profit.Query{By: "category"})
	if _, ok := p.Total.PerHour(); ok {
		t.Error("an earning per hour without hours")
	}
	if _, ok := p.Total.PerDayOwned(); ok {
		t.Error("an earning per day without a day of purchase")
	}
	if _, ok := p.Total.ReturnPercent(); ok || p.Total.PurchaseUnknown != 1 {
		t.Errorf("a return on no cost; purchases unknown %d, want 1", p.Total.PurchaseUnknown)
	}
	if len(p.QuickSales) != 1 || p.Items[0].Verdict != profit.VerdictTooFew {
		t.Errorf("quick sales %v, verdict %q; want one, and too few to judge", p.QuickSales, p.Items[0].Verdict)
	}
	servicetest.Record(t, f, "Wilda", with(service.Cells{"ref": "D-2", "hours": "3", "purchase_cost": "40", "bought_on": "2026-02-20", "sale_price": "90"}))
	p = reportOf(t, f, a, profit.Query{By: "category"})
	if perHour, _ := p.Total.PerHour(); perHour != 1667 || p.Total.Timed != 1 { // 50 / 3
		t.Errorf("an hour %d of %d timed pieces, want 16.67 of 1", perHour, p.Total.Timed)
	}
	if perDay, _ := p.Total.PerDayOwned(); perDay != 500 || p.Total.Dated != 1 { // 50 / 10
		t.Errorf("a day %d of %d dated pieces, want 5.00 of 1", perDay, p.Total.Dated)
	}
	servicetest.Record(t, f, "Wilda", with(service.Cells{"ref": "D-3", "hours": "2", "purchase_cost": "110", "sale_price": "95", "ended_on": "2026-03-04"}))
	p = reportOf(t, f, a, profit.Query{})
	if back, _ := p.Items[2].ReturnPercent(); back != -136 || p.Items[2].Lost != 1 { // -15 / 110 = -13.636 %
		t.Errorf("return %d, want -13.6 %%", back)
	}
	if len(p.QuickSales) != 1 { // D-2 went below its ask, D-3 later
		t.Errorf("%d quick sales, want 1", len(p.QuickSales))
	}
}

// A source whose hours earn much less than the others is named, from five
// pieces on.
func TestVerdicts(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	var rows strings.Builder
	rows.WriteString("ref,category,listed_on,ask,outcome,ended_on,sale_price,bought_from,purchase_cost,hours\n")
	for i := range 5 {
		n := strconv.Itoa(i)
		rows.WriteString("T-" + n + ",desk,2026-01-01,200,sold,2026-02-01,190,thrift,40,10\n")  // 15 an hour
		rows.WriteString("A-" + n + ",desk,2026-01-01,200,sold,2026-02-01,190,auction,90,10\n") // 10 an hour
		if i > 0 {
			rows.WriteString("K-" + n + ",desk,2026-01-01,200,sold,2026-02-01,10,kerb,0,10\n") // 1 an hour
		}
	}
	a := f.Actor(t, "Wilda")
	if got, err := f.Recording.Import(t.Context(), a, servicetest.Rows(t, rows.String()), recording.ImportOptions{}); err != nil || got.Rejected > 0 {
		t.Fatal(got, err)
	}
	verdicts := func() map[string]string {
		out := map[string]string{}
		for _, i := range reportOf(t, f, f.Actor(t, "Wilda"), profit.Query{By: "source"}).Items {
			out[i.Group] = i.Verdict
		}
		return out
	}
	// The others' hours bring (750 + 40) / 90 = 8.78: ten is not less.
	if got, want := verdicts(), map[string]string{"thrift": "keep", "auction": "keep", "kerb": "too_few"}; !maps.Equal(got, want) {
		t.Errorf("verdicts %v, want %v", got, want)
	}
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "K-0", "category": "desk", "listed_on": "2026-01-01", "ask": "200", "outcome": "sold", "ended_on": "2026-02-01", "sale_price": "10", "bought_from": "kerb", "hours": "10"})
	if got := verdicts()["kerb"]; got != profit.VerdictStop {
		t.Errorf("verdict %q on 1 an hour where the others bring 12.50, want stop", got)
	}
	sentences := pricing.Joined(reportOf(t, f, f.Actor(t, "Wilda"), profit.Query{By: "source"}).Sentences)
	if !strings.Contains(sentences, "kerb: 1.00 an hour on 5 pieces, 0 at a loss; your other pieces bring 12.50.") {
		t.Errorf("sentences: %s", sentences)
	}
	if _, err := f.Members.UpdateGroup(t.Context(), a, func(g *service.Group) error { g.HourValue = 100; return nil }); err != nil {
		t.Fatal(err)
	}
	if got := verdicts()["kerb"]; got != profit.VerdictKeep {
		t.Errorf("verdict %q where an hour is worth 1.00, want keep", got)
	}
}

// Amounts in currencies of 0, 2 and 3 digits: minor units after ISO 4217, list
// one as published on 2024-06-25. Whatever is on file, each grouping's items
// and lines add up to the total, to the minor unit.
func TestProfitAddsUpInEveryCurrency(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	digits := map[string]int{"USD": 2, "CAD": 2, "EUR": 2, "JPY": 0, "KWD": 3}
	codes := slices.Sorted(maps.Keys(digits))
	for _, code := range codes {
		currency, ok := service.CurrencyByCode(code)
		if !ok || currency.Digits != digits[code] {
			t.Errorf("%s has %d digits, want %d", code, currency.Digits, digits[code])
		}
		g := service.NewGroup("Group in "+code, currency)
		g.FeeRate = 0.0375
		g.VenueFees = []service.VenueFee{{Venue: "checkout", Rate: 0.129999}}
		_, key, err := f.Members.CreateGroup(t.Context(), g, "Wilda")
		if err != nil {
			t.Fatal(err)
		}
		f.Keys[code] = key
	}
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		code := rapid.SampledFrom(codes).Draw(rt, "currency")
		a := f.Actor(t, code)
		for i := range rapid.IntRange(1, 3).Draw(rt, "rows") {
			servicetest.Record(t, f, code, randomRow(rt, a.Group.Currency, "P-"+strconv.Itoa(n), i))
		}
		checkAdding(rt, t, f, a)
	})
}

// randomRow is the i-th listing of a piece.
func randomRow(rt *rapid.T, c service.Currency, piece string, i int) service.Cells {
	start := servicetest.Today - 400 + pricing.Date(100*i)
	end := start + pricing.Date(rapid.IntRange(0, 90).Draw(rt, "days"))
	amount := func(name string) string {
		return service.Money(rapid.Int64Range(1, 90_000_000).Draw(rt, name)).Format(c)
	}
	cells := service.Cells{
		"ref": piece + "-" + strconv.Itoa(i), "piece_ref": piece, "listed_on": start.String(), "ended_on": end.String(), "ask": amount("ask"), "outcome": "pulled",
		"category": rapid.SampledFrom([]string{"desk", "bench"}).Draw(rt, "category"), "finish": rapid.SampledFrom([]string{"", "painted", "clear"}).Draw(rt, "finish"),
		"venue": rapid.SampledFrom([]string{"", "checkout", "checkout;board"}).Draw(rt, "venue"),
	}
	if rapid.Bool().Draw(rt, "sold") {
		cells["outcome"], cells["sale_price"] = "sold", amount("price")
	}
	if rapid.Bool().Draw(rt, "dated") {
		cells["bought_on"] = (start - 10).String()
		cells["bought_from"] = rapid.SampledFrom([]string{"thrift", "kerb"}).Draw(rt, "source")
	}
	for _, kind := range service.CostKinds {
		if rapid.Bool().Draw(rt, string(kind)+" known") {
			cells[string(kind)] = service.FormatCost(kind, service.Amount(rapid.Int64Range(0, 900_000).Draw(rt, string(kind))), c)
		}
	}
	return cells
}

func checkAdding(rt *rapid.T, t *testing.T, f *servicetest.Fixture, a *service.Actor) {
	var first *profit.Report
	for _, by := range profit.Groupings {
		p := reportOf(t, f, a, profit.Query{By: by, WithLines: true})
		if first == nil {
			first = p
		}
		lines := map[string]map[string]int64{}
		for _, l := range p.Lines {
			if lines[l.Group] == nil {
				lines[l.Group] = map[string]int64{}
			}
			lines[l.Group][l.Kind] += int64(l.Amount)
		}
		pieces, revenue, result := 0, service.Money(0), service.Money(0)
		for _, i := range p.Items {
			pieces, revenue, result = pieces+i.Pieces, revenue+i.Revenue, result+i.Profit()
			of := lines[i.Group]
			if got := service.Money(of[profit.LineSalePrice]); got != i.Revenue {
				rt.Fatalf("%s %s: lines of revenue %d, figure %d", by, i.Group, got, i.Revenue)
			}
			for _, kind := range service.CostKinds {
				got := of[string(kind)]
				if kind == service.CostFees {
					got += of[profit.LineEstimatedFees]
				}
				if got != int64(i.Costs[kind]) {
					rt.Fatalf("%s %s: lines of %s %d, figure %d", by, i.Group, kind, got, i.Costs[kind])
				}
			}
		}
		if pieces != p.Total.Pieces || revenue != p.Total.Revenue || result != p.Total.Profit() {
			rt.Fatalf("by %s: %d pieces, revenue %d, profit %d; total %d, %d, %d", by, pieces, revenue, result, p.Total.Pieces, p.Total.Revenue, p.Total.Profit())
		}
		if p.Total.Profit() != first.Total.Profit() || p.StockTotal.Cost() != first.StockTotal.Cost() {
			rt.Fatalf("by %s the total is %d, by %s %d", by, p.Total.Profit(), profit.Groupings[0], first.Total.Profit())
		}
	}
}
