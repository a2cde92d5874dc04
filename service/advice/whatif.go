package advice

import (
	"maps"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
)

// Difference is what one change to a listing on file, or to a described piece,
// does to its price. The changes are laid over one another in the order of the
// columns, so that the lines add up.
type Difference struct {
	Column    string
	From, To  string   // canonical text; empty: unknown
	Percent   *float64 // points of the likely price; nil where there is none
	Money     *float64 // of the likely price
	AskChange *float64 // of the ask; nil where either is refused
}

// overlay notes which cells laid over a row change it: the columns in their
// order, and the cells that lead there one after another.
func (s *subject) overlay(before *service.Listing, cells service.Cells, c service.Currency) {
	s.before, s.changed = before, nil
	names := []string{"unit"} // lengths depend on it
	for i := range service.DescriptionColumns {
		if name := service.DescriptionColumns[i].Name; name != "unit" {
			names = append(names, name)
		}
	}
	for _, name := range names {
		column, _ := service.ColumnByName(name)
		if cell, sent := cells[name]; sent && column.Value(before, c) != column.Value(s.row, c) {
			s.changed = append(s.changed, cellChange{name: name, cell: cell})
		}
	}
}

// cellChange is a cell that changes what was there before.
type cellChange struct{ name, cell string }

// misread says which changes cannot be read on any piece.
func misread(a *service.Actor, changes service.Cells) []service.FieldError {
	d := &service.Draft{Reader: a.Reader(), Listing: service.Listing{Unit: a.Group.Unit}}
	wrong := d.Read(changes)
	for i := range wrong {
		wrong[i].Pointer = "/and_if/" + wrong[i].Column
	}
	return wrong
}

// andIf lays cells over a subject as it was given.
func andIf(a *service.Actor, sub subject, cells service.Cells) (subject, []service.FieldError) {
	d := &service.Draft{Reader: a.Reader(), Listing: *sub.row.Clone()}
	if wrong := d.Read(cells); len(wrong) > 0 {
		return subject{}, wrong
	}
	changed := sub
	changed.row = &d.Listing
	changed.overlay(sub.row, cells, a.Group.Currency)
	return changed, nil
}

// differencesOf prices a piece step by step towards what is laid over it.
func differencesOf(a *service.Actor, fit *model.Fit, sub subject, settings pricing.Settings) []Difference {
	if len(sub.changed) == 0 {
		return nil
	}
	c := a.Group.Currency
	step := sub
	step.row = sub.before
	before := fit.Model.Outline(step.query(c, 0), a.Today, settings)
	cells := service.Cells{}
	var out []Difference
	for _, one := range sub.changed {
		cells[one.name] = one.cell
		d := &service.Draft{Reader: a.Reader(), Listing: *sub.before.Clone()}
		if wrong := d.Read(maps.Clone(cells)); len(wrong) > 0 {
			continue // the whole was read already
		}
		column, _ := service.ColumnByName(one.name)
		line := Difference{Column: one.name, From: column.Value(step.row, c), To: column.Value(&d.Listing, c)}
		step.row = &d.Listing
		after := fit.Model.Outline(step.query(c, 0), a.Today, settings)
		line.compare(before, after)
		out, before = append(out, line), after
	}
	return out
}

func (d *Difference) compare(before, after pricing.Outline) {
	// The own price stays as it was and would take part of each change back.
	if before.RecordsOnly != nil && after.RecordsOnly != nil {
		share := after.RecordsOnly.Likely/before.RecordsOnly.Likely - 1
		d.Percent, d.Money = new(100*share), new(share*before.RecordsOnly.Likely)
	}
	if before, after := before.Ask(), after.Ask(); before > 0 && after > 0 {
		d.AskChange = new(after - before)
	}
}
