package service

import (
	"slices"
	"strconv"

	"askwright/pricing"
)

// Cells are one row as it came: column name to text. A column that is absent
// is left alone; what a blank cell means is the column's own rule.
type Cells map[string]string

// Kind is how a column's values are written in JSON and in a workbook.
type Kind uint8

// The kinds of values.
const (
	KindText Kind = iota
	KindWord      // lower_snake, from a list
	KindDate
	KindMoney
	KindNumber
	KindCount
)

// String names the kind for people.
func (k Kind) String() string {
	return [...]string{"text", "word", "date", "money", "number", "count"}[k]
}

// IsNumeric reports whether values are JSON numbers.
func (k Kind) IsNumeric() bool { return k == KindMoney || k == KindNumber || k == KindCount }

// Column describes one column of the listing row: the one place that CSV,
// JSON, the difference of two rows and the API description read.
type Column struct {
	Name      string
	Kind      Kind
	Words     []string // known values of a KindWord
	Closed    bool     // no other words are taken
	OwnerOnly bool     // never shown to another member
	ReadOnly  bool     // told by the service, checked when sent back
	InputOnly bool     // a shorthand; never written
	Keeps     bool     // a blank cell leaves the value alone; else it means unknown

	Entries *Entries // of a list: how it is written in JSON

	Set func(d *Draft, cell string) error
	get func(l *Listing, c Currency) string

	Copy func(to, from *Listing) // of the description: as it is
}

// Entries are the parts of a list, which stand in a cell with ; between them and
// in JSON in an array: as texts, or as objects whose fields have a mark between
// them in the cell.
type Entries struct {
	Fields []string // none: texts
	Mark   string
	Open   string // what stands in the cell for a last field that is not known
}

// Columns is the registry, in the order of the CSV. New columns go to the end.
var Columns = slices.Concat(identityColumns, DescriptionColumns, offerColumns, ledgerColumns, toldColumns)

var columnsByName = func() map[string]*Column {
	m := make(map[string]*Column, len(Columns))
	for i := range Columns {
		m[Columns[i].Name] = &Columns[i]
	}
	return m
}()

// ColumnByName finds a column.
func ColumnByName(name string) (*Column, bool) {
	c, ok := columnsByName[name]
	return c, ok
}

// NearestColumn returns the name that was probably meant, or "".
func NearestColumn(name string) string { return nearestColumn(name, Columns) }

func nearestColumn(name string, columns []Column) string {
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.Name
	}
	return nearest(Canonical(name), names)
}

// Value writes the column of a row in canonical text; "" is unknown.
func (c *Column) Value(l *Listing, currency Currency) string {
	if c.get == nil {
		return ""
	}
	return c.get(l, currency)
}

var identityColumns = []Column{
	textColumn("ref", 100, func(l *Listing) *string { return &l.Ref }).blankKeeps(),
	textColumn("piece_ref", 100, func(l *Listing) *string { return &l.PieceRef }).blankKeeps(),
	closedColumn("source", sources, func(l *Listing) *string { return &l.Source }).blankKeeps(),
	dateColumn("last_seen_on", func(l *Listing) *pricing.Date { return &l.LastSeenOn }).blankKeeps(),
	closedColumn("stage", stages, func(l *Listing) *string { return &l.Stage }).blankKeeps(),
}

