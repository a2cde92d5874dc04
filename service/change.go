package service

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"askwright/pricing"
)

// NewValue is a word that no list knew. It was taken; Nearest is the known
// word that may have been meant.
type NewValue struct {
	Column, Value, Nearest string
}

// Change is what one row does to what is on file.
type Change struct {
	Old       *Listing // nil: the row is new
	New       *Listing
	Events    []Event // empty: nothing changed
	NewPiece  bool
	NewValues []NewValue
	Notices   []Notice // to endpoints of the group
}

// Draft is a row while its cells are read onto it.
type Draft struct {
	Listing
	Reader    *Reader
	old       *Listing
	cells     Cells // as they came
	newValues []NewValue

	ask                   *Money
	GivenAsks             []Ask
	sentPauses            bool
	pausedOn, ResumedOn   pricing.Date
	member, id            string
	sentRevision          int64
	reopens, clearsBlanks bool

	DaysOut *int // of a find: planned between buying and listing
}

// ChangeOptions widen what cells may do: an event may reopen, an undo may
// clear what a blank cell leaves alone.
type ChangeOptions struct {
	Reopens, ClearsBlanks bool
	Apply                 func(d *Draft) *InvalidError // what is a value already, before the cells; nil: nothing
}

// Change reads cells onto old (nil for a new row), checks the whole and tells
// what changed. It is the one way in which a row, a patch or an event alters a
// listing.
func (r *Reader) Change(old *Listing, cells Cells, o ChangeOptions) (*Change, []FieldError) {
	d := &Draft{Reader: r, old: old, cells: cells, reopens: o.Reopens, clearsBlanks: o.ClearsBlanks}
	if old != nil {
		d.Listing = *old.Clone()
	} else {
		d.Listing = Listing{Source: SourceOwn, Unit: r.Unit}
	}
	var errs []FieldError
	if o.Apply != nil {
		if err := o.Apply(d); err != nil {
			errs = err.Fields
		}
	}
	errs = append(errs, d.Read(cells)...)
	if len(errs) == 0 {
		errs = d.derive()
	}
	row := d.Listing
	c := &Change{Old: old, New: &row, NewValues: d.newValues}
	if len(errs) == 0 {
		c.Events = r.events(old, &row)
	}
	if d.isOutdated() && (len(errs) > 0 || len(c.Events) > 0) { // one that changes nothing may be sent again, RFC 9110, 13.1.1
		conflict := fmt.Sprintf("somebody changed %s in the meantime (you have revision %d, it is at %d); fetch it again", old.Ref, d.sentRevision, old.Revision)
		errs = append([]FieldError{{Column: "revision", Reason: conflict}}, errs...)
	}
	if len(errs) > 0 {
		for i := range errs {
			errs[i].Ref = cmp.Or(d.Ref, strings.TrimSpace(cells["ref"]))
		}
		return nil, errs
	}
	return c, nil
}

// Read sets each column that the cells hold.
func (d *Draft) Read(cells Cells) []FieldError {
	var errs []FieldError
	set := func(c *Column) {
		cell, present := cells[c.Name]
		cell = strings.TrimSpace(cell)
		if !present || (cell == "" && c.Keeps && !d.clearsBlanks) {
			return
		}
		if err := c.Set(d, cell); err != nil {
			errs = append(errs, FaultOf(c.Name, err))
		}
	}
	unit, _ := ColumnByName("unit") // lengths depend on it
	set(unit)
	for i := range Columns {
		if Columns[i].Name != "unit" {
			set(&Columns[i])
		}
	}
	return errs
}

// events tells the difference of two rows, one event for each kind of fact.
// Counts known from the start are a reading, too.
func (r *Reader) events(old, row *Listing) []Event {
	byKind := make(map[string]map[string]Values)
	note := func(kind, column string, v Values) {
		if byKind[kind] == nil {
			byKind[kind] = make(map[string]Values)
		}
		byKind[kind][column] = v
	}
	for i := range Columns {
		c := &Columns[i]
		kind := eventKinds[c.Name]
		if c.ReadOnly || c.InputOnly || c.Name == "ask" || (old == nil && kind != EventInterest) {
			continue
		}
		v := Values{New: c.Recorded(row, r.Currency)}
		if old != nil {
			v.Old = c.Recorded(old, r.Currency)
		}
		if v.New == v.Old {
			continue
		}
		note(r.kindOf(cmp.Or(kind, EventCorrection), c, old, row), c.Name, v)
	}
	var events []Event
	if old == nil {
		events = append(events, Event{Kind: r.firstEvent(row), On: cmp.Or(row.ListedOn, row.ClosedOn, r.Today)})
	}
	for _, kind := range slices.Sorted(maps.Keys(byKind)) {
		events = append(events, Event{Kind: kind, On: r.eventDay(kind, row), Changes: byKind[kind], Private: kind == EventLedger})
	}
	return events
}

func (r *Reader) firstEvent(row *Listing) string {
	if row.IsOffered() {
		return EventListed
	}
	return EventRecorded
}

// kindOf names a change of outcome by what it became, and the first listing of
// a piece from the yard.
func (r *Reader) kindOf(kind string, c *Column, old, row *Listing) string {
	switch {
	case c.OwnerOnly:
		return EventLedger
	case old != nil && !old.IsOffered() && row.IsOffered() && slices.Contains([]string{"stage", "listed_on", "ask_history", "outcome"}, c.Name):
		return EventListed
	case old != nil && old.IsOffered() && !row.IsOffered() && slices.Contains([]string{"stage", "listed_on", "ask_history", "outcome"}, c.Name):
		return EventCorrection // a listing was undone
	case kind == outcomeEvent && row.Outcome == OutcomeOpen, kind == letGoEvent && row.ClosedAs == "":
		return EventReopened
	case kind == letGoEvent:
		return row.Left()
	case kind == stageEvent:
		return row.Stage
	case kind == outcomeEvent:
		return row.Outcome
	}
	return kind
}

func (r *Reader) eventDay(kind string, row *Listing) pricing.Date {
	switch kind {
	case EventAsk:
		return row.Asks[len(row.Asks)-1].On
	case EventListed:
		return row.ListedOn
	case EventSold, EventPulled:
		return row.EndedOn
	case EventPassed, EventRetired:
		return row.ClosedOn
	}
	on := r.Today
	if !row.EndedOn.IsZero() {
		on = min(on, row.EndedOn)
	}
	if row.IsObserved() && !row.LastSeenOn.IsZero() {
		on = min(on, row.LastSeenOn)
	}
	return on
}

// Opens reports whether the row is an open listing afterwards.
func (c *Change) Opens() bool { return c.New.Outcome == OutcomeOpen }

// Tell puts the requested event first: it takes over the facts of the event
// that the difference found for the same thing.
func (c *Change) Tell(e *Event) {
	for i, found := range c.Events {
		isHold := e.Kind == EventHold || e.Kind == EventRelease
		if found.Kind == e.Kind || (isHold && found.Kind == EventPause) {
			e.Changes = found.Changes
			c.Events = slices.Delete(c.Events, i, i+1)
			break
		}
	}
	c.Events = slices.Insert(c.Events, 0, *e)
}

// WithoutRows refuses one row that came alone: its number says nothing.
func WithoutRows(wrong []FieldError) error {
	for i := range wrong {
		wrong[i].Row = 0
	}
	return &InvalidError{Fields: wrong}
}
