package pricing

// DefaultSettings are those of a new group.
func DefaultSettings() Settings {
	return Settings{
		HoldingRate: 0.002,
		SalvageRate: 0.15,
		HorizonDays: 180,
		FlagGain:    0.05,
		ClearOdds:   0.75,
		MinSales:    8,
	}
}