// DescriptionColumns say what a piece is and how it is offered.
var DescriptionColumns = []Column{
	wordColumn("category", Categories, func(l *Listing) *string { return &l.Category }).blankKeeps(),
	numberColumn("set_size", 1, 100, func(l *Listing) *int { return &l.SetSize }),
	{Name: "set_items", Entries: &Entries{Fields: []string{"category", "count"}, Mark: ":"}, Set: setItems, get: getItems, Copy: func(to, from *Listing) { to.Items = slices.Clone(from.Items) }},
	lengthColumn("width", func(l *Listing) *float64 { return &l.Width }),
	lengthColumn("depth", func(l *Listing) *float64 { return &l.Depth }),
	lengthColumn("height", func(l *Listing) *float64 { return &l.Height }),
	closedColumn("unit", units, func(l *Listing) *string { return &l.Unit }).blankKeeps(),
	wordColumn("material", materials, func(l *Listing) *string { return &l.Material }),
	wordColumn("wood", woods, func(l *Listing) *string { return &l.Wood }),
	textColumn("style", 100, func(l *Listing) *string { return &l.Style }),
	numberColumn("year_made", 1500, 2200, func(l *Listing) *int { return &l.YearMade }),
	gradeColumn("condition", func(l *Listing) *int { return &l.Condition }),
	wordColumn("finish", finishes, func(l *Listing) *string { return &l.Finish }),
	wordColumn("color", colors, func(l *Listing) *string { return &l.Color }),
	wordColumn("topcoat", Topcoats, func(l *Listing) *string { return &l.Topcoat }),
	wordColumn("sheen", sheens, func(l *Listing) *string { return &l.Sheen }),
	wordColumn("hardware", hardware, func(l *Listing) *string { return &l.Hardware }),
	wordColumn("second_finish", finishes, func(l *Listing) *string { return &l.SecondFinish }),
	wordColumn("second_color", colors, func(l *Listing) *string { return &l.SecondColor }),
	countColumn("drawers", 200, func(l *Listing) **int { return &l.Drawers }),
	countColumn("doors", 50, func(l *Listing) **int { return &l.Doors }),
	textColumn("maker", 200, func(l *Listing) *string { return &l.Maker }),
	textColumn("flaws", 2000, func(l *Listing) *string { return &l.Flaws }),
	textColumn("smell", 200, func(l *Listing) *string { return &l.Smell }),
}

var offerColumns = []Column{
	textColumn("venues", 300, func(l *Listing) *string { return &l.Venue }).listed(&Entries{}),
	textColumn("sold_venue", 200, func(l *Listing) *string { return &l.SoldVenue }),
	textColumn("area", 200, func(l *Listing) *string { return &l.Area }),
	dateColumn("listed_on", func(l *Listing) *pricing.Date { return &l.ListedOn }).blankKeeps(),
	{Name: "ask", Kind: KindMoney, Keeps: true, Set: setAsk, get: getAsk},
	moneyColumn("own_price", func(l *Listing) *Money { return &l.Estimate }).blankKeeps().ownerOnly(),
	{Name: "ask_history", Keeps: true, Entries: &Entries{Fields: []string{"on", "ask"}, Mark: ":"}, Set: setAsks, get: getAsks},
	{Name: "pauses", Keeps: true, Entries: &Entries{Fields: []string{"paused_on", "resumed_on"}, Mark: "/", Open: ".."}, Set: setPauses, get: getPauses},
	{Name: "paused_on", Kind: KindDate, Keeps: true, InputOnly: true, Set: setPausedOn},
	{Name: "resumed_on", Kind: KindDate, Keeps: true, InputOnly: true, Set: setResumedOn},
	countColumn("views", maxCount, func(l *Listing) **int { return &l.Views }).blankKeeps(),
	countColumn("saves", maxCount, func(l *Listing) **int { return &l.Saves }).blankKeeps(),
	countColumn("messages", maxCount, func(l *Listing) **int { return &l.Messages }).blankKeeps(),
	countColumn("showings", maxCount, func(l *Listing) **int { return &l.Showings }).blankKeeps(),
	closedColumn("outcome", outcomes, func(l *Listing) *string { return &l.Outcome }).blankKeeps(),
	dateColumn("ended_on", func(l *Listing) *pricing.Date { return &l.EndedOn }).blankKeeps(),
	moneyColumn("sale_price", func(l *Listing) *Money { return &l.SalePrice }).blankKeeps(),
	moneyColumn("seller_ask", func(l *Listing) *Money { return &l.SellerAsk }).blankKeeps(),
	closedColumn("closed_as", letGoReasons, func(l *Listing) *string { return &l.ClosedAs }).blankKeeps(),
	dateColumn("closed_on", func(l *Listing) *pricing.Date { return &l.ClosedOn }).blankKeeps(),
	textColumn("closed_note", 1000, func(l *Listing) *string { return &l.ClosedNote }).blankKeeps(),
	wordColumn("planned_finish", finishes, func(l *Listing) *string { return &l.PlannedFinish }).blankKeeps(),
	wordColumn("planned_color", colors, func(l *Listing) *string { return &l.PlannedColor }).blankKeeps(),
}

