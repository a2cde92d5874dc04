package wire

import (
	"strings"

	"askwright/service"
)

// Fact is a line of the description.
type Fact struct{ Name, Value string }

// factColumns are those of the description that a page shows.
var factColumns = []string{
	"category", "set_size", "items", "width", "depth", "height", "material", "wood", "style", "year_made", "condition", "finish", "color",
	"second_finish", "second_color", "topcoat", "sheen", "hardware", "drawers", "doors", "maker", "flaws", "smell", "venue", "area",
	"listed_on", "views", "saves", "messages", "viewings", "estimate", "sale_price", "ended_on", "sold_venue", "bought_on", "bought_from",
	"purchase_cost", "pickup_cost", "materials_cost", "other_cost", "hours", "hours_other", "notes",
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
			value += " " + l.Unit
		case column.Kind == service.KindWord || name == "style":
			value = strings.ReplaceAll(value, "_", " ")
		case column.Kind == service.KindMoney:
			value = Trimmed(0, value)
		}
		out = append(out, Fact{strings.ReplaceAll(name, "_", " "), value})
	}
	return out
}

// lastAsk is the newest amount of a history of asks, after a word.
func lastAsk(history, before string) string {
	_, amount, ok := strings.Cut(history[strings.LastIndexByte(history, ';')+1:], ":")
	if !ok {
		return ""
	}
	return before + Trimmed(0, amount)
}
