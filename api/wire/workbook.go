package wire

import (
	"strings"

	"askwright/api/web"
	"askwright/service"
)

// aboutColumns explain the columns in the workbook itself.
var aboutColumns = []web.TableColumn[service.Column]{
	{Name: "column", Kind: web.TextCell, Value: func(c service.Column) string { return c.Name }},
	{Name: "kind", Kind: web.PlainCell, Value: func(c service.Column) string { return c.Kind.String() }},
	{Name: "seen_by", Kind: web.PlainCell, Value: func(c service.Column) string {
		if c.OwnerOnly {
			return "owner"
		}
		return "group"
	}},
	{Name: "blank_cell", Kind: web.PlainCell, Value: func(c service.Column) string {
		if c.Keeps {
			return "leaves it as it is"
		}
		return "unknown"
	}},
	{Name: "words", Kind: web.TextCell, Value: func(c service.Column) string {
		words := strings.Join(c.Words, ", ")
		if len(c.Words) > 0 && !c.Closed {
			words += "; others are taken"
		}
		return words
	}},
}

// ListingSheets writes the sheets of an export.
func ListingSheets(b *web.Workbook, columns []web.TableColumn[*service.Listing], rows func(func(*service.Listing) error) error) error {
	offered, err := web.NewSheet(b, "Listings", columns)
	if err != nil {
		return err
	}
	yard, err := web.NewSheet(b, "Unlisted", columns)
	if err != nil {
		return err
	}
	about, err := web.NewSheet(b, "Columns", aboutColumns)
	if err != nil {
		return err
	}
	for i, column := range columns {
		known, ok := service.ColumnByName(column.Name)
		if !ok {
			continue
		}
		if err := about.Row(*known); err != nil {
			return err
		}
		if known.Closed {
			if err := offered.Choose(i, known.Words); err != nil {
				return err
			}
		}
	}
	err = rows(func(l *service.Listing) error {
		if l.IsOffered() {
			return offered.Row(l)
		}
		return yard.Row(l)
	})
	if err != nil {
		return err
	}
	for _, end := range []func() error{offered.End, yard.End, about.End} {
		if err := end(); err != nil {
			return err
		}
	}
	return nil
}
