package pricing

// Review is the state of one open listing and what could be done about it.
type Review struct {
	ID              string
	State           string // "fresh", "slow", "stale", "paused"
	Clear           bool   // of a stale one: the best remedy beats waiting in at least 3 of 4 cases
	ActiveDays      int
	DaysOnMarket    int
	DaysAtAsk       int // active days
	ChanceSoldByNow float64
	MessagesSeen    *int
	MessagesUsual   float64 // expected by now
	Demand          float64 // posterior mean of the frailty: 1 is what the description promises
	Reason          string  // "price", "look", "exposure", "season", "luck"
	Checks          []string
	Remedies        []Remedy // best first
	Gain            float64  // of the best over waiting
	Refusal         *Refusal // of the flag: too few sales
	Sentences       []string
}

// Remedy is one thing to do about a slow listing.
type Remedy struct {
	Action                  string // "wait", "renew", "reprice", "refinish", "withdraw"
	Ask                     float64
	Finish, Color           string
	ExpectedNet             float64
	Gain                    float64 // over waiting
	ChanceBetterThanWaiting float64
	Chance30                float64
	Cost                    float64
	Hours                   float64
	DaysOut                 int
}

// Review judges one open listing on a day.
func (m *Model) Review(st Standing, on Date, s Settings) Review { return Review{} }
