package demo_test

import (
	"bytes"
	"encoding/csv"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"askwright/pricing"
	"askwright/service/demo"
)

// days are days that a demo may be made on, with both ends of leap days and
// of the slow season.
var days = []pricing.Date{
	pricing.NewDate(2024, time.February, 29),
	pricing.NewDate(2024, time.March, 1),
	pricing.NewDate(2026, time.February, 28),
	pricing.NewDate(2026, time.June, 15),
	pricing.NewDate(2026, time.December, 31),
	pricing.NewDate(2027, time.January, 1),
	pricing.NewDate(2028, time.February, 29),
	pricing.NewDate(2031, time.October, 9),
}

func TestGenerateRepeats(t *testing.T) {
	for _, day := range days[:3] {
		first, second := demo.Generate(day, 7), demo.Generate(day, 7)
		if diff := cmp.Diff(first, second); diff != "" {
			t.Fatalf("%v: the same seed gave other rows (-first +second):\n%s", day, diff)
		}
		if reflect.DeepEqual(first, demo.Generate(day, 8)) {
			t.Errorf("%v: another seed gave the same rows", day)
		}
		if reflect.DeepEqual(first, demo.Generate(day+1, 7)) {
			t.Errorf("%v: another day gave the same rows", day)
		}
	}
}

func TestGroup(t *testing.T) {
	if _, err := time.LoadLocation(demo.TimeZone); err != nil {
		t.Errorf("time zone: %v", err)
	}
	for seed, day := range days {
		members := demo.Generate(day, uint64(seed))
		if got, want := len(members), 5; got != want {
			t.Errorf("%v: %d members, want %d", day, got, want)
		}
		names := map[string]bool{}
		for _, m := range members {
			names[m.Name] = true
			if len(m.Rows) < 35 {
				t.Errorf("%v: %s has %d rows, want at least 35", day, m.Name, len(m.Rows))
			}
		}
		if len(names) != 5 {
			t.Errorf("%v: names repeat: %v", day, names)
		}
	}
}

// TestKinds counts what a tour, a chart or a fit wants to find in the rows.
func TestKinds(t *testing.T) {
	atLeast := map[string]int{
		"own": 220, "observed": 25, "sold": 100, "pulled": 40, "open": 30,
		"refinished": 12, "relisted": 4, "paused": 60, "paused now": 2, "cut": 120,
		"pair": 5, "chairs": 4, "mixed set": 3, "orphan": 2, "yard found": 5, "yard bought": 5, "yard on_bench": 5,
		"observed, sold without a price": 3, "observed, fate unknown": 10,
		"not counted": 25, "own_price": 190, "open under 14 days": 1, "open over 60 days": 3,
		"half inch": 30, "centimetres": 1, "free at the kerb": 5, "fees": 2, "delivery": 10,
	}
	for seed, day := range days {
		got := kinds(demo.Generate(day, uint64(seed)), day)
		for kind, want := range atLeast {
			if got[kind] < want {
				t.Errorf("%v: %s: %d, want at least %d", day, kind, got[kind], want)
			}
		}
		if n := got["own"] + got["observed"]; n < 300 || n > 340 {
			t.Errorf("%v: %d listings, want 300 to 340", day, n)
		}
		if n := got["open"]; n > 45 {
			t.Errorf("%v: %d open, want at most 45", day, n)
		}
		if n := got["categories"]; n < 14 {
			t.Errorf("%v: %d categories, want at least 14", day, n)
		}
	}
}

func kinds(members []demo.Member, today pricing.Date) map[string]int {
	n, categories := map[string]int{}, map[string]bool{}
	for _, m := range members {
		before := map[string]demo.Row{}
		for _, r := range m.Rows {
			switch {
			case r["stage"] != "":
				n["yard "+r["stage"]]++
			case r["source"] == "observed":
				countObserved(n, r)
			default:
				countOwn(n, r, before[r["piece_ref"]], today)
				before[r["ref"]] = r
			}
			categories[r["category"]] = true
		}
	}
	n["categories"] = len(categories)
	return n
}

