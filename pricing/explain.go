package pricing

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"askwright/pricing/furniture"
	"askwright/pricing/hedonic"
)

// drivers are the effects of a piece's attributes against the typical sold
// piece of its category, the strongest first. Levels without sales are left out.
func (m *Model) drivers(a furniture.Attributes, r row, likely float64) []Driver {
	v := m.value
	mean, sales := v.Typical(a.Category)
	var out []Driver
	for _, line := range gridLines {
		if line == "category" {
			continue
		}
		d := make([]float64, len(r.X))
		term, count, has := line, sales, false
		for j, name := range v.Names {
			if gridLine(name) != line {
				continue
			}
			d[j] = r.X[j] - mean[j]
			if strings.Contains(name, ":") && r.X[j] != 0 && hedonic.BlockOf(name) == line {
				term, count, has = furniture.Words(name), v.Counts[j], true
			}
		}
		switch _, sized := a.LogDimensions(); {
		case line == "size" && sized != [3]bool{}, line == "condition" && a.Condition > 0, line == "set", line == "date":
			has = true
		}
		at, half := v.effect(d)
		if !has || count == 0 || math.Abs(at) < 1e-9 {
			continue
		}
		out = append(out, Driver{
			Term: term, Percent: percent(at), Low: percent(at - half), High: percent(at + half),
			Money: -likely * math.Expm1(-at), Sales: count, Distinguishable: math.Abs(at) > half,
		})
	}
	slices.SortStableFunc(out, func(a, b Driver) int { return cmp.Compare(math.Abs(b.Percent), math.Abs(a.Percent)) })
	return out
}

func tooFewSales(have, need int) *furniture.Refusal {
	return &furniture.Refusal{
		Reason: TooFewSales, Have: float64(have), Need: float64(need),
		Detail: fmt.Sprintf("No price yet: %d sales recorded, %d needed. Add sales or your own price.", have, need),
	}
}
