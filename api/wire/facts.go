package wire

import (
	"strings"

	"askwright/service"
)

// Fact is a line of the description.
type Fact struct{ Name, Value string }

// factColumns are those of the description that a page shows.
var factColumns = []string{
	"category", "set_size", "set_items", "width", "depth", "height", "material", "wood", "style", "year_made", "condition", "finish", "color",
	"second_finish", "second_color", "topcoat", "sheen", "hardware", "drawers", "doors", "maker", "flaws", "smell", "venues", "area",
	"listed_on", "views", "saves", "messages", "showings", "own_price", "sale_price", "ended_on", "sold_venue", "bought_on", "bought_from",
	"purchase_cost", "pickup_cost", "materials_cost", "other_cost", "hours", "hours_other", "notes", "seller_ask", "planned_finish", "planned_color",
}

// lengthSign follows a length.
func lengthSign(unit string) string {
	if unit == service.UnitInch {
		return "\""
	}
	return " " + unit
}

// factNames are what columns are called on pages, where their name does not say it.
var factNames = map[string]string{
	"set_size": "how many alike", "items": "the set", "material": "made of", "year_made": "made in", "venue": "posted at", "sold_venue": "sold at", "showings": "showings",
	"own_price": "own price", "ended_on": "ended", "listed_on": "listed", "bought_on": "bought", "bought_from": "bought at", "purchase_cost": "paid",
	"pickup_cost": "pickup", "materials_cost": "materials", "other_cost": "other costs", "hours": "bench hours", "hours_other": "other hours",
	"second_finish": "second finish", "second_color": "second color", "sale_price": "sold for", "condition_found": "condition when bought",
	"delivery_charged": "delivery charged", "delivery_cost": "delivery", "retired": "retired as", "closed_on": "retired", "closed_note": "why",
	"seller_ask": "seller asks", "planned_finish": "finish planned", "planned_color": "color planned", "ended": "ended", "piece_ref": "piece",
}

// FactName is what a column is called on a page.
func FactName(column string) string {
	if name, ok := factNames[column]; ok {
		return name
	}
	return service.InWords(column)
}

// Facts are the columns of a row that have a value and that the viewer may see.
func (v Viewer) Facts(l *service.Listing) []Fact {
	var out []Fact
	for _, name := range factColumns {
		column, _ := service.ColumnByName(name)
		value := v.Value(column, l)
		switch {
		case value == "":
			continue
		case name == "width" || name == "depth" || name == "height":
			value += lengthSign(l.Unit)
		case name == "set_items":
			value = itemsInWords(l)
		case name == "bought_from" && value == "kerb":
			value = "the curb"
		case column.Kind == service.KindWord || name == "style":
			value = strings.ReplaceAll(value, "_", " ")
		case column.Kind == service.KindMoney:
			value = v.money(value)
		case column.Kind == service.KindDate:
			value = v.day(value)
		}
		out = append(out, Fact{FactName(name), value})
	}
	return out
}

// itemsInWords are the items of a mixed set: 1 dining table, 6 dining chairs.
func itemsInWords(l *service.Listing) string {
	parts := make([]string, len(l.Items))
	for i, item := range l.Items {
		name := service.InWords(item.Category)
		parts[i] = service.Count(item.Count, name, service.Plural(name))
	}
	return strings.Join(parts, ", ")
}
