package api_test

import (
	"encoding/csv"
	"strings"
	"testing"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service/servicetest"
)

func TestWorkQueueOverHTTP(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	s := newSite(t, f, web.Limits{})
	key := f.Keys["Maren"]
	type task struct {
		Ref, Action, Sentence string
		Hours, Materials      float64
		Gain                  float64
	}
	got := want[struct {
		Hours, Money, Gain float64
		HoursLimit         float64 `json:"hours_limit"`
		Tasks, Left        []task
		Sentences          []wire.Sentence
	}](t, s.do(t, call{method: "GET", path: "/v1/work-queue?hours=12&money=60", key: key}), 200)
	gain, hours := 0.0, 0.0
	for _, x := range got.Tasks {
		gain, hours = gain+x.Gain, hours+x.Hours
	}
	if len(got.Tasks) == 0 || got.Hours > 12 || got.HoursLimit != 12 || got.Money > 60 || gain < got.Gain-0.05 || gain > got.Gain+0.05 || hours > 12 || len(got.Sentences) == 0 {
		t.Errorf("%+v", got)
	}
	table := s.do(t, call{method: "GET", path: "/v1/work-queue.csv?hours=12&money=60&fields=ref,action", key: key})
	rows, err := csv.NewReader(strings.NewReader(table.body)).ReadAll()
	if err != nil || table.StatusCode != 200 || len(rows) != 1+len(got.Tasks) || rows[1][0] != got.Tasks[0].Ref {
		t.Errorf("%d %v: %q", table.StatusCode, err, table.body)
	}
	for path, parameter := range map[string]string{
		"/v1/work-queue?money=60": "hours", "/v1/work-queue?hours=12": "money", "/v1/work-queue?hours=many&money=60": "hours",
		"/v1/work-queue?hours=12&money=60.001": "money", "/v1/work-queue?hours=-1&money=0": "hours", "/v1/work-queue?hours=12&money=-5": "money",
	} {
		p := wantProblem(t, s.do(t, call{method: "GET", path: path, key: key}), 400, "malformed")
		if len(p.Errors) != 1 || p.Errors[0].Parameter != parameter {
			t.Errorf("%s: %+v", path, p)
		}
	}
}
