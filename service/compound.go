package service

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/pricing/furniture"
)

// Reading and writing of the columns that hold more than one value.

func setAsk(d *Draft, cell string) error {
	m, err := d.Reader.PositiveMoney(cell)
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
func setAsks(d *Draft, cell string) error {
	if cell == "" {
		return nil
	}
	var asks []Ask
	for part := range strings.SplitSeq(strings.TrimSuffix(cell, ";"), ";") {
		day, amount, ok := strings.Cut(part, ":")
		if !ok {
			return fmt.Errorf("%q: expected date:amount, several with ';' between", Clip(part))
		}
		on, err := d.Reader.Date(strings.TrimSpace(day))
		if err != nil {
			return err
		}
		m, err := d.Reader.PositiveMoney(strings.TrimSpace(amount))
		if err != nil {
			return err
		}
		if on.IsZero() || m == 0 {
			return fmt.Errorf("%q: expected date:amount, several with ';' between", Clip(part))
		}
		asks = append(asks, Ask{On: on, Amount: m})
	}
	d.GivenAsks = asks
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

// Recorded writes the column as an event keeps it: a single ask, too, is
// written as history, so that its correction shows.
func (c *Column) Recorded(l *Listing, currency Currency) string {
	if c.Name == "ask_history" {
		return formatAsks(l.Asks, currency)
	}
	return c.Value(l, currency)
}

// setPauses reads ISO 8601 intervals, 2026-03-05/2026-03-12;2026-04-01/..
func setPauses(d *Draft, cell string) error {
	d.SetPauses(nil)
	if cell == "" {
		return nil
	}
	for part := range strings.SplitSeq(strings.TrimSuffix(cell, ";"), ";") {
		from, to, ok := strings.Cut(strings.TrimSpace(part), "/")
		if !ok {
			return fmt.Errorf("%q: expected start/end such as 2026-03-05/2026-03-12, or 2026-03-05/.. while it goes on", Clip(part))
		}
		first, err := d.Reader.Date(from)
		if err != nil {
			return err
		}
		p, err := d.Reader.Interval(first, to)
		if err != nil {
			return err
		}
		d.Pauses = append(d.Pauses, p)
	}
	return nil
}

// SetPauses replaces the pauses.
func (d *Draft) SetPauses(pauses []pricing.Interval) { d.Pauses, d.sentPauses = pauses, true }

// Interval reads a pause, whose end may lie ahead.
func (r *Reader) Interval(from pricing.Date, to string) (p pricing.Interval, err error) {
	p.From = from
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

func setPausedOn(d *Draft, cell string) (err error) {
	d.pausedOn, err = d.Reader.Date(cell)
	return err
}

func setResumedOn(d *Draft, cell string) (err error) {
	d.ResumedOn, err = d.Reader.Date(cell)
	return err
}

// setItems reads dining_table:1;dining_chair:6, the main item first.
func setItems(d *Draft, cell string) error {
	d.Items = nil
	if cell == "" {
		return nil
	}
	for part := range strings.SplitSeq(strings.TrimSuffix(cell, ";"), ";") {
		name, count, _ := strings.Cut(part, ":")
		n, err := wholeNumber(strings.TrimSpace(count), 1, 100)
		category := Canonical(name)
		if err != nil || n == 0 || category == "" || CheckText(category, 60) != nil {
			return fmt.Errorf("%q: expected what:how many, several with ';' between, such as dining_table:1;dining_chair:6", Clip(part))
		}
		d.Items = append(d.Items, furniture.Item{Category: category, Count: n})
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

func setID(d *Draft, cell string) error {
	d.id = cell
	if _, err := uuid.Parse(cell); err != nil {
		return fmt.Errorf("%q is not an id", Clip(cell))
	}
	return nil
}

func setRevision(d *Draft, cell string) error {
	n, err := strconv.ParseInt(cell, 10, 64)
	if err != nil || n < 1 {
		return fmt.Errorf("%q is not a revision", Clip(cell))
	}
	d.sentRevision = n
	return nil
}

// isOutdated reports whether the row is not at the revision that was sent.
func (d *Draft) isOutdated() bool {
	return d.old != nil && d.sentRevision != 0 && d.sentRevision != d.old.Revision
}
