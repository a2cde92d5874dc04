package service

import (
	"cmp"
	"slices"
	"strings"

	"askwright/pricing"
)

// derive fills in what follows from the cells and checks the row as a whole.
func (d *Draft) derive() []FieldError {
	type step = func() *InvalidError
	for _, steps := range [][]step{ // later ones build on the earlier
		{d.deriveIdentity, d.deriveStage, d.checkStage},
		{d.deriveOutcome, d.deriveAsks, d.derivePauses, d.deriveObserved, d.deriveLetGo},
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
	d.deriveEstimate()
	return nil
}

func (d *Draft) deriveIdentity() *InvalidError {
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

// deriveStage tells a listing from a piece in the yard.
func (d *Draft) deriveStage() *InvalidError {
	hasAsk := d.ask != nil || len(d.GivenAsks) > 0 || len(d.Asks) > 0
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

func (d *Draft) deriveOutcome() *InvalidError {
	if !d.IsOffered() {
		return nil
	}
	if d.old != nil && d.Outcome == OutcomeOpen && d.old.Outcome != OutcomeOpen && d.old.Outcome != "" && !d.reopens {
		return Invalid("outcome", "%s ended on %s as %s; to take that back, undo its event or send a reopen event", d.Ref, d.old.EndedOn, d.old.Outcome)
	}
	if d.Outcome == OutcomeOpen {
		if !d.EndedOn.IsZero() {
			return Invalid("outcome", "is open although ended_on is %s: say sold or pulled", d.EndedOn)
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
	case d.Outcome == OutcomePulled && d.SalePrice != 0:
		return Invalid("sale_price", "a pulled listing has no sale_price")
	}
	return nil
}

// deriveAsks keeps the history of asks: a changed ask of an open listing is a
// new ask from today, otherwise a correction of the last one.
func (d *Draft) deriveAsks() *InvalidError {
	if !d.IsOffered() {
		return nil
	}
	switch {
	case d.GivenAsks != nil:
		if last := d.GivenAsks[len(d.GivenAsks)-1]; d.ask != nil && *d.ask != last.Amount {
			return Invalid("ask_history", "must end at the present ask: %s is not %s", last.Amount.Format(d.Reader.Currency), d.ask.Format(d.Reader.Currency))
		}
		d.Asks = d.GivenAsks
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

func (d *Draft) changeAsk() {
	last := &d.Asks[len(d.Asks)-1]
	if d.ask == nil || *d.ask == last.Amount {
		return
	}
	if d.Outcome == OutcomeOpen && last.On < d.Reader.Today {
		d.Asks = append(d.Asks, Ask{On: d.Reader.Today, Amount: *d.ask})
		return
	}
	last.Amount = *d.ask
}

// maxDated bounds a history of asks or pauses.
const maxDated = 200

func (d *Draft) checkAsks() *InvalidError {
	if len(d.Asks) > maxDated {
		return Invalid("ask_history", "more than %d asks", maxDated)
	}
	if d.Asks[0].On != d.ListedOn {
		return Invalid("ask_history", "must start on listed_on: %s is not %s", d.Asks[0].On, d.ListedOn)
	}
	for i := 1; i < len(d.Asks); i++ {
		if d.Asks[i].On <= d.Asks[i-1].On {
			return Invalid("ask_history", "must be in order of their days: %s comes after %s", d.Asks[i].On, d.Asks[i-1].On)
		}
	}
	last := d.Asks[len(d.Asks)-1].On
	if ahead := last > d.Reader.Today; d.EndedOn >= d.ListedOn && last > d.EndedOn {
		if ahead {
			return Invalid("ask_history", "the ask of %s lies ahead: it was recorded under a wrong clock; undo its event first "+
				"(the listing's events show it; send one of the kind void that names it)", last)
		}
		return Invalid("ask_history", "an ask of %s is after ended_on %s", last, d.EndedOn)
	}
	return nil
}

// derivePauses adds the shorthand columns, closes what is open at the end and
// keeps the pauses disjoint, in order and inside the listing.
func (d *Draft) derivePauses() *InvalidError {
	if err := d.addShorthandPause(); err != nil {
		return err
	}
	if len(d.Pauses) > 0 && !d.IsOffered() {
		return Invalid("pauses", "a piece that is not offered cannot be paused")
	}
	if len(d.Pauses) > maxDated {
		return Invalid("pauses", "more than %d pauses", maxDated)
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
func (d *Draft) addShorthandPause() *InvalidError {
	if !d.pausedOn.IsZero() {
		at := slices.IndexFunc(d.Pauses, func(p pricing.Interval) bool {
			return p.From <= d.pausedOn && (p.To.IsZero() || d.pausedOn < p.To)
		})
		if at < 0 {
			d.Pauses = append(d.Pauses, pricing.Interval{From: d.pausedOn})
		}
	}
	if d.ResumedOn.IsZero() {
		return nil
	}
	for i := range d.Pauses {
		p := &d.Pauses[i]
		if p.To == d.ResumedOn {
			return nil
		}
		if p.To.IsZero() || (p.From < d.ResumedOn && d.ResumedOn < p.To) {
			if d.ResumedOn < p.From {
				return Invalid("resumed_on", "%s is before the pause began on %s", d.ResumedOn, p.From)
			}
			p.To = d.ResumedOn
			if p.From == p.To {
				d.Pauses = slices.Delete(d.Pauses, i, i+1)
			}
			return nil
		}
	}
	return Invalid("resumed_on", "%s: there is no pause to end", d.ResumedOn)
}

func (d *Draft) deriveObserved() *InvalidError {
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

// deriveEstimate: an estimate counts only while the outcome is not known.
func (d *Draft) deriveEstimate() {
	before := Money(0)
	if d.old != nil {
		before = d.old.Estimate
	}
	if d.Estimate != before {
		d.EstimateCounts = d.Estimate != 0 && (d.Outcome == "" || d.Outcome == OutcomeOpen)
	}
}
