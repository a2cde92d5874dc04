package recording_test

import (
	"errors"
	"strings"
	"testing"

	"askwright/service"
	"askwright/service/servicetest"
)

// An ask of ten years ahead made a listing unsellable, and nothing said why.
func TestWhatAWrongClockRecordedCanBeFoundAndUndone(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	row := servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-1"))
	tell := func(kind string, fields map[string]string) error {
		_, err := f.Recording.AddEvent(t.Context(), f.Actor(t, "Wilda"), row.ID, service.NewEvent{Kind: kind, Fields: fields}, nil)
		return err
	}
	f.Clock.Advance(3653)
	if err := tell(service.EventAsk, map[string]string{"ask": "280"}); err != nil {
		t.Fatal(err)
	}
	f.Clock.Advance(-3653)
	sold := map[string]string{"sale_price": "270"}
	var invalid *service.InvalidError
	if err := tell(service.EventSold, sold); !errors.As(err, &invalid) || !strings.Contains(err.Error(), "wrong clock; undo its event") {
		t.Fatalf("sold below an ask of the future: %v", err)
	}
	events, err := f.Recording.Events(t.Context(), f.Actor(t, "Wilda"), row.ID)
	if err != nil {
		t.Fatal(err)
	}
	wrong := events[len(events)-1]
	all, err := f.Members.Verify(t.Context())
	if err != nil || len(all) != 2 || len(all[1].Faults) != 1 || !strings.Contains(all[1].Faults[0], wrong.ID.String()) {
		t.Errorf("verify finds %+v, %v; want the event %s", all, err, wrong.ID)
	}
	if _, err := f.Recording.AddEvent(t.Context(), f.Actor(t, "Wilda"), row.ID, service.NewEvent{Kind: service.EventVoid, Voids: wrong.ID}, nil); err != nil {
		t.Fatal(err)
	}
	if err := tell(service.EventSold, sold); err != nil {
		t.Errorf("after the undoing: %v", err)
	}
	if all, err := f.Members.Verify(t.Context()); err != nil || len(all[1].Faults) != 0 {
		t.Errorf("verify after the undoing: %+v, %v", all, err)
	}
}
