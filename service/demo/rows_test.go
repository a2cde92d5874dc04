package demo_test

import (
	"fmt"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing"
	"askwright/service/demo"
)

// TestRowsAreSound checks every rule of the listing row on any day and seed.
func TestRowsAreSound(t *testing.T) {
	for seed, day := range days {
		checkGroup(t, day, uint64(seed))
	}
	rapid.Check(t, func(rt *rapid.T) {
		first, last := int(pricing.NewDate(2020, 1, 1)), int(pricing.NewDate(2045, 1, 1))
		checkGroup(rt, pricing.Date(rapid.IntRange(first, last).Draw(rt, "day")), rapid.Uint64().Draw(rt, "seed"))
	})
}

type reporter interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

func checkGroup(t reporter, today pricing.Date, seed uint64) {
	t.Helper()
	for _, m := range demo.Generate(today, seed) {
		refs, pieces := map[string]bool{}, map[string][]demo.Row{}
		for _, r := range m.Rows {
			if r["ref"] == "" || refs[r["ref"]] {
				t.Errorf("%v, seed %d: %s: ref %q is empty or twice", today, seed, m.Name, r["ref"])
			}
			refs[r["ref"]] = true
			for _, fault := range faults(t, r, today) {
				t.Errorf("%v, seed %d: %s %s: %s", today, seed, m.Name, r["ref"], fault)
			}
			piece := r["piece_ref"]
			if piece == "" {
				piece = r["ref"]
			}
			pieces[piece] = append(pieces[piece], r)
		}
		for name, rows := range pieces {
			for _, fault := range pieceFaults(t, rows) {
				t.Errorf("%v, seed %d: %s, piece %s: %s", today, seed, m.Name, name, fault)
			}
		}
	}
}

// pieceFaults checks the listings of one piece, in the order of their rows.
func pieceFaults(t reporter, rows []demo.Row) (faults []string) {
	for i := 1; i < len(rows); i++ {
		before, after := rows[i-1], rows[i]
		if before["outcome"] != "pulled" || date(t, after, "listed_on") <= date(t, before, "ended_on") {
			faults = append(faults, fmt.Sprintf("%s listed %s while %s is %s %s", after["ref"], after["listed_on"], before["ref"], before["outcome"], before["ended_on"]))
		}
		for _, c := range []string{"category", "set_size", "set_items", "width", "depth", "height", "unit", "material", "wood"} {
			if before[c] != after[c] {
				faults = append(faults, fmt.Sprintf("%s changed from %q to %q", c, before[c], after[c]))
			}
		}
		if after["outcome"] == "sold" && before["sale_price"] != "" {
			faults = append(faults, "sold twice")
		}
		for _, c := range []string{"bought_on", "bought_from", "condition_found", "purchase_cost", "pickup_cost"} {
			if after[c] != "" {
				faults = append(faults, c+" stands in a later row")
			}
		}
		if before["fees"] != "" || before["delivery_charged"] != "" || before["delivery_cost"] != "" {
			faults = append(faults, before["ref"]+" has costs of a sale")
		}
	}
	return faults
}

func faults(t reporter, r demo.Row, today pricing.Date) (found []string) {
	fault := func(format string, args ...any) { found = append(found, fmt.Sprintf(format, args...)) }
	for _, c := range []string{"listed_on", "ended_on", "bought_on", "last_seen_on"} {
		if r[c] != "" && date(t, r, c) > today {
			fault("%s %s is after today", c, r[c])
		}
	}
	for c, text := range r {
		if text == "" || text != strings.TrimSpace(text) {
			fault("%s is %q", c, text)
		}
	}
	if r["set_size"] != "" && r["set_items"] != "" {
		fault("both a set of like items and a mixed one")
	}
	if year := money(t, r, "year_made"); year < 1900 || year > 2015 {
		fault("made in %g", year)
	}
	if r["stage"] != "" {
		for _, c := range []string{"listed_on", "ask", "outcome", "ended_on", "sale_price", "views", "source"} {
			if r[c] != "" {
				fault("not offered yet, but %s is %s", c, r[c])
			}
		}
		return found
	}
	listed := date(t, r, "listed_on")
	if earliest := pricing.DateOf(today.Time().AddDate(-2, 0, 0)); listed < earliest {
		fault("listed %s, before %s", r["listed_on"], earliest)
	}
	if r["bought_on"] != "" && date(t, r, "bought_on") >= listed {
		fault("listed %s before it was bought %s", r["listed_on"], r["bought_on"])
	}
	found = append(found, endFaults(t, r, listed)...)
	found = append(found, askFaults(t, r, lastDay(t, r, today))...)
	found = append(found, pauseFaults(t, r, lastDay(t, r, today))...)
	return append(found, interestFaults(t, r)...)
}

func lastDay(t reporter, r demo.Row, today pricing.Date) pricing.Date {
	for _, c := range []string{"ended_on", "last_seen_on"} {
		if r[c] != "" {
			return date(t, r, c)
		}
	}
	return today
}

