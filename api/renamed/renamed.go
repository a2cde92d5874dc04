// Package renamed has every name of the API that gave way to another one. Whoever
// still sends an old name is told the new one; nothing answers to both. The one
// exception are imports: sheets that earlier exports made stay readable for good.
//
// The same tables make the list in docs/changelog.md.
package renamed

import (
	"slices"
	"strings"
)

// Route is an address that moved. In Now, a name in braces stands for the value
// that the old address had there.
type Route struct {
	Method, Was string // Was as the router writes it, with :name
	Now         string
	Why         string // what else is different there; "" where nothing is
}

// Kind is where a name stood.
type Kind uint8

// The kinds of names.
const (
	Parameter Kind = iota // of the query of an address
	Column                // of a row: a field, a heading, a filter
	Field                 // of a body
	Word                  // of a closed list of values
	Answer                // told, never sent
)

// String names the kind for people.
func (k Kind) String() string {
	return [...]string{"parameter", "column of a row", "field of a body", "value", "field of an answer"}[k]
}

// Name is a name that changed. Where says of what, for people; a name is looked
// up among those that are known where it was sent, so no two get in each other's
// way.
type Name struct {
	Kind     Kind
	Where    string
	Was, Now string
}

// Now is the present name of what was sent, if that is known there; "" where it
// never was one.
func Now(kind Kind, was string, isKnown func(string) bool) string {
	was = strings.ToLower(strings.TrimSpace(was))
	for _, n := range Names {
		if n.Kind == kind && n.Was == was && isKnown(n.Now) {
			return n.Now
		}
	}
	return ""
}

// Among is for Now, where the known names are a list.
func Among(known []string) func(string) bool {
	return func(name string) bool { return slices.Contains(known, name) }
}

// At is the present address of an old one: the values of its placeholders are
// filled in.
func (r Route) At(value func(name string) string) string {
	var out strings.Builder
	rest := r.Now
	for {
		before, after, found := strings.Cut(rest, "{")
		out.WriteString(before)
		name, end, closed := strings.Cut(after, "}")
		if !found || !closed {
			return out.String()
		}
		if v := value(name); v != "" {
			out.WriteString(v)
		} else {
			out.WriteString("{" + name + "}")
		}
		rest = end
	}
}
