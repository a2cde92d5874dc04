package db

import (
	"encoding/json"

	"github.com/jackc/pgx/v5/pgtype"

	"askwright/service"
)

// What was renamed is on file by its first name: the release before reads and
// writes the same rows. Here such names become today's, and back.

// storedWords are words of closed lists and kinds of events.
var storedWords = bothWays(map[string]string{
	service.OutcomePulled: "withdrawn", service.StageOnBench: "in_work", service.LeftRetired: "let_go",
})

// storedNames are columns, and fields of events.
var storedNames = bothWays(map[string]string{
	"set_items": "items", "venues": "venue", "own_price": "estimate", "ask_history": "asks", "showings": "viewings",
	"closed_as": "let_go", "closed_on": "let_go_on", "closed_note": "let_go_note",
})

// names are what things are called today and on file.
type names struct{ stored, now map[string]string }

func bothWays(stored map[string]string) names {
	now := make(map[string]string, len(stored))
	for name, was := range stored {
		now[was] = name
	}
	return names{stored, now}
}

// onFile is the stored name.
func (n names) onFile(name string) string { return renamedTo(n.stored, name) }

// today is the name of what is stored.
func (n names) today(stored string) string { return renamedTo(n.now, stored) }

func renamedTo(names map[string]string, name string) string {
	if other, ok := names[name]; ok {
		return other
	}
	return name
}

// allOnFile are the stored words of a list.
func (n names) allOnFile(words []string) []string {
	out := make([]string, len(words))
	for i, word := range words {
		out[i] = n.onFile(word)
	}
	return out
}

// storedWord is a place for a word; "" is NULL.
type storedWord struct{ at *string }

// TextValue writes the stored word.
func (w storedWord) TextValue() (pgtype.Text, error) {
	return pgtype.Text{String: storedWords.onFile(*w.at), Valid: *w.at != ""}, nil
}

// ScanText reads it.
func (w storedWord) ScanText(v pgtype.Text) error {
	*w.at = storedWords.today(v.String)
	return nil
}

// storedChanges is a place for the changes of an event, by column.
type storedChanges struct{ at *map[string]service.Values }

// MarshalJSON writes them as they are on file.
func (s storedChanges) MarshalJSON() ([]byte, error) {
	return json.Marshal(inNames(*s.at, storedNames.stored, storedWords.stored))
}

// ScanBytes reads them.
func (s storedChanges) ScanBytes(text []byte) error {
	var found map[string]service.Values
	if err := json.Unmarshal(text, &found); err != nil {
		return err
	}
	*s.at = inNames(found, storedNames.now, storedWords.now)
	return nil
}

// inNames turns the columns of changes, and the words of the columns that have
// such, into others.
func inNames(changes map[string]service.Values, columns, words map[string]string) map[string]service.Values {
	out := make(map[string]service.Values, len(changes))
	for column, values := range changes {
		if column == "stage" || column == "outcome" {
			values.Old, values.New = renamedTo(words, values.Old), renamedTo(words, values.New)
		}
		out[renamedTo(columns, column)] = values
	}
	return out
}

// storedDetails is a place for the details of an event, by name.
type storedDetails struct{ at *map[string]string }

// MarshalJSON writes them as they are on file.
func (s storedDetails) MarshalJSON() ([]byte, error) {
	return json.Marshal(renamedKeys(*s.at, storedNames.stored))
}

// ScanBytes reads them.
func (s storedDetails) ScanBytes(text []byte) error {
	var found map[string]string
	if err := json.Unmarshal(text, &found); err != nil {
		return err
	}
	*s.at = renamedKeys(found, storedNames.now)
	return nil
}

func renamedKeys(details, to map[string]string) map[string]string {
	out := make(map[string]string, len(details))
	for name, text := range details {
		out[renamedTo(to, name)] = text
	}
	return out
}
