package advice

import (
	"bytes"
	"cmp"
	"context"
	"reflect"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"

	"askwright/pricing/refinish"
	"askwright/service"
)

// workRecords keep what the members who asked lately have learned from their
// own pieces, by the change number, so that an answer reads of a history only
// what changed since. They can be dropped at any time.
type workRecords struct {
	mu sync.Mutex
	by map[memberID]*workRecord
}

// memberID names a member of a group.
type memberID struct{ group, member uuid.UUID }

// maxWorkRecords bounds how many members' records stay in memory.
const maxWorkRecords = 256

// of returns the actor's record, a new one where there is none.
func (k *workRecords) of(a *service.Actor) *workRecord {
	k.mu.Lock()
	defer k.mu.Unlock()
	id := memberID{a.Group.ID, a.MemberID}
	r := k.by[id]
	if r == nil {
		if k.by == nil {
			k.by = make(map[memberID]*workRecord)
		}
		if len(k.by) >= maxWorkRecords {
			k.dropOldest()
		}
		r = &workRecord{}
		k.by[id] = r
	}
	r.usedAt = a.Now
	return r
}

func (k *workRecords) dropOldest() {
	var oldest memberID
	var at time.Time
	for id, r := range k.by {
		if oldest == (memberID{}) || r.usedAt.Before(at) {
			oldest, at = id, r.usedAt
		}
	}
	delete(k.by, oldest)
}

// workRecord is what one member's own pieces took.
type workRecord struct {
	usedAt time.Time // guarded by workRecords

	mu       sync.Mutex
	changeNo int64 // up to which pieces are in it
	workshop refinish.Workshop
	currency service.Currency
	pieces   []pieceTook // by id
	learned  learned
}

// pieceTook is what one piece took, and what was estimated for it.
type pieceTook struct {
	id               uuid.UUID
	hours, materials *refinish.Logged // nil: not on file
}

// learned are the ratios of a member.
type learned struct{ hours, materials refinish.Ratio }

// current brings the record up to the actor's change number. Another price or
// currency has all of it estimated anew.
func (r *workRecord) current(ctx context.Context, store Store, a *service.Actor, w refinish.Workshop) (learned, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.currency != a.Group.Currency || !reflect.DeepEqual(r.workshop, w) {
		r.changeNo, r.pieces, r.workshop, r.currency = 0, nil, w, a.Group.Currency
	}
	if r.changeNo > 0 && r.changeNo >= a.Group.ChangeNo {
		return r.learned, nil
	}
	var read []pieceTook
	changed, upTo, err := store.EachWorked(ctx, a.Tenant(), r.changeNo, func(l *service.Listing) error {
		if took, ok := tookOf(l, w, a.Group.Currency); ok {
			read = append(read, took)
		}
		return nil
	})
	if err != nil {
		return learned{}, err
	}
	r.replace(changed, read)
	r.changeNo = upTo
	return r.learned, nil
}

// tookOf compares what a piece took with the estimate; false where neither
// hours nor materials are on file, or no estimate can be made.
func tookOf(l *service.Listing, w refinish.Workshop, c service.Currency) (pieceTook, bool) {
	took := pieceTook{id: l.ID}
	_, isTimed := l.Ledger.Costs[service.CostHours]
	_, isPaid := l.Ledger.Costs[service.CostMaterials]
	if l.IsObserved() || (!isTimed && !isPaid) {
		return took, false
	}
	done := w.Estimate(doneJob(l))
	if done.Refusal != nil {
		return took, false
	}
	if isTimed {
		took.hours = &refinish.Logged{Estimated: done.Hours, Actual: l.Ledger.Costs.Hours().Float()}
	}
	if isPaid {
		took.materials = &refinish.Logged{Estimated: done.Materials, Actual: l.Ledger.Costs.Money(service.CostMaterials).Major(c)}
	}
	return took, true
}

// replace puts what was read in place of what changed, and learns anew. The
// order is always that of the ids: sums come out the same to the last bit.
func (r *workRecord) replace(changed []uuid.UUID, read []pieceTook) {
	gone := make(map[uuid.UUID]bool, len(changed)+len(read))
	for _, id := range changed {
		gone[id] = true
	}
	for _, took := range read {
		gone[took.id] = true
	}
	r.pieces = slices.DeleteFunc(r.pieces, func(p pieceTook) bool { return gone[p.id] })
	r.pieces = append(r.pieces, read...)
	slices.SortFunc(r.pieces, func(x, y pieceTook) int { return bytes.Compare(x.id[:], y.id[:]) })
	var hours, materials []refinish.Logged
	for _, p := range r.pieces {
		if p.hours != nil {
			hours = append(hours, *p.hours)
		}
		if p.materials != nil {
			materials = append(materials, *p.materials)
		}
	}
	r.learned = learned{hours: refinish.LearnRatio(hours), materials: refinish.LearnRatio(materials)}
}

// doneJob is the work that must have led to the look of a row: what the piece
// was before is not known.
func doneJob(l *service.Listing) refinish.Job {
	a := l.Attributes()
	a.Finish, a.Color, a.SecondFinish, a.SecondColor, a.Topcoat = "", "", "", "", ""
	a.Condition = cmp.Or(l.Ledger.ConditionFound, a.Condition)
	return refinish.Job{Attributes: a, Look: refinish.Look{
		Finish: l.Finish, Color: l.Color, SecondFinish: l.SecondFinish, SecondColor: l.SecondColor, Topcoat: l.Topcoat,
	}}
}
