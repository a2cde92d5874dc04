package service

import (
	"slices"
)

// A find is a piece that may be bought, with what is planned for it.

// PlanColumns are what a find may have beside the columns of a row: the look
// and the costs planned for it. They are read onto a copy of the row.
var PlanColumns = []Column{
	wordColumn("planned_finish", finishes, func(l *Listing) *string { return &l.Finish }).blankKeeps(),
	wordColumn("planned_color", colors, func(l *Listing) *string { return &l.Color }).blankKeeps(),
	wordColumn("planned_second_finish", finishes, func(l *Listing) *string { return &l.SecondFinish }).blankKeeps(),
	wordColumn("planned_second_color", colors, func(l *Listing) *string { return &l.SecondColor }).blankKeeps(),
	wordColumn("planned_topcoat", Topcoats, func(l *Listing) *string { return &l.Topcoat }).blankKeeps(),
	gradeColumn("planned_condition", func(l *Listing) *int { return &l.Condition }).blankKeeps(),
	costColumn(CostPurchase).named("price").blankKeeps(),
	costColumn(CostMaterials).named("materials").blankKeeps(),
	costColumn(CostPickup).named("transport").blankKeeps(),
	costColumn(CostOther).named("other").blankKeeps(),
	{Name: "days_out", Kind: KindCount, Keeps: true, Set: setDaysOut},
}

const maxDaysOut = 365

func setDaysOut(d *Draft, cell string) error {
	n, err := wholeNumber(cell, 0, maxDaysOut)
	d.DaysOut = &n
	return err
}

func (c Column) named(name string) Column { c.Name = name; return c }

// FindColumn finds a column of a find: one of the plan, or of the row.
func FindColumn(name string) (*Column, bool) {
	for i := range PlanColumns {
		if PlanColumns[i].Name == name {
			return &PlanColumns[i], true
		}
	}
	return ColumnByName(name)
}

// NearestFindColumn returns the name that was probably meant, or "".
func NearestFindColumn(name string) string {
	return nearestColumn(name, slices.Concat(PlanColumns, Columns))
}
