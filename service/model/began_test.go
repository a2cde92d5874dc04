package model_test

import (
	"testing"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
	"askwright/service/servicetest"
)

// Whose first import is mostly stock counts from that day on; who brings along
// what ended counts from the first of those ends; the member's own word decides.
func TestRecordedFrom(t *testing.T) {
	t.Parallel()
	const day = pricing.Date(20_000)
	stock, past, said := service.NewID(), service.NewID(), service.NewID()
	var rows []*model.Recorded
	add := func(member uuid.UUID, listed, ended pricing.Date) {
		l := &service.Listing{ID: service.NewID(), MemberID: member, Source: service.SourceOwn, ListedOn: listed, EndedOn: ended, Outcome: service.OutcomeOpen}
		if !ended.IsZero() {
			l.Outcome = service.OutcomeSold
		}
		rows = append(rows, &model.Recorded{Listing: l})
	}
	for i := range pricing.Date(6) {
		add(stock, day-50-i, 0)
		add(past, day-300+20*i, day-200+20*i)
		add(said, day-40, 0)
	}
	add(stock, day-90, day-60)
	add(stock, day+3, day+30) // after recording began: says nothing of before
	add(past, day-20, 0)
	observed := &model.Recorded{Listing: &service.Listing{MemberID: stock, Source: service.SourceObserved, ListedOn: day - 9}}
	rows = append(rows, observed)
	model.SetRecordedFrom(rows, map[uuid.UUID]model.Began{stock: {First: day}, past: {First: day}, said: {First: day, Said: day - 30}})
	want := map[uuid.UUID]pricing.Date{stock: day, past: day - 200, said: day - 30}
	for _, r := range rows {
		if r != observed && r.RecordedFrom != want[r.MemberID] {
			t.Errorf("listed %s, ended %s: recorded from %s, want %s", r.ListedOn, r.EndedOn, r.RecordedFrom, want[r.MemberID])
		}
	}
	if !observed.RecordedFrom.IsZero() {
		t.Errorf("an observed listing is recorded from %s", observed.RecordedFrom)
	}
}

// The day of the first import is taken from the history, on the group's calendar.
func TestHistoryTellsWhenRecordingBegan(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	desk := servicetest.OpenDesk("S-1")
	desk["listed_on"] = (servicetest.Today - 60).String()
	servicetest.Record(t, f, "Wilda", desk)
	f.Clock.Advance(5)
	desk = servicetest.OpenDesk("S-2")
	desk["listed_on"] = (servicetest.Today - 2).String()
	servicetest.Record(t, f, "Orrin", desk)
	_, store := replica(t, f, 100)
	rows, _, err := store.History(t.Context(), f.Actor(t, "Wilda").Tenant())
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if want := map[string]pricing.Date{"S-1": servicetest.Today, "S-2": servicetest.Today + 5}[r.Ref]; r.RecordedFrom != want {
			t.Errorf("%s is recorded from %s, want %s", r.Ref, r.RecordedFrom, want)
		}
	}
}
