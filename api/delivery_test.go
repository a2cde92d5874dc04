package api_test

import (
	"strings"
	"testing"
)

// 24 miles at 0.70; 24/30 + 0.75 + 0.25 hours at 18, twice; tolls of 4: 85.60,
// which 90 covers. The defaults are common practice, no source.
func TestDeliveryQuotes(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Otto"]
	ask := call{method: "POST", path: "/v1/delivery-quotes", key: key, body: `{"distance":12,"stairs":1,"helpers":1,"tolls":"4.00"}`}
	p := wantProblem(t, s.do(t, ask), 409, "conflict")
	if !strings.Contains(p.Detail, "distance_cost") {
		t.Errorf("without any price: %q", p.Detail)
	}
	want[row](t, s.do(t, call{method: "PATCH", path: "/v1/group", key: s.Keys["Wilda"], body: `{"hour_value":18}`}), 200)
	if q := want[row](t, s.do(t, ask), 200); q["distance_cost"] != 0.72 || q["distance_unit"] != "mi" {
		t.Errorf("a mile at 4 %% of an hour: %v", q)
	}
	want[row](t, s.do(t, call{method: "PATCH", path: "/v1/group", key: s.Keys["Wilda"], body: `{"distance_cost":0.70}`}), 200)
	if q := want[row](t, s.do(t, ask), 200); q["cost"] != 85.6 || q["vehicle"] != 16.8 || q["hours"] != 1.8 || q["suggested_charge"] != 90.0 || q["charge"] != 90.0 || q["profit"] != 4.4 {
		t.Errorf("quote %v", q)
	}
	ask.body = `{"distance":12,"hours":1,"charge":30}`
	if q := want[row](t, s.do(t, ask), 200); q["cost"] != 34.8 || q["charge"] != 30.0 || q["profit"] != -4.8 || q["suggested_charge"] != 35.0 {
		t.Errorf("quote %v", q)
	}
	want[row](t, s.do(t, call{method: "PATCH", path: "/v1/group", key: s.Keys["Wilda"], body: `{"unit":"cm"}`}), 200)
	if q := want[row](t, s.do(t, ask), 200); q["distance_unit"] != "km" {
		t.Errorf("in kilometres: %v", q)
	}
	for body, reason := range map[string]string{
		`{}`: "distance", `{"distance":-1}`: "0 to 5000", `{"distance":1e300}`: "0 to 5000", `{"distance":5,"stairs":-1}`: "flights", `{"distance":5,"helpers":99}`: "0 to 20",
		`{"distance":5,"hours":-1}`: "0 to 200", `{"distance":5,"tolls":-1}`: "negative", `{"distance":5,"helper_hour":"x"}`: "helper_hour",
		`{"distance":5,"charge":-1}`: "negative", `{"distance":"far"}`: "a number", `{"distance":5,"stair":1}`: "did you mean stairs",
	} {
		ask.body = body
		r := s.do(t, ask)
		if wantProblem(t, r, 422, "invalid"); !strings.Contains(r.body, reason) {
			t.Errorf("%s: %s, want %q", body, r.body, reason)
		}
	}
}
