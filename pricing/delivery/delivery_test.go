package delivery

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/internal/probe"
)

// Worked by hand; the defaults are common practice, no source.
func TestDeliver(t *testing.T) {
	for _, tt := range []struct {
		name                string
		q                   Query
		hours, cost, charge float64
	}{
		// 2·12·0.70 = 16.80; 24/30 + 0.75 + 2·0.25 = 2.05 h; 2.05·18·2 = 73.80; tolls 4: 94.60.
		{"miles, stairs and a helper", Query{Distance: 12, DistanceCost: 0.7, Stairs: 2, Helpers: 1, Tolls: 4, HourValue: 18}, 2.05, 94.6, 95},
		// 2·20·0.45 = 18; 40/50 + 0.75 = 1.55 h at 20: 31.
		{"kilometres", Query{Distance: 20, Metric: true, DistanceCost: 0.45, HourValue: 20}, 1.55, 49, 49},
		// A mile at 4 % of 25 is 1: 20; own hours 2 at 25: 50; a helper at 15: 30.
		{"own hours, a helper's pay", Query{Distance: 10, Helpers: 1, Hours: new(2.0), HelperHour: new(15.0), HourValue: 25}, 2, 100, 100},
		{"round the corner", Query{DistanceCost: 0.7, Hours: new(0.0)}, 0, 0, 0},
	} {
		got, ok := Of(tt.q)
		if !ok || !probe.Near(got.Hours, tt.hours, 9) || !probe.Near(got.Cost, tt.cost, 9) || got.Suggested != tt.charge || got.Charge != tt.charge || !probe.Near(got.Profit, tt.charge-tt.cost, 9) {
			t.Errorf("%s: %+v", tt.name, got)
		}
	}
	if _, ok := Of(Query{Distance: 10}); ok {
		t.Error("a quote without any price")
	}
	if got, _ := Of(Query{Distance: 10, DistanceCost: 1, Hours: new(0.0), Charge: new(15.0)}); got.Profit != -5 {
		t.Errorf("charged too little: %+v", got)
	}
}

func TestDeliveryLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := Query{
			Distance: rapid.Float64Range(0, 500).Draw(t, "distance"), Metric: rapid.Bool().Draw(t, "metric"), DistanceCost: rapid.Float64Range(0.01, 5).Draw(t, "cost"),
			Stairs: rapid.IntRange(0, 20).Draw(t, "stairs"), Helpers: rapid.IntRange(0, 4).Draw(t, "helpers"),
			Tolls: rapid.Float64Range(0, 50).Draw(t, "tolls"), HourValue: rapid.Float64Range(0, 80).Draw(t, "hour"),
		}
		got, ok := Of(q)
		if !ok || got.Suggested < got.Cost || math.IsNaN(got.Cost) || !probe.Near(got.Vehicle+got.Labor+got.HelperPay+got.Tolls, got.Cost, 9) {
			t.Fatalf("%+v", got)
		}
		farther := q
		farther.Distance++
		farther.Stairs++
		if more, _ := Of(farther); more.Cost <= got.Cost || more.Suggested < got.Suggested {
			t.Errorf("farther and higher costs %g, nearer %g", more.Cost, got.Cost)
		}
	})
}
