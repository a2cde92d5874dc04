package service

import "askwright/pricing/refinish"

// DistanceUnit is in what the group's distances are.
func (g *Group) DistanceUnit() string {
	if g.Unit == UnitCentimetre {
		return "km"
	}
	return "mi"
}

const centimetresPerInch = MillimetresPerInch / 10

// InUnit is a figure of pricing in the group's units, with the unit's name.
func (g *Group) InUnit(x float64, unit string) (value float64, name string) {
	if g.isMetric() {
		return x, unit
	}
	switch unit {
	case "cm":
		return x / centimetresPerInch, "in"
	case "m2":
		return x / squareMetresPerSquareFoot, "ft2"
	case "L":
		return x / litresIn["qt"], "qt"
	case "µm":
		return x / refinish.MicrometresPerMil, "mil"
	case "°C":
		return x*9/5 + 32, "°F"
	}
	return x, unit
}

// ToMetric is the way back.
func (g *Group) ToMetric(x float64, unit string) float64 {
	if g.isMetric() {
		return x
	}
	switch unit {
	case "cm":
		return x * centimetresPerInch
	case "µm":
		return x * refinish.MicrometresPerMil
	case "°C":
		return (x - 32) * 5 / 9
	}
	return x
}
