package hedonic

import (
	"fmt"
	"slices"
	"sort"

	"askwright/pricing/civil"
)

// SaleRow is a sale as it enters the value model. Keep it where Statistics are
// kept: a correction removes the row as it was added.
type SaleRow struct {
	Listing string // its id
	Terms   []Term
	Y       float64 // log of the sale price
	Weight  float64 // (0, 1]
	On      civil.Date
}

// Equal reports whether two rows are the same to the last bit.
func (r SaleRow) Equal(other SaleRow) bool {
	return r.Y == other.Y && r.Weight == other.Weight && r.On == other.On && slices.Equal(r.Terms, other.Terms)
}

// Statistics are the sufficient statistics of the value model: weighted sums
// of squares and products of the raw columns, by term. Their state is exported
// so that it can be stored as JSON or gob; it is the same to 1e-9 whether it
// was built at once or one sale at a time. The zero value has no sales.
type Statistics struct {
	Version int
	Sales   int
	Weight  float64 // Σ w
	Names   []string
	Counts  []int       // rows that have the term
	XX      [][]float64 // lower triangle of Σ w x x', by row
	XY      []float64   // Σ w x y
	YY      float64     // Σ w y²
	Days    map[civil.Date]int

	index map[string]int
}

// Current reports whether the columns are those of this version of the
// package; others must be rebuilt from the history.
func (s *Statistics) Current() bool { return s.Sales == 0 || s.Version == Design }

// Add adds a sale.
func (s *Statistics) Add(row SaleRow) { s.update(row, 1) }

// Remove takes away a sale as it was added, and with the last sale of a term
// its column: what no sale has leaves no trace, not even of rounding. It
// returns an error where the row cannot have been added.
func (s *Statistics) Remove(row SaleRow) error {
	for _, t := range row.Terms {
		if i, ok := s.find(t.Name); !ok || s.Counts[i] == 0 {
			return fmt.Errorf("no sale with %q to remove", t.Name)
		}
	}
	if s.Days[row.On] == 0 {
		return fmt.Errorf("no sale on %s to remove", row.On)
	}
	s.update(row, -1)
	if s.Sales == 0 {
		*s = Statistics{}
		return nil
	}
	for _, t := range row.Terms {
		if i, ok := s.find(t.Name); ok && s.Counts[i] == 0 {
			s.drop(i)
		}
	}
	return nil
}

// drop removes the column at place i.
func (s *Statistics) drop(i int) {
	s.Names = slices.Delete(s.Names, i, i+1)
	s.Counts = slices.Delete(s.Counts, i, i+1)
	s.XY = slices.Delete(s.XY, i, i+1)
	s.XX = slices.Delete(s.XX, i, i+1)
	for j := i; j < len(s.XX); j++ {
		s.XX[j] = slices.Delete(s.XX[j], i, i+1)
	}
	s.index = nil
}

func (s *Statistics) update(row SaleRow, sign int) {
	at := make([]int, len(row.Terms))
	for i, t := range row.Terms {
		at[i] = s.place(t.Name)
		s.Counts[at[i]] += sign
	}
	w := float64(sign) * row.Weight
	for i, t := range row.Terms {
		s.XY[at[i]] += w * t.Value * row.Y
		for j := 0; j <= i; j++ {
			a, b := max(at[i], at[j]), min(at[i], at[j])
			s.XX[a][b] += w * t.Value * row.Terms[j].Value
		}
	}
	s.YY += w * row.Y * row.Y
	s.Weight += w
	s.Sales += sign
	if s.Days == nil {
		s.Days = map[civil.Date]int{}
	}
	if s.Days[row.On] += sign; s.Days[row.On] == 0 {
		delete(s.Days, row.On)
	}
	s.Version = Design
}

// find returns the place of a term. The index is rebuilt after decoding.
func (s *Statistics) find(name string) (int, bool) {
	if s.index == nil || len(s.index) != len(s.Names) {
		s.index = make(map[string]int, len(s.Names))
		for i, n := range s.Names {
			s.index[n] = i
		}
	}
	i, ok := s.index[name]
	return i, ok
}

// place returns the place of a term, a new one with zeros if need be.
func (s *Statistics) place(name string) int {
	if i, ok := s.find(name); ok {
		return i
	}
	i := len(s.Names)
	s.Names = append(s.Names, name)
	s.Counts = append(s.Counts, 0)
	s.XX = append(s.XX, make([]float64, i+1))
	s.XY = append(s.XY, 0)
	s.index[name] = i
	return i
}

// Clone returns an independent copy.
func (s *Statistics) Clone() *Statistics {
	c := *s
	c.Names = slices.Clone(s.Names)
	c.Counts = slices.Clone(s.Counts)
	c.XY = slices.Clone(s.XY)
	c.XX = make([][]float64, len(s.XX))
	for i, row := range s.XX {
		c.XX[i] = slices.Clone(row)
	}
	c.Days = make(map[civil.Date]int, len(s.Days))
	for d, n := range s.Days {
		c.Days[d] = n
	}
	c.index = nil
	return &c
}

// product is an element of Σ w x x'.
func (s *Statistics) product(i, j int) float64 { return s.XX[max(i, j)][min(i, j)] }

// lastSale is the newest day of a sale, zero without one.
func (s *Statistics) lastSale() civil.Date {
	var last civil.Date
	for d := range s.Days {
		last = max(last, d)
	}
	return last
}

// used returns the places of the terms that some sale has, sorted by name.
func (s *Statistics) used() []int {
	at := make([]int, 0, len(s.Names))
	for i, n := range s.Counts {
		if n > 0 {
			at = append(at, i)
		}
	}
	sort.Slice(at, func(a, b int) bool { return s.Names[at[a]] < s.Names[at[b]] })
	return at
}
