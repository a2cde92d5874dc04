package db_test

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
	"askwright/service/servicetest"
)

// What was told of a next step is read back with its listing, changes, and goes
// with the ask that it was made at.
func TestAStepThatWasToldIsKept(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	importRows(t, f, "Wilda", "ref,category,listed_on,ask\nB-1,desk,2026-02-01,300\n")
	s, tenant := openStore(t, f), f.Actor(t, "Wilda").Tenant()
	listing := rowByRef(t, f, "Wilda", "B-1").ID
	at := time.Date(2026, 3, 5, 8, 0, 0, 0, time.UTC)
	for _, step := range []service.KeptStep{
		{From: 30000, AtAge: 21, To: 27000, IsDue: true}, {From: 30000, AtAge: 35, To: 27000, ChecksFrom: pricing.NewDate(2026, 3, 5)},
		{From: 27000}, {},
	} {
		open := []service.ListingState{{ListingID: listing, State: "stale", Action: "reprice", Step: step}}
		err := s.NoteStates(t.Context(), tenant.Group, at, open, func([]service.ListingState) []service.Notice { return nil })
		if err != nil {
			t.Fatal(err)
		}
		rows, err := s.Records(t.Context(), tenant, model.Selection{IDs: []uuid.UUID{listing}})
		if err != nil || len(rows) != 1 || rows[0].Step != step {
			t.Errorf("kept %+v, read %+v (%v)", step, rows, err)
		}
	}
}