func endFaults(t reporter, r demo.Row, listed pricing.Date) (found []string) {
	fault := func(format string, args ...any) { found = append(found, fmt.Sprintf(format, args...)) }
	observed, sold := r["source"] == "observed", r["outcome"] == "sold"
	switch r["outcome"] {
	case "open":
		if r["ended_on"] != "" {
			fault("open, but ended %s", r["ended_on"])
		}
	case "sold", "pulled":
		if date(t, r, "ended_on") < listed {
			fault("ended %s before it was listed %s", r["ended_on"], r["listed_on"])
		}
	default:
		fault("outcome %q", r["outcome"])
	}
	price := money(t, r, "sale_price")
	if sold && !observed && price <= 0 {
		fault("sold without a price")
	}
	if !sold && (r["sale_price"] != "" || r["sold_venue"] != "" || r["delivery_charged"] != "") {
		fault("%s, but with a sale's price or venue", r["outcome"])
	}
	if price > money(t, r, "ask") {
		fault("sold at %g above the ask %s", price, r["ask"])
	}
	if observed {
		if seen := date(t, r, "last_seen_on"); seen < listed {
			fault("last seen %s before it was listed %s", r["last_seen_on"], r["listed_on"])
		}
		for _, c := range []string{"own_price", "messages", "pauses", "bought_on", "purchase_cost", "hours", "notes", "condition_found"} {
			if r[c] != "" {
				fault("observed, but %s is %s", c, r[c])
			}
		}
	} else if r["last_seen_on"] != "" {
		fault("own, but last seen %s", r["last_seen_on"])
	}
	return found
}

func askFaults(t reporter, r demo.Row, last pricing.Date) (found []string) {
	history := r["ask_history"]
	if history == "" {
		history = r["listed_on"] + ":" + r["ask"]
	} else if !strings.Contains(history, ";") {
		found = append(found, "a history of one ask")
	}
	var on pricing.Date
	amount, text := 1e9, ""
	for i, entry := range strings.Split(history, ";") {
		var day string
		day, text, _ = strings.Cut(entry, ":")
		next := demo.Row{"day": day, "ask": text}
		if d := date(t, next, "day"); d <= on || d > last || (i == 0 && day != r["listed_on"]) {
			found = append(found, fmt.Sprintf("asks %s: %s is out of order", history, day))
		} else {
			on = d
		}
		if a := money(t, next, "ask"); a >= amount || a <= 0 || !onStep(int(a)) || a != float64(int(a)) {
			found = append(found, fmt.Sprintf("asks %s: %s is no cut or no round price", history, text))
		} else {
			amount = a
		}
	}
	if text != r["ask"] {
		found = append(found, fmt.Sprintf("asks %s do not end at the ask %s", history, r["ask"]))
	}
	return found
}

// onStep tells whether a price is one that the trade asks: steps of 1 below
// 50, 5 below 200, 10 below 500, 25 above. Common practice, no source.
func onStep(dollars int) bool {
	switch {
	case dollars < 50:
		return true
	case dollars < 200:
		return dollars%5 == 0
	case dollars < 500:
		return dollars%10 == 0
	}
	return dollars%25 == 0
}

// pauseFaults checks ISO 8601 intervals, half-open: inside the listing, apart
// from each other, still going on only at the end of an open one.
func pauseFaults(t reporter, r demo.Row, last pricing.Date) (found []string) {
	if r["pauses"] == "" {
		return nil
	}
	end := date(t, r, "listed_on")
	intervals := strings.Split(r["pauses"], ";")
	for i, interval := range intervals {
		from, to, _ := strings.Cut(interval, "/")
		cells := demo.Row{"from": from, "to": to}
		if to == ".." {
			if r["outcome"] != "open" || i != len(intervals)-1 {
				found = append(found, fmt.Sprintf("pauses %s: still paused, but %s", r["pauses"], r["outcome"]))
			}
			cells["to"] = (last + 1).String()
		}
		if date(t, cells, "from") <= end || date(t, cells, "to") <= date(t, cells, "from") {
			found = append(found, fmt.Sprintf("pauses %s: %s overlaps, touches or is empty", r["pauses"], interval))
		}
		if end = date(t, cells, "to"); end > last && to != ".." {
			found = append(found, fmt.Sprintf("pauses %s: %s ends after the listing", r["pauses"], interval))
		}
	}
	return found
}

func interestFaults(t reporter, r demo.Row) (found []string) {
	known := 0
	for _, c := range []string{"views", "saves", "messages", "showings"} {
		if r[c] != "" {
			known++
		}
	}
	if known != 0 && known != 4 {
		found = append(found, fmt.Sprintf("%d of four counts", known))
	}
	views, messages, showings := money(t, r, "views"), money(t, r, "messages"), money(t, r, "showings")
	if views < messages || messages < showings || views < money(t, r, "saves") {
		found = append(found, fmt.Sprintf("%g views, %s saves, %g messages, %g showings", views, r["saves"], messages, showings))
	}
	if known == 4 && r["outcome"] == "sold" && showings < 1 {
		found = append(found, "sold, but nobody came")
	}
	return found
}

func date(t reporter, r demo.Row, column string) pricing.Date {
	t.Helper()
	d, err := pricing.ParseDate(r[column])
	if err != nil {
		t.Fatalf("%s: %s: %v", r["ref"], column, err)
	}
	return d
}

// money reads an amount or a number; an empty cell is zero.
func money(t reporter, r demo.Row, column string) float64 {
	t.Helper()
	if r[column] == "" {
		return 0
	}
	x, err := strconv.ParseFloat(r[column], 64)
	if err != nil || x < 0 {
		t.Fatalf("%s: %s is %q", r["ref"], column, r[column])
	}
	return x
}