var ledgerColumns = func() []Column {
	columns := []Column{
		dateColumn("bought_on", func(l *Listing) *pricing.Date { return &l.Ledger.BoughtOn }),
		wordColumn("bought_from", boughtFroms, func(l *Listing) *string { return &l.Ledger.BoughtFrom }),
		gradeColumn("condition_found", func(l *Listing) *int { return &l.Ledger.ConditionFound }),
	}
	for _, kind := range CostKinds {
		columns = append(columns, costColumn(kind))
	}
	columns = append(columns, textColumn("notes", 4000, func(l *Listing) *string { return &l.Ledger.Notes }))
	for i := range columns {
		columns[i] = columns[i].blankKeeps().ownerOnly()
	}
	return columns
}()

// toldColumns come with exports; a row that is sent back may carry them.
var toldColumns = []Column{
	{Name: "member", ReadOnly: true, Keeps: true, Set: func(d *Draft, cell string) error { d.member = cell; return nil },
		get: func(l *Listing, _ Currency) string { return l.Member }},
	{Name: "id", ReadOnly: true, Keeps: true, Set: setID, get: func(l *Listing, _ Currency) string { return l.ID.String() }},
	{Name: "revision", Kind: KindCount, ReadOnly: true, Keeps: true, Set: setRevision,
		get: func(l *Listing, _ Currency) string { return strconv.FormatInt(l.Revision, 10) }},
}

func (c Column) blankKeeps() Column { c.Keeps = true; return c }

func (c Column) listed(e *Entries) Column { c.Entries = e; return c }

func (c Column) ownerOnly() Column { c.OwnerOnly = true; return c }

func copying[T any](field func(*Listing) *T) func(to, from *Listing) {
	return func(to, from *Listing) { *field(to) = *field(from) }
}

func textColumn(name string, most int, field func(*Listing) *string) Column {
	return Column{
		Name: name,
		Copy: copying(field),
		Set: func(d *Draft, cell string) error {
			if err := CheckText(cell, most); err != nil {
				return err
			}
			*field(&d.Listing) = cell
			return nil
		},
		get: func(l *Listing, _ Currency) string { return *field(l) },
	}
}

func wordColumn(name string, known []string, field func(*Listing) *string) Column {
	return Column{
		Name: name, Kind: KindWord, Words: known,
		Copy: copying(field),
		Set: func(d *Draft, cell string) error {
			if err := CheckText(cell, 60); err != nil {
				return err
			}
			word := Canonical(cell)
			if word != "" && !IsOneOf(word, known) {
				d.newValues = append(d.newValues, NewValue{Column: name, Value: word, Nearest: nearest(word, known)})
			}
			*field(&d.Listing) = word
			return nil
		},
		get: func(l *Listing, _ Currency) string { return *field(l) },
	}
}

func closedColumn(name string, allowed []string, field func(*Listing) *string) Column {
	return Column{
		Name: name, Kind: KindWord, Words: allowed, Closed: true,
		Copy: copying(field),
		Set: func(d *Draft, cell string) error {
			word := Canonical(cell)
			if word != "" && !IsOneOf(word, allowed) {
				return NotAllowed(cell, allowed)
			}
			*field(&d.Listing) = word
			return nil
		},
		get: func(l *Listing, _ Currency) string { return *field(l) },
	}
}