func countObserved(n map[string]int, r demo.Row) {
	n["observed"]++
	if r["outcome"] == "sold" && r["sale_price"] == "" {
		n["observed, sold without a price"]++
	}
	if r["outcome"] == "open" {
		n["observed, fate unknown"]++
	}
}

func countOwn(n map[string]int, r, before demo.Row, today pricing.Date) {
	n["own"]++
	n[r["outcome"]]++
	count := func(kind string, is bool) {
		if is {
			n[kind]++
		}
	}
	if strings.HasSuffix(r["ref"], "-2") {
		same := true
		for _, c := range []string{"finish", "color", "hardware", "condition"} {
			same = same && r[c] == before[c]
		}
		count("relisted", same)
		count("refinished", !same)
	}
	set, alone := r["set_size"] != "", r["set_size"] == "" && r["set_items"] == ""
	inPairs := r["category"] == "nightstand" || r["category"] == "end_table"
	chair := r["category"] == "dining_chair"
	count("pair", r["set_size"] == "2" && inPairs)
	count("chairs", set && chair)
	count("orphan", alone && (inPairs || chair))
	count("mixed set", r["set_items"] != "")
	count("paused", r["pauses"] != "")
	count("paused now", strings.HasSuffix(r["pauses"], "/.."))
	count("cut", r["ask_history"] != "")
	count("not counted", r["messages"] == "")
	count("own_price", r["own_price"] != "")
	count("half inch", strings.Contains(r["width"], " 1/2"))
	count("centimetres", r["unit"] == "cm")
	count("free at the kerb", r["purchase_cost"] == "0" && r["bought_from"] == "kerb")
	count("fees", r["fees"] != "")
	count("delivery", r["delivery_charged"] != "")
	if listed, err := pricing.ParseDate(r["listed_on"]); err == nil && r["outcome"] == "open" {
		count("open under 14 days", today-listed < 14)
		count("open over 60 days", today-listed > 60)
	}
}

// At midnight in London it is still the evening before in Otterford.
func TestTodayIsTheGroups(t *testing.T) {
	for at, want := range map[string]string{"2026-11-26T05:59:00Z": "2026-11-25", "2026-11-26T06:00:00Z": "2026-11-26", "2026-07-01T04:59:00Z": "2026-06-30"} {
		now, err := time.Parse(time.RFC3339, at)
		if err != nil {
			t.Fatal(err)
		}
		if got := demo.Today(now).String(); got != want {
			t.Errorf("%s: %s, want %s", at, got, want)
		}
	}
}

func TestStories(t *testing.T) {
	day := days[3]
	rows := map[string]demo.Row{}
	for _, m := range demo.Generate(day, 3) {
		for _, r := range m.Rows {
			rows[m.Name+" "+r["ref"]] = r
		}
	}
	quick := rows["Maren "+demo.QuickSale]
	if got, want := date(t, quick, "ended_on")-date(t, quick, "listed_on"), pricing.Date(1); got != want || quick["sale_price"] != quick["ask"] {
		t.Errorf("quick sale: sold after %d days at %s of %s, want the next day at the ask", got, quick["sale_price"], quick["ask"])
	}

	grey, oak := rows["Brisa "+demo.Rescue], rows["Brisa "+demo.Rescue+"-2"]
	if grey["outcome"] != "pulled" || grey["finish"] != "painted" || oak["outcome"] != "sold" || oak["finish"] != "clear" || oak["hardware"] != "replaced" {
		t.Errorf("rescue: %s %s, then %s %s with %s pulls", grey["finish"], grey["outcome"], oak["finish"], oak["outcome"], oak["hardware"])
	}
	if oak["piece_ref"] != demo.Rescue {
		t.Errorf("rescue: of piece %q, want %q", oak["piece_ref"], demo.Rescue)
	}
	if rescued := money(t, oak, "sale_price") - money(t, grey, "ask") - money(t, oak, "materials_cost"); rescued <= 0 {
		t.Errorf("rescue: %g lost by it against the last ask in grey", -rescued)
	}
	if date(t, oak, "listed_on") <= date(t, grey, "ended_on") || money(t, oak, "sale_price") <= money(t, grey, "ask") {
		t.Errorf("rescue: relisted %s after %s, sold at %s after an ask of %s", oak["listed_on"], grey["ended_on"], oak["sale_price"], grey["ask"])
	}

	regret := rows["Tolliver "+demo.Regret]
	profit := money(t, regret, "sale_price") + money(t, regret, "delivery_charged")
	for _, c := range []string{"purchase_cost", "pickup_cost", "materials_cost", "other_cost", "fees", "delivery_cost"} {
		profit -= money(t, regret, c)
	}
	if profit >= 0 || money(t, regret, "hours") < 25 || regret["smell"] == "" || regret["flaws"] == "" {
		t.Errorf("regret: profit %g after %s hours, smell %q, flaws %q", profit, regret["hours"], regret["smell"], regret["flaws"])
	}
}

