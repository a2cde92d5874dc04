package service

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

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
}

// draft is a row while its cells are read onto it.
type draft struct {
	Listing
	reader    *Reader
	old       *Listing
	newValues []NewValue

	ask                   *Money
	asks                  []Ask
	sentPauses            bool
	pausedOn, resumedOn   pricing.Date
	member, id            string
	sentRevision          int64
	reopens, clearsBlanks bool
}

// changeOptions widen what cells may do: an event may reopen, an undo may
// clear what a blank cell leaves alone.
type changeOptions struct {
	reopens, clearsBlanks bool
}

// change reads cells onto old (nil for a new row), checks the whole and tells
// what changed. It is the one way in which a row, a patch or an event alters a
// listing.
func (r *Reader) change(old *Listing, cells Cells, o changeOptions) (*Change, []FieldError) {
	d := &draft{reader: r, old: old, reopens: o.reopens, clearsBlanks: o.clearsBlanks}
	if old != nil {
		d.Listing = *old.clone()
	} else {
		d.Listing = Listing{Source: SourceOwn, Unit: r.Unit}
	}
	errs := d.read(cells)
	if len(errs) == 0 {
		errs = d.settle()
	}
	if len(errs) > 0 {
		for i := range errs {
			errs[i].Ref = cmp.Or(d.Ref, strings.TrimSpace(cells["ref"]))
		}
		return nil, errs
	}
	row := d.Listing
	return &Change{Old: old, New: &row, Events: r.events(old, &row), NewValues: d.newValues}, nil
}

