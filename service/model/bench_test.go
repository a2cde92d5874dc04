package model_test

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"askwright/db"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/app"
	"askwright/service/recording"
	"askwright/service/servicetest"
)

// BenchmarkSuggestion measures what a suggestion costs where nothing changed,
// where a sale was recorded before, and from a program that was just started.
//
//	go test ./service -run xxx -bench Suggestion -benchtime 10x
func BenchmarkSuggestion(b *testing.B) {
	for _, n := range []int{4_900, 50_000} {
		b.Run(fmt.Sprintf("listings=%d", n), func(b *testing.B) {
			f := servicetest.New(b, "Wilda")
			fillMarket(b, f, n)
			subject := []advice.Subject{{"ref": "M-7"}}
			ask := func(b *testing.B, s *app.App) {
				b.Helper()
				a, err := s.Members.Authenticate(b.Context(), f.Keys["Wilda"])
				if err != nil {
					b.Fatal(err)
				}
				if _, err := s.Advice.Suggest(b.Context(), a, subject, 30); err != nil {
					b.Fatal(err)
				}
			}
			start := time.Now()
			ask(b, f.App)
			b.Logf("the first suggestion of all took %v", time.Since(start))
			b.Run("unchanged", func(b *testing.B) {
				for b.Loop() {
					ask(b, f.App)
				}
			})
			b.Run("changed", func(b *testing.B) {
				i := 0
				for b.Loop() {
					b.StopTimer()
					i++
					sale := service.Cells{"ref": fmt.Sprintf("S-%d-%d", b.N, i), "category": "desk", "listed_on": "2026-03-01", "ask": "300", "outcome": "sold", "ended_on": "2026-03-20", "sale_price": fmt.Sprint(250 + i%50)}
					if _, err := f.Recording.Record(b.Context(), f.Actor(b, "Wilda"), sale); err != nil {
						b.Fatal(err)
					}
					b.StartTimer()
					ask(b, f.App)
				}
			})
			b.Run("started", func(b *testing.B) {
				for b.Loop() {
					b.StopTimer()
					store, err := db.Open(b.Context(), f.DB.DSN, db.Options{MaxConns: 4})
					if err != nil {
						b.Fatal(err)
					}
					fresh := app.New(app.Options{Store: store, Now: f.Clock.Now, Logger: slog.New(slog.DiscardHandler)})
					b.StartTimer()
					ask(b, fresh)
					b.StopTimer()
					store.Close()
					b.StartTimer()
				}
			})
		})
	}
}

// fillMarket puts n listings on file: M-0, M-1, ..., one in ten of them open.
func fillMarket(tb testing.TB, f *servicetest.Fixture, n int) {
	tb.Helper()
	rng := rand.New(rand.NewPCG(7, uint64(n)))
	categories := []string{"desk", "dresser", "sideboard", "nightstand", "wardrobe", "dining_table", "bookcase", "armchair"}
	finishes, woods := []string{"painted", "clear", "oiled", "stained"}, []string{"oak", "pine", "walnut", "mahogany", "teak"}
	colors := []string{"white", "green", "navy", "black", "natural"}
	rows := func(yield func(recording.Row) error) error {
		for i := range n {
			c := rng.IntN(len(categories))
			size := 0.7 + 0.6*rng.Float64()
			price := 150 * (1 + 0.3*float64(c)) * size * math.Exp(0.2*rng.NormFloat64())
			listed := servicetest.Today - 900 + pricing.Date(rng.IntN(800))
			cells := service.Cells{
				"ref": fmt.Sprintf("M-%d", i), "category": categories[c], "unit": "in",
				"width": fmt.Sprintf("%.2f", 48*size), "depth": "20", "height": "34", "condition": fmt.Sprint(2 + rng.IntN(4)),
				"finish": finishes[rng.IntN(len(finishes))], "wood": woods[rng.IntN(len(woods))], "color": colors[rng.IntN(len(colors))],
				"listed_on": listed.String(), "ask": fmt.Sprintf("%.0f", 1.1*price), "messages": fmt.Sprint(rng.IntN(9)),
			}
			end := listed + pricing.Date(3+rng.IntN(90))
			switch i % 10 {
			case 7:
			case 8:
				cells["outcome"], cells["ended_on"] = "pulled", end.String()
			default:
				cells["outcome"], cells["ended_on"], cells["sale_price"] = "sold", end.String(), fmt.Sprintf("%.2f", price)
			}
			if err := yield(recording.Row{Number: i + 1, Cells: cells}); err != nil {
				return err
			}
		}
		return nil
	}
	result, err := f.Recording.Import(context.WithoutCancel(tb.Context()), f.Actor(tb, "Wilda"), rows, recording.ImportOptions{})
	if err != nil || result.Rejected > 0 {
		tb.Fatalf("import: %+v, %v", result, err)
	}
	f.Select(tb, "analyze") // as the server does by itself within a minute
}
