package service

import (
	"cmp"
	"slices"
	"strings"
)

// HowItLeft says it of a row that was let go.
func (l *Listing) HowItLeft() string {
	what := "was let go"
	if l.Left() == LeftPassed {
		what = "was passed over"
	}
	return what + " on " + l.ClosedOn.String() + " (" + InWords(l.ClosedAs) + ")"
}

// checkStage lets a piece go from found over bought to on_bench, or past one of
// them, and never back.
func (d *Draft) checkStage() *InvalidError {
	if d.old == nil || d.clearsBlanks {
		return nil
	}
	sent := Canonical(d.cells["stage"])
	switch {
	case sent == "" || sent == d.old.Stage:
		return nil
	case d.old.IsOffered() && strings.TrimSpace(d.cells["listed_on"]) == "":
		return Invalid("stage", "%s was listed on %s; what was on offer goes back to work by a refinish, or under a new ref", d.Ref, d.old.ListedOn)
	case d.IsOffered():
		return nil // the listing takes the stage's place
	case d.old.ClosedAs != "":
		return Invalid("stage", "%s %s; send a reopen event first", d.Ref, d.old.HowItLeft())
	case slices.Index(stages, sent) < slices.Index(stages, d.old.Stage):
		return Invalid("stage", "%s is %s already and does not go back to %s; if that was a mistake, undo the event that said so", d.Ref, d.old.Stage, sent)
	}
	return nil
}

// deriveLetGo checks why a piece left without a sale.
func (d *Draft) deriveLetGo() *InvalidError {
	if d.ClosedAs == "" {
		if !d.ClosedOn.IsZero() || d.ClosedNote != "" {
			return Invalid("closed_as", "is missing: say why (%s)", strings.Join(letGoReasons, ", "))
		}
		return nil
	}
	d.ClosedOn = cmp.Or(d.ClosedOn, d.EndedOn, d.Reader.Today)
	allowed := LetGoAs
	if d.Stage == StageFound {
		allowed = PassedFor
	}
	switch {
	case d.IsObserved():
		return Invalid("closed_as", "is for pieces of your own; of someone else's say when it was last seen")
	case d.old != nil && d.old.ClosedAs != "" && d.old.IsOffered() != d.IsOffered():
		return Invalid("closed_as", "%s %s; send a reopen event before it is listed", d.Ref, d.old.HowItLeft())
	case d.Outcome == OutcomeSold:
		return Invalid("closed_as", "%s was sold on %s: what was sold was not let go", d.Ref, d.EndedOn)
	case d.Outcome == OutcomeOpen:
		return Invalid("closed_as", "%s is on offer: say pulled with ended_on, too", d.Ref)
	case !IsOneOf(d.ClosedAs, allowed):
		return Invalid("closed_as", "%q does not fit %s: expected one of %s", d.ClosedAs, d.standing(), strings.Join(allowed, ", "))
	case d.ClosedOn < d.EndedOn:
		return Invalid("closed_on", "%s is before ended_on %s", d.ClosedOn, d.EndedOn)
	}
	return nil
}

// standing says what a piece that is let go was until then.
func (l *Listing) standing() string {
	if l.Stage == StageFound {
		return "a find that was not bought"
	}
	return "a piece of one's own"
}

// TakesYardEvent refuses what cannot happen to the piece as it stands.
func (l *Listing) TakesYardEvent(kind string) error {
	isFind := l.Stage == StageFound
	switch {
	case l.IsObserved():
		return Refuse(ErrConflict, "%s is someone else's listing", l.Ref)
	case l.ClosedAs != "":
		return Refuse(ErrConflict, "%s %s; reopen it first", l.Ref, l.HowItLeft())
	case l.Outcome == OutcomeSold:
		return Refuse(ErrConflict, "%s was sold on %s; if the sale fell through, reopen it first", l.Ref, l.EndedOn)
	case kind == EventRetired && isFind:
		return Refuse(ErrConflict, "%s is only found: what is not bought is passed over (event passed)", l.Ref)
	case kind == EventRetired:
		return nil
	case l.IsOffered():
		return Refuse(ErrConflict, "%s was listed on %s already", l.Ref, l.ListedOn)
	case kind == EventPassed && !isFind:
		return Refuse(ErrConflict, "%s is bought; a piece of one's own is let go (event retired)", l.Ref)
	case kind == EventBought && !isFind, kind == EventOnBench && l.Stage == StageOnBench:
		return Refuse(ErrConflict, "%s is %s already", l.Ref, l.Stage)
	}
	return nil
}
