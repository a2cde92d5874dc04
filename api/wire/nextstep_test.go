package wire

import (
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"
	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
)

// A calendar is read back by another program's parser as it was meant, lines
// folded within letters of several octets, commas and line ends among the text.
func TestTheCalendarIsReadByAnotherParser(t *testing.T) {
	dollars, _ := service.CurrencyByCode("USD")
	a := &service.Actor{
		Group: &service.Group{Name: "Millrace Lane; bench, yard", Currency: dollars, Unit: service.UnitInch},
		Now:   time.Date(2026, 12, 1, 9, 30, 0, 0, time.UTC), Today: pricing.NewDate(2026, 12, 1),
	}
	text := "Bütte — " + strings.Repeat("später, ", 20) + "\nzweite Zeile; Ende\\"
	step := advice.NextStep{On: pricing.NewDate(2026, 12, 18)}
	step.Row = &service.Listing{ID: uuid.MustParse("01a21e4b-0000-7000-8000-000000000001"), Ref: "T-9", Category: "sideboard", Member: "Tolliver"}
	step.NextAsk, step.NextStepOn, step.Action, step.State = 310, step.On, pricing.ActionWait, pricing.StateFresh
	step.Sentences = []pricing.Sentence{{Kind: pricing.SaidPlan, Text: text}}

	out := ViewerOf(a).Calendar(a, []advice.NextStep{step})
	for _, line := range strings.Split(strings.TrimSuffix(out, "\r\n"), "\r\n") {
		if len(line) > 75 || strings.ContainsAny(line, "\r\n") {
			t.Errorf("a line of %d octets: %q", len(line), line)
		}
	}
	cal, err := ics.ParseCalendar(strings.NewReader(out))
	if err != nil {
		t.Fatal(err)
	}
	events := cal.Events()
	if len(events) != 1 {
		t.Fatalf("%d events in\n%s", len(events), out)
	}
	e := events[0]
	for property, want := range map[ics.ComponentProperty]string{
		ics.ComponentPropertySummary: "T-9: Drop it to $310", ics.ComponentPropertyDescription: text,
		ics.ComponentPropertyUniqueId: "01a21e4b-0000-7000-8000-000000000001.2026-12-18@askwright",
	} {
		if got := e.GetProperty(property); got == nil || ics.FromText(got.Value) != want && got.Value != want {
			t.Errorf("%s is %+v, want %q", property, got, want)
		}
	}
	if start, err := e.GetAllDayStartAt(); err != nil || start.Format("2006-01-02") != "2026-12-18" {
		t.Errorf("begins on %v (%v)", start, err)
	}
	if end, err := e.GetAllDayEndAt(); err != nil || end.Format("2006-01-02") != "2026-12-19" {
		t.Errorf("ends on %v (%v)", end, err)
	}
}