// read sets each column that the cells hold.
func (d *draft) read(cells Cells) []FieldError {
	var errs []FieldError
	set := func(c *Column) {
		cell, present := cells[c.Name]
		cell = strings.TrimSpace(cell)
		if !present || (cell == "" && c.Keeps && !d.clearsBlanks) {
			return
		}
		if err := c.set(d, cell); err != nil {
			errs = append(errs, FieldError{Column: c.Name, Reason: err.Error()})
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

// settle derives what follows from the cells and checks the row as a whole.
func (d *draft) settle() []FieldError {
	type step = func() *InvalidError
	for _, steps := range [][]step{ // later ones build on the earlier
		{d.settleIdentity, d.settleStage},
		{d.settleOutcome, d.settleAsks, d.settlePauses, d.settleObserved},
	} {
		var errs []FieldError
		for _, step := range steps {
			if err := step(); err != nil {
				errs = append(errs, err.Fields...)
			}
		}
		if errs != nil {
			return errs
		}
	}
	d.settleEstimate()
	return nil
}

func (d *draft) settleIdentity() *InvalidError {
	d.PieceRef = cmp.Or(d.PieceRef, d.Ref)
	switch {
	case d.Ref == "":
		return Invalid("ref", "is missing: give each row a name of your own, such as B-17")
	case d.Category == "":
		return Invalid("category", "is missing: say what the piece is, such as sideboard")
	case d.old != nil && d.old.Ref != d.Ref && d.old.PieceRef == d.PieceRef && d.old.Ref == d.old.PieceRef:
		return nil // a renamed row keeps its piece
	case d.old != nil && d.old.PieceRef != d.PieceRef:
		return Invalid("piece_ref", "cannot change from %q to %q; delete the row and record it again", d.old.PieceRef, d.PieceRef)
	case d.old != nil && d.old.Source != d.Source:
		return Invalid("source", "cannot change from %s to %s; delete the row and record it again", d.old.Source, d.Source)
	}
	return nil
}

// settleStage tells a listing from a piece in the yard.
func (d *draft) settleStage() *InvalidError {
	hasAsk := d.ask != nil || len(d.asks) > 0 || len(d.Asks) > 0
	switch {
	case d.IsOffered() && hasAsk:
		d.Stage = ""
		d.Outcome = cmp.Or(d.Outcome, OutcomeOpen)
	case d.IsOffered():
		return Invalid("ask", "is missing: a listing needs listed_on and ask")
	case hasAsk:
		return Invalid("listed_on", "is missing: an ask needs the day it was listed on")
	case d.IsObserved():
		return Invalid("listed_on", "is missing: an observed listing needs the day it was first seen and its ask")
	case d.Stage == "":
		return Invalid("stage", "is missing: give listed_on and ask, or the stage of a piece not yet offered (%s)", strings.Join(stages, ", "))
	case d.Outcome != "" || !d.EndedOn.IsZero() || d.SalePrice != 0:
		return Invalid("listed_on", "is missing: what was never listed has no outcome")
	}
	return nil
}

func (d *draft) settleOutcome() *InvalidError {
	if !d.IsOffered() {
		return nil
	}
	if d.old != nil && d.Outcome == OutcomeOpen && d.old.Outcome != OutcomeOpen && d.old.Outcome != "" && !d.reopens {
		return Invalid("outcome", "%s ended on %s as %s; to take that back, undo its event or send a reopen event", d.Ref, d.old.EndedOn, d.old.Outcome)
	}
	if d.Outcome == OutcomeOpen {
		if !d.EndedOn.IsZero() {
			return Invalid("outcome", "is open although ended_on is %s: say sold or withdrawn", d.EndedOn)
		}
		if d.SalePrice != 0 {
			return Invalid("outcome", "is open although there is a sale_price: say sold and give ended_on")
		}
		return nil
	}
	if d.EndedOn.IsZero() && d.IsObserved() {
		d.EndedOn = d.LastSeenOn
	}
	switch {
	case d.EndedOn.IsZero():
		return Invalid("ended_on", "is missing: give the day it was %s", d.Outcome)
	case d.EndedOn < d.ListedOn:
		return Invalid("ended_on", "%s is before listed_on %s", d.EndedOn, d.ListedOn)
	case d.Outcome == OutcomeSold && d.SalePrice == 0 && !d.IsObserved():
		return Invalid("sale_price", "is missing: what was paid for the piece, delivery not included")
	case d.Outcome == OutcomeWithdrawn && d.SalePrice != 0:
		return Invalid("sale_price", "a withdrawn listing has no sale_price")
	}
	return nil
}

// settleAsks keeps the history of asks: a changed ask of an open listing is a
// new ask from today, otherwise a correction of the last one.
func (d *draft) settleAsks() *InvalidError {
	if !d.IsOffered() {
		return nil
	}
	switch {
	case d.asks != nil:
		if last := d.asks[len(d.asks)-1]; d.ask != nil && *d.ask != last.Amount {
			return Invalid("asks", "must end at the present ask: %s is not %s", last.Amount.Format(d.reader.Currency), d.ask.Format(d.reader.Currency))
		}
		d.Asks = d.asks
	case len(d.Asks) == 0:
		d.Asks = []Ask{{On: d.ListedOn, Amount: *d.ask}}
	default:
		d.changeAsk()
		if d.old != nil && d.old.ListedOn != d.ListedOn {
			d.Asks[0].On = d.ListedOn
		}
	}
	return d.checkAsks()
}

func (d *draft) changeAsk() {
	last := &d.Asks[len(d.Asks)-1]
	if d.ask == nil || *d.ask == last.Amount {
		return
	}
	if d.Outcome == OutcomeOpen && last.On < d.reader.Today {
		d.Asks = append(d.Asks, Ask{On: d.reader.Today, Amount: *d.ask})
		return
	}
	last.Amount = *d.ask
}

func (d *draft) checkAsks() *InvalidError {
	if d.Asks[0].On != d.ListedOn {
		return Invalid("asks", "must start on listed_on: %s is not %s", d.Asks[0].On, d.ListedOn)
	}
	for i := 1; i < len(d.Asks); i++ {
		if d.Asks[i].On <= d.Asks[i-1].On {
			return Invalid("asks", "must be in order of their days: %s comes after %s", d.Asks[i].On, d.Asks[i-1].On)
		}
	}
	if last := d.Asks[len(d.Asks)-1].On; d.EndedOn >= d.ListedOn && last > d.EndedOn {
		return Invalid("asks", "an ask of %s is after ended_on %s", last, d.EndedOn)
	}
	return nil
}

// settlePauses adds the shorthand columns, closes what is open at the end and
// keeps the pauses disjoint, in order and inside the listing.
func (d *draft) settlePauses() *InvalidError {
	if err := d.addShorthandPause(); err != nil {
		return err
	}
	if len(d.Pauses) > 0 && !d.IsOffered() {
		return Invalid("pauses", "a piece that is not offered cannot be paused")
	}
	slices.SortFunc(d.Pauses, func(a, b pricing.Interval) int { return cmp.Compare(a.From, b.From) })
	var kept []pricing.Interval
	for _, p := range d.Pauses {
		if p.From < d.ListedOn {
			return Invalid("pauses", "the pause from %s begins before listed_on %s", p.From, d.ListedOn)
		}
		if !d.EndedOn.IsZero() && (p.To.IsZero() || p.To > d.EndedOn) {
			if d.sentPauses && !p.To.IsZero() {
				return Invalid("pauses", "the pause until %s ends after ended_on %s", p.To, d.EndedOn)
			}
			p.To = d.EndedOn
			if p.From >= p.To {
				continue
			}
		}
		if n := len(kept); n > 0 {
			before := &kept[n-1]
			if before.To.IsZero() || before.To > p.From {
				return Invalid("pauses", "the pause from %s overlaps the one from %s", p.From, before.From)
			}
			if before.To == p.From {
				before.To = p.To
				continue
			}
		}
		kept = append(kept, p)
	}
	d.Pauses = kept
	return nil
}

// addShorthandPause takes paused_on and resumed_on, which tell one pause. Sent
// again they change nothing.
func (d *draft) addShorthandPause() *InvalidError {
	if !d.pausedOn.IsZero() {
		at := slices.IndexFunc(d.Pauses, func(p pricing.Interval) bool {
			return p.From <= d.pausedOn && (p.To.IsZero() || d.pausedOn < p.To)
		})
		if at < 0 {
			d.Pauses = append(d.Pauses, pricing.Interval{From: d.pausedOn})
		}
	}
	if d.resumedOn.IsZero() {
		return nil
	}
	for i := range d.Pauses {
		p := &d.Pauses[i]
		if p.To == d.resumedOn {
			return nil
		}
		if p.To.IsZero() || (p.From < d.resumedOn && d.resumedOn < p.To) {
			if d.resumedOn < p.From {
				return Invalid("resumed_on", "%s is before the pause began on %s", d.resumedOn, p.From)
			}
			p.To = d.resumedOn
			if p.From == p.To {
				d.Pauses = slices.Delete(d.Pauses, i, i+1)
			}
			return nil
		}
	}
	return Invalid("resumed_on", "%s: there is no pause to end", d.resumedOn)
}

func (d *draft) settleObserved() *InvalidError {
	switch {
	case d.LastSeenOn.IsZero():
		return nil
	case !d.IsObserved():
		return Invalid("last_seen_on", "is for observed listings only (source = observed)")
	case d.LastSeenOn < d.ListedOn:
		return Invalid("last_seen_on", "%s is before listed_on %s", d.LastSeenOn, d.ListedOn)
	}
	return nil
}

// settleEstimate: an estimate counts only while the outcome is not known.
func (d *draft) settleEstimate() {
	before := Money(0)
	if d.old != nil {
		before = d.old.Estimate
	}
	if d.Estimate != before {
		d.EstimateCounts = d.Estimate != 0 && (d.Outcome == "" || d.Outcome == OutcomeOpen)
	}
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
		v := Values{New: c.recorded(row, r.Currency)}
		if old != nil {
			v.Old = c.recorded(old, r.Currency)
		}
		if v.New == v.Old {
			continue
		}
		note(r.kindOf(cmp.Or(kind, EventCorrection), c, old, row), c.Name, v)
	}
	var events []Event
	if old == nil {
		events = append(events, Event{Kind: r.firstEvent(row), On: cmp.Or(row.ListedOn, r.Today)})
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
	case old != nil && !old.IsOffered() && row.IsOffered() && slices.Contains([]string{"stage", "listed_on", "asks", "outcome"}, c.Name):
		return EventListed
	case kind == EventOutcome && row.Outcome == OutcomeOpen:
		return EventReopened
	case kind == EventOutcome:
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
	case EventSold, EventWithdrawn:
		return row.EndedOn
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

func setAsk(d *draft, cell string) error {
	m, err := d.reader.positiveMoney(cell)
	if err == nil && m != 0 {
		d.ask = &m
	}
	return err
}

func getAsk(l *Listing, c Currency) string {
	if m := l.CurrentAsk(); m != 0 {
		return m.Format(c)
	}
	return ""
}

// setAsks reads 2026-03-01:480;2026-03-20:430.
func setAsks(d *draft, cell string) error {
	if cell == "" {
		return nil
	}
	var asks []Ask
	for part := range strings.SplitSeq(strings.TrimSuffix(cell, ";"), ";") {
		day, amount, ok := strings.Cut(part, ":")
		if !ok {
			return fmt.Errorf("%q: expected date:amount, several with ';' between", clip(part))
		}
		on, err := d.reader.date(strings.TrimSpace(day))
		if err != nil {
			return err
		}
		m, err := d.reader.positiveMoney(strings.TrimSpace(amount))
		if err != nil {
			return err
		}
		if on.IsZero() || m == 0 {
			return fmt.Errorf("%q: expected date:amount, several with ';' between", clip(part))
		}
		asks = append(asks, Ask{On: on, Amount: m})
	}
	if len(asks) > 200 {
		return fmt.Errorf("more than 200 asks")
	}
	d.asks = asks
	return nil
}

// getAsks is empty for a single ask, which ask and listed_on tell already.
func getAsks(l *Listing, c Currency) string {
	if len(l.Asks) < 2 {
		return ""
	}
	return formatAsks(l.Asks, c)
}

func formatAsks(asks []Ask, c Currency) string {
	parts := make([]string, len(asks))
	for i, a := range asks {
		parts[i] = a.On.String() + ":" + a.Amount.Format(c)
	}
	return strings.Join(parts, ";")
}

// recorded writes the column as an event keeps it: a single ask, too, is
// written as history, so that its correction shows.
func (c *Column) recorded(l *Listing, currency Currency) string {
	if c.Name == "asks" {
		return formatAsks(l.Asks, currency)
	}
	return c.Value(l, currency)
}

// setPauses reads ISO 8601 intervals, 2026-03-05/2026-03-12;2026-04-01/..
func setPauses(d *draft, cell string) error {
	d.Pauses, d.sentPauses = nil, true
	if cell == "" {
		return nil
	}
	for part := range strings.SplitSeq(strings.TrimSuffix(cell, ";"), ";") {
		from, to, ok := strings.Cut(strings.TrimSpace(part), "/")
		if !ok {
			return fmt.Errorf("%q: expected start/end such as 2026-03-05/2026-03-12, or 2026-03-05/.. while it goes on", clip(part))
		}
		p, err := d.reader.interval(from, to)
		if err != nil {
			return err
		}
		d.Pauses = append(d.Pauses, p)
	}
	if len(d.Pauses) > 200 {
		return fmt.Errorf("more than 200 pauses")
	}
	return nil
}

// interval reads a pause, whose end may lie ahead.
func (r *Reader) interval(from, to string) (pricing.Interval, error) {
	var p pricing.Interval
	var err error
	if p.From, err = r.date(from); err != nil {
		return p, err
	}
	if p.From.IsZero() {
		return p, fmt.Errorf("the pause has no first day")
	}
	if to == ".." {
		return p, nil
	}
	if p.To, err = pricing.ParseDate(to); err != nil {
		return p, err
	}
	if p.To <= p.From {
		return p, fmt.Errorf("the pause ends on %s, not after its first day %s", p.To, p.From)
	}
	if p.To > r.Today+366 {
		return p, fmt.Errorf("%s is more than a year ahead", p.To)
	}
	return p, nil
}

func getPauses(l *Listing, _ Currency) string {
	parts := make([]string, len(l.Pauses))
	for i, p := range l.Pauses {
		to := p.To.String()
		if p.To.IsZero() {
			to = ".."
		}
		parts[i] = p.From.String() + "/" + to
	}
	return strings.Join(parts, ";")
}

func setPausedOn(d *draft, cell string) (err error) {
	d.pausedOn, err = d.reader.date(cell)
	return err
}

func setResumedOn(d *draft, cell string) (err error) {
	d.resumedOn, err = d.reader.date(cell)
	return err
}

// setItems reads dining_table:1;dining_chair:6, the main item first.
func setItems(d *draft, cell string) error {
	d.Items = nil
	if cell == "" {
		return nil
	}
	for part := range strings.SplitSeq(strings.TrimSuffix(cell, ";"), ";") {
		name, count, _ := strings.Cut(part, ":")
		n, err := wholeNumber(strings.TrimSpace(count), 1, 100)
		category := canonicalWord(name)
		if err != nil || n == 0 || category == "" || checkText(category, 60) != nil {
			return fmt.Errorf("%q: expected what:how many, several with ';' between, such as dining_table:1;dining_chair:6", clip(part))
		}
		d.Items = append(d.Items, pricing.Item{Category: category, Count: n})
	}
	if len(d.Items) > 20 {
		return fmt.Errorf("more than 20 kinds of items")
	}
	return nil
}

func getItems(l *Listing, _ Currency) string {
	parts := make([]string, len(l.Items))
	for i, item := range l.Items {
		parts[i] = item.Category + ":" + strconv.Itoa(item.Count)
	}
	return strings.Join(parts, ";")
}

func setID(d *draft, cell string) error {
	d.id = cell
	if _, err := uuid.Parse(cell); err != nil {
		return fmt.Errorf("%q is not an id", clip(cell))
	}
	return nil
}

func setRevision(d *draft, cell string) error {
	n, err := strconv.ParseInt(cell, 10, 64)
	d.sentRevision = n
	if err != nil {
		return fmt.Errorf("%q is not a revision", clip(cell))
	}
	if d.old != nil && d.old.Revision != n {
		return fmt.Errorf("somebody changed %s in the meantime (you have revision %d, it is at %d); fetch it again", d.Ref, n, d.old.Revision)
	}
	return nil
}
