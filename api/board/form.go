package board

import (
	"net/url"
	"slices"
	"strings"

	"askwright/service"
)

// formField is one value that a page asks for, as its column takes it.
type formField struct {
	Name, Label string
	Type        string // of what is typed; empty: text
	Value       string
	Words       []string // to choose from; none: it is typed
	Mode        string   // inputmode of what is typed
	Required    bool
	Wrong       string
}

// columnLabels are where a column's name does not say enough to who fills it in.
var columnLabels = map[string]string{
	"width": "Width", "set_size": "How many alike", "material": "Made of", "year_made": "Made in (year)", "own_price": "Your own price",
	"condition": "Condition now", "finish": "Finish now", "color": "Color now", "planned_finish": "Finish planned", "planned_color": "Color planned",
	"planned_condition": "Condition when done", "seller_ask": "They ask", "hours": "Hours, if you know", "materials": "Materials, if you know",
	"transport": "Cost of pickup", "ref": "Name it", "closed_as": "Why not", "purchase_cost": "What you paid",
}

// formFields are the fields of columns of a find, under their names after a
// prefix, with what was sent so far.
func formFields(names []string, prefix string, sent url.Values) []formField {
	out := make([]formField, len(names))
	for i, name := range names {
		column, _ := service.FindColumn(name)
		f := formField{Name: prefix + name, Label: columnLabels[name], Value: strings.TrimSpace(sent.Get(prefix + name))}
		if f.Label == "" {
			f.Label = service.UpperFirst(strings.ReplaceAll(name, "_", " "))
		}
		switch {
		case len(column.Words) > 0:
			f.Words = slices.Clone(column.Words)
			if !column.Closed {
				slices.Sort(f.Words)
			}
			if f.Value != "" && !slices.Contains(f.Words, f.Value) {
				f.Words = append(f.Words, f.Value)
			}
		case column.Kind == service.KindCount:
			f.Mode = "numeric"
		case column.Kind.IsNumeric():
			f.Mode = "decimal"
		}
		out[i] = f
	}
	return out
}

func anyFilled(fields []formField) bool {
	return slices.ContainsFunc(fields, func(f formField) bool { return f.Value != "" || f.Wrong != "" })
}

// filled are the cells among the columns that were filled in.
func filled(names []string, prefix string, sent url.Values) service.Cells {
	cells := service.Cells{}
	for _, name := range names {
		if value := strings.TrimSpace(sent.Get(prefix + name)); value != "" {
			cells[name] = value
		}
	}
	return cells
}

// blame puts what is wrong beside the fields, and returns what belongs to none.
func blame(wrong []service.FieldError, of func(column string) *formField) (rest []string) {
	for _, w := range wrong {
		if f := of(w.Column); f != nil {
			f.Wrong = w.Reason
			continue
		}
		rest = append(rest, strings.TrimPrefix(w.Column+": ", ": ")+w.Reason)
	}
	return rest
}

func fieldNamed(name string, lists ...[]formField) *formField {
	for _, fields := range lists {
		for i := range fields {
			if fields[i].Name == name {
				return &fields[i]
			}
		}
	}
	return nil
}

// lengthsIn names the unit of lengths.
func lengthsIn(unit string) string {
	if unit == service.UnitInch {
		return "inches"
	}
	return "centimeters"
}
