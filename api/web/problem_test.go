package web

import (
	"encoding/json"
	"net/http"
	"slices"
	"testing"
)

func TestScrub(t *testing.T) {
	for in, out := range map[string]string{
		"no secret here":                      "no secret here",
		"GET /v1/x.csv?a=1&key=ask_f123abc&b": "GET /v1/x.csv?a=1&key=…&b",
		"?KEY=whatever":                       "?KEY=…",
		"Bearer ask_a0123456789 failed":       "Bearer ask_… failed",
		"ask_price":                           "ask_…", // rather too much than too little
		"task: ask_":                          "task: ask_",
	} {
		if got := Scrub(in); got != out {
			t.Errorf("scrub(%q) = %q, want %q", in, got, out)
		}
	}
}

// The weights are those of RFC 9110 section 12.5.1 and its example.
func TestAcceptWeight(t *testing.T) {
	const example = "text/*;q=0.3, text/plain;q=0.7, text/plain;format=flowed, text/plain;format=fixed;q=0.4, */*;q=0.5"
	for _, test := range []struct {
		accept, kind, subtype string
		want                  float64
	}{
		{example, "text", "html", 0.3}, {example, "image", "jpeg", 0.5}, {example, "text", "plain", 0.7},
		{"", "text", "csv", 1}, {"text/csv", "application", "json", 0}, {"text/csv;q=0", "text", "csv", 0}, {"*/*, text/csv;q=0", "text", "csv", 0},
	} {
		if got := AcceptWeight(test.accept, test.kind, test.subtype); got != test.want {
			t.Errorf("%s/%s in %q: %v, want %v", test.kind, test.subtype, test.accept, got, test.want)
		}
	}
}

func TestProblemTypesAreUnique(t *testing.T) {
	names := make([]string, 0, len(ProblemTypes))
	for _, p := range ProblemTypes {
		if slices.Contains(names, p.Name) || p.Title == "" || p.About == "" || http.StatusText(p.Status) == "" {
			t.Errorf("%+v", p)
		}
		names = append(names, p.Name)
	}
}

func TestNumbers(t *testing.T) {
	for _, test := range []struct {
		got  Number
		want string
	}{
		{Rounded(-0.04, 1), "0.0"}, {Rounded(1.005, 2), "1.00"}, {Percentage(-12.34), "-12.3"}, {Chance(0.12345), "0.123"},
		{Rounded(1e21, 2), "1000000000000000000000.00"}, {Rounded(480, 0), "480"},
	} {
		if body, err := json.Marshal(test.got); err != nil || string(body) != test.want {
			t.Errorf("%s (%v), want %s", body, err, test.want)
		}
	}
	zero := 0.0
	for _, x := range []float64{1 / zero, -1 / zero, zero / zero} {
		if body, err := json.Marshal(Rounded(x, 2)); err != nil || string(body) != "null" {
			t.Errorf("%v was written as %s (%v)", x, body, err)
		}
	}
}
