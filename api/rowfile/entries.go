package rowfile

import (
	"encoding/json"
	"slices"
	"strconv"
	"strings"

	"askwright/api/web"
	"askwright/service"
)

// numericEntries are the fields of entries that are JSON numbers.
var numericEntries = []string{"ask", "count"}

// EntriesJSON writes the cell of a list as an array.
func EntriesJSON(e *service.Entries, cell string) []byte {
	out := []byte{'['}
	for part := range strings.SplitSeq(cell, ";") {
		if part = strings.TrimSpace(part); part == "" {
			continue
		}
		if len(out) > 1 {
			out = append(out, ',')
		}
		if e.Fields == nil {
			out = append(out, Quoted(part)...)
			continue
		}
		for i, value := range strings.SplitN(part, e.Mark, len(e.Fields)) {
			out = append(out, "{,"[min(i, 1)])
			out = append(out, Quoted(e.Fields[i])...)
			out = append(out, ':')
			switch {
			case value == e.Open:
				out = append(out, "null"...)
			case slices.Contains(numericEntries, e.Fields[i]):
				out = append(out, value...)
			default:
				out = append(out, Quoted(value)...)
			}
		}
		out = append(out, '}')
	}
	return append(out, ']')
}

// Quoted is a text in JSON.
func Quoted(text string) []byte {
	out, err := json.Marshal(text)
	if err != nil {
		return []byte(`""`) // a string always can be written
	}
	return out
}

// CellOf is the text of a value of a row, or what is wrong with it and where. A
// list may come as an array, too.
func CellOf(c *service.Column, n web.Node) (text, at, wrong string) {
	switch {
	case n.Kind == web.NullNode || n.Kind == web.NumberNode || n.Kind == web.StringNode:
		return n.Text, "", "" // null is a blank cell
	case n.Kind != web.ArrayNode || c.Entries == nil:
		expected := "expected a number or a string"
		if c.Entries != nil {
			expected = "expected an array or a string"
		}
		return "", "", "is " + n.Kind.String() + "; " + expected
	}
	parts := make([]string, len(n.Items))
	for i, item := range n.Items {
		if parts[i], at, wrong = entryText(c.Entries, item); wrong != "" {
			return "", "/" + strconv.Itoa(i) + at, wrong
		}
	}
	return strings.Join(parts, ";"), "", ""
}

// entryText is an entry as it stands in a cell.
func entryText(e *service.Entries, n web.Node) (text, at, wrong string) {
	if e.Fields == nil {
		if n.Kind != web.StringNode || strings.Contains(n.Text, ";") {
			return "", "", "expected a text without ;"
		}
		return n.Text, "", ""
	}
	if n.Kind != web.ObjectNode {
		return "", "", "is " + n.Kind.String() + "; expected an object with " + strings.Join(e.Fields, ", ")
	}
	values := make([]string, len(e.Fields))
	for i := range values {
		values[i] = e.Open
	}
	for _, m := range n.Members {
		i := slices.Index(e.Fields, m.Name)
		switch {
		case i < 0:
			return "", "/" + web.EscapePointer(m.Name), "is not known here; expected " + strings.Join(e.Fields, ", ")
		case m.Value.Kind == web.NullNode:
		case m.Value.Kind != web.StringNode && m.Value.Kind != web.NumberNode, strings.ContainsAny(m.Value.Text, ";"+e.Mark):
			return "", "/" + m.Name, "is not a plain value"
		default:
			values[i] = m.Value.Text
		}
	}
	return strings.Join(values, e.Mark), "", ""
}
