package api

import (
	"encoding/json"
	"io"

	"askwright/service"
)

// What commands hand out in the forms of the API.

// WriteRows writes rows as the CSV that exports have and the import takes, with
// what the actor may see. each yields them one by one.
func WriteRows(w io.Writer, a *service.Actor, each func(yield func(*service.Listing) error) error) error {
	t := newTable(w, viewerOf(a).table(), tableOptions{Delimiter: ",", Decimal: "."})
	if err := each(t.row); err != nil {
		return err
	}
	return t.end()
}

// RowJSON writes a row as answers have it and the import takes it.
func RowJSON(a *service.Actor, l *service.Listing) json.RawMessage { return viewerOf(a).row(l) }

// GroupJSON writes the group's settings as answers have them.
func GroupJSON(a *service.Actor) (json.RawMessage, error) { return json.Marshal(groupOf(a.Group, a)) }
