package sheet

import (
	"fmt"
	"strings"

	"askwright/service"
)

// Refusal says what a sheet is when it is no sheet of pieces, and what to do.
type Refusal struct {
	Code, Text string
}

func (r *Refusal) Error() string { return r.Text }

// bankWords are headings of bank statements. Common practice, no source.
var bankWords = []string{"balance", "running balance", "debit", "credit", "transaction", "transaction date", "withdrawal", "withdrawals",
	"deposit", "deposits", "check #", "check no", "posting date", "reference", "account", "payee", "value date", "memo"}

// refuseUnknown says what a sheet without known headings looks like.
func refuseUnknown(rows [][]Cell) *Refusal {
	var widest []Cell
	for _, row := range rows[:min(len(rows), headingWithin)] {
		bank := 0
		filled := 0
		for _, cell := range row {
			key := headingKey(cell.Text)
			if key != "" {
				filled++
			}
			for _, word := range bankWords {
				if key == word {
					bank++
				}
			}
		}
		if bank >= 2 {
			return &Refusal{"bank_statement", "This looks like a bank statement: it has payments, not pieces. Send the sheet in which each row is a piece of furniture."}
		}
		if filled > 1 && len(widest) == 0 {
			widest = row
		}
	}
	if len(widest) == 0 {
		return &Refusal{"empty", "The sheet is empty, or has no row with headings."}
	}
	return &Refusal{"no_pieces", fmt.Sprintf(
		"No row has headings of pieces of furniture; the first has %s. Send a sheet with a heading row that names at least what each piece is, its ask and the day it was listed.",
		headingList(widest))}
}

func headingList(row []Cell) string {
	var names []string
	for _, cell := range row {
		if text := service.OneLine(cell.Text); text != "" && len(names) < 6 {
			names = append(names, service.ClipTo(text, 20))
		}
	}
	return strings.Join(names, ", ")
}

// checkTable refuses a sheet whose columns say too little, or tell two tables.
func checkTable(g *Grid, at int, columns []*column) *Refusal {
	fields, twice := map[string]bool{}, 0
	headings := map[string]bool{}
	for _, col := range columns {
		fields[col.field] = true
		key := headingKey(col.heading)
		if headings[key] && knownHeading(key).field != "" {
			twice++
		}
		headings[key] = true
	}
	bank := 0
	for _, word := range bankWords {
		if headings[word] {
			bank++
		}
	}
	switch {
	case twice >= 2:
		return &Refusal{"two_tables", fmt.Sprintf("Two tables stand side by side on %s: row %d has the same headings twice. Put each on a sheet of its own.", g.title(), at+1)}
	case bank >= 2 && !fields["ask"]:
		return &Refusal{"bank_statement", "This looks like a bank statement: it has payments, not pieces. Send the sheet in which each row is a piece of furniture."}
	case !fields["category"]:
		return &Refusal{"no_category", fmt.Sprintf("No column says what each piece is. Row %d has the headings %s: give the one with dresser, desk and the like the heading Item.", at+1, headingList(g.Rows[at]))}
	case !fields["ask"] && !fields["listed_on"] && !fields["stage"] && !fields[fieldStatus] && !fields["purchase_cost"]:
		return &Refusal{"no_pieces", fmt.Sprintf("No column has asks, days of listing or what was paid. Row %d has the headings %s.", at+1, headingList(g.Rows[at]))}
	}
	return nil
}

// isTrade reports whether the kinds on a sheet are of furniture: one known in
// five is enough.
func isTrade(columns []*column) *Refusal {
	for _, col := range columns {
		if col.field != "category" || len(col.texts) == 0 {
			continue
		}
		known := 0
		for _, text := range col.texts {
			if namesFurniture(text) {
				known++
			}
		}
		if 5*known < len(col.texts) {
			return &Refusal{"other_trade", fmt.Sprintf(
				"The column %s has things like %s: these are no kinds of furniture. Send the sheet of your pieces, or map another column as the category.",
				service.Clip(col.heading), service.Clip(col.texts[0]))}
		}
	}
	return nil
}

func namesFurniture(text string) bool {
	bare, _ := cutSet(plain(text))
	if _, ok := exactKind(singular(bare)); ok {
		return true
	}
	for _, word := range strings.FieldsFunc(bare, func(r rune) bool { return strings.ContainsRune(" ,/()+-", r) }) {
		one := singular(word)
		if _, ok := exactKind(one); ok || unsureKinds[one] != "" {
			return true
		}
	}
	return nearKnown(singular(bare), service.Categories) != ""
}

func (g *Grid) title() string {
	if g.Name == "" {
		return "this sheet"
	}
	return "the sheet " + service.Clip(g.Name)
}
