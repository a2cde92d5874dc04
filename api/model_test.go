package api_test

import (
	"fmt"
	"strings"
	"testing"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/servicetest"
)

func TestModelAndItsRecord(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	s := newSite(t, f, web.Limits{RequestsPerMinute: 100_000})
	var member string
	for member = range f.Keys {
		break
	}
	key := f.Keys[member]
	type effect struct {
		Block, Term        string
		Percent, Low, High float64
		Count              int
		Distinguishable    bool
	}
	m := want[struct {
		Model      string
		FittedOn   string `json:"fitted_on"`
		Sold       int
		Effects    []effect
		Season     []effect
		Elasticity float64
		MedianDays *int `json:"median_days"`
		Sentences  []wire.Sentence
		Suspicious []struct{ Ref string }
	}](t, s.do(t, call{method: "GET", path: "/v1/model", key: key}), 200)
	if m.Model != fmt.Sprintf("%d.%d.%s", pricing.Design, f.Actor(t, member).Group.ChangeNo, servicetest.Today) || m.FittedOn != servicetest.Today.String() {
		t.Errorf("model %s of %s", m.Model, m.FittedOn)
	}
	blocks := map[string]bool{}
	for _, e := range m.Effects {
		blocks[e.Block] = true
		if e.Term == "" || e.Low > e.Percent || e.Percent > e.High || (e.Distinguishable && e.Low < 0 && e.High > 0) {
			t.Errorf("effect %+v", e)
		}
	}
	for _, b := range []string{"size", "condition", "category", "finish", "color", "material", "wood"} {
		if !blocks[b] {
			t.Errorf("no effect of %s among %v", b, blocks)
		}
	}
	if len(m.Season) != 12 || m.Elasticity < 2 || m.Elasticity > 10 || len(m.Sentences) < 4 || m.Sold < 100 {
		t.Errorf("model %+v", m)
	}
	suggested := want[struct {
		Items []struct{ Basis struct{ Model string } }
	}](t, s.do(t, call{method: "POST", path: "/v1/suggestions", key: key, body: `{"subjects":[{"ref":"NEW-1","category":"desk"}]}`}), 200)
	if got := suggested.Items[0].Basis.Model; got != m.Model {
		t.Errorf("a suggestion rests on %s, the model is %s", got, m.Model)
	}

	type scores struct {
		Listings, Sold int
		MedianError    *float64 `json:"median_error_percent"`
		Inside         struct {
			Hits, N          int
			Value, Low, High float64
		}
		Ratio   *struct{ Cod, Prd, Prb float64 }
		Chances *struct {
			N     int
			Bands []struct{ From, To float64 }
		}
		Hindsight *struct{ Listings int }
		Sentences []wire.Sentence
	}
	r := want[struct {
		Model    string
		Kept     scores
		Backtest struct {
			scores
			Months []struct {
				Month string
				Sold  int
			}
		}
	}](t, s.do(t, call{method: "GET", path: "/v1/track-record", key: key}), 200)
	if r.Model != m.Model || r.Kept.Sold != 0 || r.Kept.MedianError != nil || len(r.Kept.Sentences) != 1 {
		t.Errorf("kept: %+v", r.Kept)
	}
	b := r.Backtest
	if len(b.Months) < 6 || b.Sold < 50 || b.Inside.N != b.Sold || b.Inside.Low > b.Inside.Value || b.Inside.Value > b.Inside.High || b.Ratio == nil || b.Chances == nil || b.Hindsight == nil {
		t.Errorf("backtest: %+v", b)
	}
	if text := textOf(b.Sentences); !strings.Contains(text, "at the suggested asks they would have left") || !strings.Contains(text, "nobody saw") {
		t.Errorf("the answer to whether following pays: %q", text)
	}
	wantProblem(t, s.do(t, call{method: "GET", path: "/v1/model?month=3", key: key}), 400, "malformed")
	tag := s.do(t, call{method: "GET", path: "/v1/track-record", key: key}).Header.Get("ETag")
	if again := s.do(t, call{method: "GET", path: "/v1/track-record", key: key, header: []string{"If-None-Match", tag}}); again.StatusCode != 304 {
		t.Errorf("unchanged: %d, want 304", again.StatusCode)
	}
}

// A sale that looks like a slip is shown to its owner alone.
func TestSuspiciousSalesAreTheOwners(t *testing.T) {
	s := setup(t)
	s.create(t, "Otto", `{"ref":"SLIP","category":"desk","listed_on":"2026-01-05","ask":480,"outcome":"sold","ended_on":"2026-02-01","sale_price":4.8}`)
	for member, n := range map[string]int{"Otto": 1, "Wilda": 0} {
		m := want[struct{ Suspicious []struct{ Ref string } }](t, s.do(t, call{method: "GET", path: "/v1/model", key: s.Keys[member]}), 200)
		if len(m.Suspicious) != n || (n == 1 && m.Suspicious[0].Ref != "SLIP") {
			t.Errorf("%s sees %+v, want %d", member, m.Suspicious, n)
		}
	}
}

func TestWhatIfTellsTheDifferences(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	s := newSite(t, f, web.Limits{RequestsPerMinute: 100_000})
	var member string
	for member = range f.Keys {
		break
	}
	rows, _, err := f.Recording.Listings(t.Context(), f.Actor(t, member), service.Query{Words: map[string][]string{"outcome": {"open"}, "finish": {"original", "clear", "waxed", "cleaned", "stained", "oiled"}}, Limit: 1})
	if err != nil || len(rows) == 0 {
		t.Fatalf("no open listing: %v", err)
	}
	answer := want[struct {
		Items []struct {
			Differences []struct {
				Column, From, To string
				Percent, Money   *float64
				AskChange        *float64 `json:"ask_change"`
			}
		}
	}](t, s.do(t, call{method: "POST", path: "/v1/suggestions", key: f.Keys[member], body: `{"subjects":[{"id":"` + rows[0].ID.String() + `"},{"id":"` + rows[0].ID.String() + `","finish":"painted","set_size":2}]}`}), 200).Items
	if answer[0].Differences != nil {
		t.Errorf("differences without a change: %+v", answer[0].Differences)
	}
	d := answer[1].Differences
	if len(d) != 2 || d[0].Column != "set_size" || d[1].Column != "finish" || d[1].From != rows[0].Finish || d[1].To != "painted" || d[0].Percent == nil || *d[0].Percent < 20 || d[0].Money == nil || d[0].AskChange == nil {
		t.Errorf("differences %+v", d)
	}
}