// gradeColumn takes a condition as its word or as 1 to 5 and writes the word.
func gradeColumn(name string, field func(*Listing) *int) Column {
	return Column{
		Name: name, Kind: KindWord, Words: Conditions, Closed: true,
		Copy: copying(field),
		Set: func(d *Draft, cell string) error {
			grade := slices.Index(Conditions, Canonical(cell)) + 1
			if n, err := strconv.Atoi(cell); err == nil && n >= 1 && n <= len(Conditions) {
				grade = n
			}
			if grade == 0 && cell != "" {
				return NotAllowed(cell, append(slices.Clone(Conditions), "1 to 5"))
			}
			*field(&d.Listing) = grade
			return nil
		},
		get: func(l *Listing, _ Currency) string {
			if grade := *field(l); grade > 0 {
				return Conditions[grade-1]
			}
			return ""
		},
	}
}

func dateColumn(name string, field func(*Listing) *pricing.Date) Column {
	return Column{
		Name: name, Kind: KindDate,
		Set: func(d *Draft, cell string) error {
			on, err := d.Reader.Date(cell)
			*field(&d.Listing) = on
			return err
		},
		get: func(l *Listing, _ Currency) string { return field(l).String() },
	}
}

func moneyColumn(name string, field func(*Listing) *Money) Column {
	return Column{
		Name: name, Kind: KindMoney,
		Set: func(d *Draft, cell string) error {
			m, err := d.Reader.PositiveMoney(cell)
			*field(&d.Listing) = m
			return err
		},
		get: func(l *Listing, c Currency) string {
			if m := *field(l); m != 0 {
				return m.Format(c)
			}
			return ""
		},
	}
}

func lengthColumn(name string, field func(*Listing) *float64) Column {
	return Column{
		Name: name, Kind: KindNumber,
		Copy: copying(field),
		Set: func(d *Draft, cell string) error {
			value, err := d.Reader.length(cell, d.Unit)
			*field(&d.Listing) = value
			return err
		},
		get: func(l *Listing, _ Currency) string {
			if v := *field(l); v != 0 {
				return strconv.FormatFloat(v, 'f', -1, 64)
			}
			return ""
		},
	}
}

func numberColumn(name string, low, high int, field func(*Listing) *int) Column {
	return Column{
		Name: name, Kind: KindNumber,
		Copy: copying(field),
		Set: func(d *Draft, cell string) error {
			n, err := wholeNumber(cell, low, high)
			*field(&d.Listing) = n
			return err
		},
		get: func(l *Listing, _ Currency) string {
			if n := *field(l); n != 0 {
				return strconv.Itoa(n)
			}
			return ""
		},
	}
}

const maxCount = 10_000_000

func countColumn(name string, most int, field func(*Listing) **int) Column {
	return Column{
		Name: name, Kind: KindCount,
		Copy: copying(field),
		Set: func(d *Draft, cell string) error {
			*field(&d.Listing) = nil
			if cell == "" {
				return nil
			}
			n, err := wholeNumber(cell, 0, most)
			*field(&d.Listing) = &n
			return err
		},
		get: func(l *Listing, _ Currency) string {
			if n := *field(l); n != nil {
				return strconv.Itoa(*n)
			}
			return ""
		},
	}
}

func costColumn(kind CostKind) Column {
	column := Column{Name: string(kind), Kind: KindMoney}
	if kind.IsHours() {
		column.Kind = KindNumber
	}
	column.Set = func(d *Draft, cell string) error {
		if cell == "" {
			delete(d.Ledger.Costs, kind)
			return nil
		}
		amount, err := d.Reader.Cost(cell, kind)
		if err != nil {
			return err
		}
		if d.Ledger.Costs == nil {
			d.Ledger.Costs = make(Costs)
		}
		d.Ledger.Costs[kind] = amount
		return nil
	}
	column.get = func(l *Listing, c Currency) string {
		amount, known := l.Ledger.Costs[kind]
		if !known {
			return ""
		}
		return FormatCost(kind, amount, c)
	}
	return column
}
