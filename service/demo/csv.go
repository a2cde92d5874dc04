package demo

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
)

// columns are those that the rows use, in the order of a spreadsheet. Every
// name is one of the listing row; pauses stand in the column pauses, never one
// at a time.
var columns = []string{
	"ref", "piece_ref", "source", "last_seen_on", "stage", "category", "set_size", "set_items",
	"width", "depth", "height", "unit", "material", "wood", "style", "year_made", "condition",
	"finish", "color", "second_finish", "second_color", "topcoat", "sheen", "hardware",
	"drawers", "doors", "maker", "flaws", "smell", "venues", "sold_venue", "area",
	"listed_on", "ask", "own_price", "ask_history", "pauses", "views", "saves", "messages", "showings",
	"outcome", "ended_on", "sale_price",
	"bought_on", "bought_from", "condition_found", "purchase_cost", "pickup_cost", "materials_cost",
	"other_cost", "fees", "delivery_charged", "delivery_cost", "hours", "hours_other", "notes",
}

// WriteCSV writes a header of the columns and the rows as CSV (RFC 4180, but lines
// end in LF). It refuses a row with a column that is not one of them.
func WriteCSV(w io.Writer, rows []Row) error {
	out := csv.NewWriter(w)
	if err := out.Write(columns); err != nil {
		return fmt.Errorf("writing the header: %w", err)
	}
	for i, row := range rows {
		cells := make([]string, len(columns))
		for name, text := range row {
			j := slices.Index(columns, name)
			if j < 0 {
				return fmt.Errorf("row %d (%s): no column %q", i+1, row["ref"], name)
			}
			cells[j] = text
		}
		if err := out.Write(cells); err != nil {
			return fmt.Errorf("writing row %d: %w", i+1, err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("writing the rows: %w", err)
	}
	return nil
}