// Every column must be one of the listing row, and must be used: an unused
// one would be a column that the demo cannot show.
func TestColumns(t *testing.T) {
	used := map[string]bool{}
	for seed, day := range days {
		for _, m := range demo.Generate(day, uint64(seed)) {
			for _, r := range m.Rows {
				for c := range r {
					used[c] = true
				}
			}
		}
	}
	listed := map[string]bool{}
	for _, c := range header(t) {
		if listed[c] {
			t.Errorf("column %s twice", c)
		}
		listed[c] = true
		if !slices.Contains(strings.Fields(listingRow), c) {
			t.Errorf("column %s is not one of the listing row", c)
		}
	}
	if diff := cmp.Diff(used, listed); diff != "" {
		t.Errorf("columns (-used +listed):\n%s", diff)
	}
}

// header is what WriteCSV writes above the rows.
func header(t *testing.T) []string {
	t.Helper()
	var b bytes.Buffer
	if err := demo.WriteCSV(&b, nil); err != nil {
		t.Fatalf("WriteCSV: %v", err)
	}
	return strings.Split(strings.TrimSpace(b.String()), ",")
}

// listingRow names the columns that a row may have.
const listingRow = ` ref piece_ref source last_seen_on stage category set_size set_items width depth height unit
 material wood style year_made condition finish color topcoat sheen hardware second_finish second_color
 drawers doors maker flaws smell venues sold_venue area listed_on ask own_price ask_history pauses paused_on resumed_on
 views saves messages showings outcome ended_on sale_price bought_on bought_from condition_found purchase_cost
 pickup_cost materials_cost other_cost fees delivery_charged delivery_cost hours hours_other notes `

// The rows survive CSV (RFC 4180) as encoding/csv reads it.
func TestWriteCSVRoundTrip(t *testing.T) {
	for _, m := range demo.Generate(days[0], 1) {
		var b bytes.Buffer
		if err := demo.WriteCSV(&b, m.Rows); err != nil {
			t.Fatalf("WriteCSV: %v", err)
		}
		records, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatalf("reading back: %v", err)
		}
		var got []demo.Row
		for _, cells := range records[1:] {
			r := demo.Row{}
			for i, text := range cells {
				if text != "" {
					r[records[0][i]] = text
				}
			}
			got = append(got, r)
		}
		if diff := cmp.Diff(m.Rows, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", m.Name, diff)
		}
	}
}

func TestWriteCSVQuotes(t *testing.T) {
	var b bytes.Buffer
	if err := demo.WriteCSV(&b, []demo.Row{{"ref": "A-1", "width": `35 1/2"`, "notes": "top, \"as is\"\nand legs"}}); err != nil {
		t.Fatal(err)
	}
	want := `"35 1/2""",` // RFC 4180, section 2, rules 6 and 7
	if !strings.Contains(b.String(), want) || !strings.Contains(b.String(), "\"top, \"\"as is\"\"\nand legs\"") {
		t.Errorf("got %q, want it to hold %q", b.String(), want)
	}
	err := demo.WriteCSV(&b, []demo.Row{{"ref": "A-1"}, {"ref": "A-2", "prize": "9"}})
	if err == nil || !strings.Contains(err.Error(), "row 2 (A-2)") || !strings.Contains(err.Error(), `"prize"`) {
		t.Errorf("an unknown column: %v, want an error naming row 2, A-2 and prize", err)
	}
}
