package service

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"askwright/pricing"
)

// What happens to a piece before it is offered, and when it leaves without a
// sale. A row and an event say the same: the events here become cells.

// yardEvents are the events of a piece that need no listing.
var yardEvents = []string{EventBought, EventInWork, EventListed, EventPassed, EventLetGo}

// howItLeft says it of a row that was let go.
func (l *Listing) howItLeft() string {
	what := "was let go"
	if l.Left() == LeftPassed {
		what = "was passed over"
	}
	return what + " on " + l.LetGoOn.String() + " (" + inWords(l.LetGo) + ")"
}

// checkStage lets a piece go from found over bought to in_work, or past one of
// them, and never back.
func (d *draft) checkStage() *InvalidError {
	if d.old == nil || d.clearsBlanks {
		return nil
	}
	sent := canonicalWord(d.cells["stage"])
	switch {
	case sent == "" || sent == d.old.Stage:
		return nil
	case d.old.IsOffered() && strings.TrimSpace(d.cells["listed_on"]) == "":
		return Invalid("stage", "%s was listed on %s; what was on offer goes back to work by a refinish, or under a new ref", d.Ref, d.old.ListedOn)
	case d.IsOffered():
		return nil // the listing takes the stage's place
	case d.old.LetGo != "":
		return Invalid("stage", "%s %s; send a reopen event first", d.Ref, d.old.howItLeft())
	case slices.Index(stages, sent) < slices.Index(stages, d.old.Stage):
		return Invalid("stage", "%s is %s already and does not go back to %s; if that was a mistake, undo the event that said so", d.Ref, d.old.Stage, sent)
	}
	return nil
}

// settleLetGo checks why a piece left without a sale.
func (d *draft) settleLetGo() *InvalidError {
	if d.LetGo == "" {
		if !d.LetGoOn.IsZero() || d.LetGoNote != "" {
			return Invalid("let_go", "is missing: say why (%s)", strings.Join(letGoReasons, ", "))
		}
		return nil
	}
	d.LetGoOn = cmp.Or(d.LetGoOn, d.EndedOn, d.reader.Today)
	allowed := letGoAs
	if d.Stage == StageFound {
		allowed = PassedFor
	}
	switch {
	case d.IsObserved():
		return Invalid("let_go", "is for pieces of your own; of a stranger's say when it was last seen")
	case d.old != nil && d.old.LetGo != "" && d.old.IsOffered() != d.IsOffered():
		return Invalid("let_go", "%s %s; send a reopen event before it is listed", d.Ref, d.old.howItLeft())
	case d.Outcome == OutcomeSold:
		return Invalid("let_go", "%s was sold on %s: what was sold was not let go", d.Ref, d.EndedOn)
	case d.Outcome == OutcomeOpen:
		return Invalid("let_go", "%s is on offer: say withdrawn with ended_on, too", d.Ref)
	case !oneOf(d.LetGo, allowed):
		return Invalid("let_go", "%q does not fit %s: expected one of %s", d.LetGo, d.standing(), strings.Join(allowed, ", "))
	case d.LetGoOn < d.EndedOn:
		return Invalid("let_go_on", "%s is before ended_on %s", d.LetGoOn, d.EndedOn)
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

// yardFact turns an event of the yard into cells of the row.
func (a *Actor) yardFact(l *Listing, n NewEvent, on pricing.Date) (Cells, changeOptions, *Event, error) {
	none := changeOptions{}
	event := &Event{Kind: n.Kind, On: on}
	if n.Kind == "reopen" {
		event.Kind = EventReopened
		o := applying(func(d *draft) { d.LetGo, d.LetGoOn, d.LetGoNote = "", 0, "" })
		o.reopens = true
		return nil, o, event, nil
	}
	if err := l.takesYardEvent(n.Kind); err != nil {
		return nil, none, nil, err
	}
	cells := Cells(maps.Clone(n.Fields))
	var move func(d *draft)
	switch n.Kind {
	case EventBought:
		move = func(d *draft) { d.Stage = StageBought }
		if l.MemberID == a.MemberID {
			event.On = a.Today // the day of the purchase is the owner's alone
			move = func(d *draft) { d.Stage, d.Ledger.BoughtOn = StageBought, on }
		}
	case EventInWork:
		move = func(d *draft) { d.Stage = StageInWork }
	case EventListed:
		move = func(d *draft) { d.ListedOn = on }
	case EventPassed, EventLetGo:
		allowed := map[string][]string{EventPassed: PassedFor, EventLetGo: letGoAs}[n.Kind]
		if !oneOf(canonicalWord(cells["reason"]), allowed) {
			return nil, none, nil, Invalid("reason", "%v", notAllowed(cells["reason"], allowed))
		}
		cells["let_go"], cells["let_go_note"] = cells["reason"], cells["note"]
		delete(cells, "reason")
		delete(cells, "note")
		move = func(d *draft) {
			d.LetGoOn = on
			if d.Outcome == OutcomeOpen {
				d.Outcome, d.EndedOn = OutcomeWithdrawn, on
			}
		}
	}
	return cells, applying(move), event, nil
}

// takesYardEvent refuses what cannot happen to the piece as it stands.
func (l *Listing) takesYardEvent(kind string) error {
	isFind := l.Stage == StageFound
	switch {
	case l.IsObserved():
		return refuse(ErrConflict, "%s is a stranger's listing", l.Ref)
	case l.LetGo != "":
		return refuse(ErrConflict, "%s %s; reopen it first", l.Ref, l.howItLeft())
	case l.Outcome == OutcomeSold:
		return refuse(ErrConflict, "%s was sold on %s; if the sale fell through, reopen it first", l.Ref, l.EndedOn)
	case kind == EventLetGo && isFind:
		return refuse(ErrConflict, "%s is only found: what is not bought is passed over (event passed)", l.Ref)
	case kind == EventLetGo:
		return nil
	case l.IsOffered():
		return refuse(ErrConflict, "%s was listed on %s already", l.Ref, l.ListedOn)
	case kind == EventPassed && !isFind:
		return refuse(ErrConflict, "%s is bought; a piece of one's own is let go (event let_go)", l.Ref)
	case kind == EventBought && !isFind, kind == EventInWork && l.Stage == StageInWork:
		return refuse(ErrConflict, "%s is %s already", l.Ref, l.Stage)
	}
	return nil
}
