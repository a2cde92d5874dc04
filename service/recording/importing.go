package recording

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/service"
)

// Row is one data row of a file, with what was wrong with it as text.
type Row struct {
	Number int // data rows count from 1, blank ones too
	Cells  service.Cells
	Errors []service.FieldError // the row cannot be read at all
}

// RowSource yields the rows of a file in order, from the start at each call. It
// returns yield's error, or
// an *InvalidError when the file as a whole cannot be read further.
type RowSource func(yield func(Row) error) error

// ImportOptions say how a file is taken.
type ImportOptions struct {
	Atomic  bool // all or nothing
	DryRun  bool // the same answer, and nothing written
	Decimal rune
	// Revisions asks for those of the rows that landed.
	Revisions bool
}

// ImportResult counts what became of the rows.
type ImportResult struct {
	Received, Created, Updated, Unchanged int
	Errors                                []service.FieldError
	Rejected                              int // rows, each with one error or more
	NewValues                             []service.NewValue
	NothingLanded                         bool             // although there were rows
	Revisions                             map[string]int64 // by ref, where asked for
}

// importBatch is how many rows are looked up and written at a time.
const importBatch = 500

// Import keeps the rows of a file in one transaction: the good ones, or with
// Atomic all or none. It holds one batch of rows in memory.
func (s *Service) Import(ctx context.Context, a *service.Actor, rows RowSource, o ImportOptions) (*ImportResult, error) {
	if err := a.NeedWrite(); err != nil {
		return nil, err
	}
	result := &ImportResult{}
	err := s.write(ctx, a, func(w Writer) error {
		*result = ImportResult{} // the transaction may be tried again
		reader := a.Reader()
		reader.Decimal = o.Decimal
		b := newImporter(a, w, reader)
		if o.Revisions && !o.DryRun {
			result.Revisions = make(map[string]int64)
		}
		if err := b.run(ctx, rows, result); err != nil {
			return err
		}
		if o.Atomic && result.Rejected > 0 {
			result.Created, result.Updated, result.Unchanged, result.Revisions = 0, 0, 0, nil
		}
		landed := result.Created + result.Updated
		if o.DryRun || landed == 0 {
			return errUnwritten
		}
		return nil
	})
	result.NothingLanded = result.Rejected > 0 && result.Created+result.Updated+result.Unchanged == 0
	if err = wrapUnwritten(err, "import the rows"); err == nil && !o.DryRun {
		s.imported.count(result)
	}
	return result, err
}

// numberedRow is a row on its way in.
type numberedRow struct {
	Row   int
	Cells service.Cells
}

// importer takes rows of one actor into one transaction.
type importer struct {
	actor  *service.Actor
	writer Writer
	reader *service.Reader
	seen   map[string]int       // ref → row, over the whole file
	pieces map[string]uuid.UUID // piece_ref → id, over the whole file
	words  map[service.NewValue]bool
}

func newImporter(a *service.Actor, w Writer, r *service.Reader) *importer {
	return &importer{actor: a, writer: w, reader: r, seen: map[string]int{}, pieces: map[string]uuid.UUID{}, words: map[service.NewValue]bool{}}
}

// checked is what became of some rows before they are written.
type checked struct {
	changes []*service.Change
	errors  []service.FieldError
	bad     int
	same    int // rows of others that say nothing new
}

// run takes all rows of a source and writes them batch by batch.
func (b *importer) run(ctx context.Context, rows RowSource, result *ImportResult) error {
	var waiting []numberedRow
	flush := func() error {
		if len(waiting) == 0 {
			return nil
		}
		got, err := b.take(ctx, waiting)
		if err != nil {
			return err
		}
		waiting = waiting[:0]
		b.count(got, result)
		err = b.save(ctx, got.changes)
		for _, c := range got.changes {
			if result.Revisions != nil {
				result.Revisions[c.New.Ref] = c.New.Revision
			}
		}
		return err
	}
	err := rows(func(row Row) error {
		if len(row.Errors) == 0 && isBlank(row.Cells) {
			return nil
		}
		result.Received++
		if len(row.Errors) > 0 {
			result.Rejected++
			result.Errors = append(result.Errors, row.Errors...)
			return nil
		}
		waiting = append(waiting, numberedRow{Row: row.Number, Cells: row.Cells})
		if len(waiting) < importBatch {
			return nil
		}
		return flush()
	})
	if err != nil {
		return err
	}
	if err := flush(); err != nil {
		return err
	}
	slices.SortStableFunc(result.Errors, func(x, y service.FieldError) int { return x.Row - y.Row })
	return nil
}

func (b *importer) count(got checked, result *ImportResult) {
	result.Rejected += got.bad
	result.Unchanged += got.same
	result.Errors = append(result.Errors, got.errors...)
	for _, c := range got.changes {
		switch {
		case c.Old == nil:
			result.Created++
		case len(c.Events) > 0:
			result.Updated++
		default:
			result.Unchanged++
		}
		for _, v := range c.NewValues {
			if !b.words[v] {
				b.words[v] = true
				result.NewValues = append(result.NewValues, v)
			}
		}
	}
}

// take looks up what is on file for the rows, reads them and checks them
// against their siblings. Rows that end a listing come before rows that open
// one, so that a file may hold both in any order.
func (b *importer) take(ctx context.Context, rows []numberedRow) (checked, error) {
	onFile, err := b.onFile(ctx, rows)
	if err != nil {
		return checked{}, err
	}
	var got checked
	reject := func(row int, wrong ...service.FieldError) {
		got.bad++
		for _, f := range wrong {
			f.Row = row
			got.errors = append(got.errors, f)
		}
	}
	theirs, err := b.theirs(ctx, rows)
	if err != nil {
		return checked{}, err
	}
	rowOf := make(map[*service.Change]int)
	for _, n := range rows {
		if l := theirs[n.Row]; l != nil && b.saysNothingNew(n, l) {
			got.same++
			continue
		}
		ref := strings.TrimSpace(n.Cells["ref"])
		if first, twice := b.seen[ref]; twice && ref != "" {
			reject(n.Row, service.FieldError{Ref: ref, Column: "ref", Reason: fmt.Sprintf("stands already in row %d of this file", first)})
			continue
		}
		b.seen[ref] = n.Row
		change, wrong := b.read(n, onFile[ref])
		if wrong != nil {
			reject(n.Row, wrong...)
			continue
		}
		rowOf[change] = n.Row
		got.changes = append(got.changes, change)
	}
	if err := b.assignPieces(ctx, got.changes); err != nil {
		return checked{}, err
	}
	clashes, err := b.clashes(ctx, got.changes)
	if err != nil {
		return checked{}, err
	}
	got.changes = slices.DeleteFunc(got.changes, func(c *service.Change) bool {
		wrong, clash := clashes[c]
		if clash {
			reject(rowOf[c], wrong)
		}
		return clash
	})
	return got, nil
}

func (b *importer) onFile(ctx context.Context, rows []numberedRow) (map[string]*service.Listing, error) {
	refs := make([]string, 0, len(rows))
	for _, n := range rows {
		if ref := strings.TrimSpace(n.Cells["ref"]); ref != "" && service.CheckText(ref, 100) == nil {
			refs = append(refs, ref)
		}
	}
	return b.writer.ListingsByRef(ctx, b.actor.MemberID, refs)
}

// read reads one row onto what is on file under its ref.
func (b *importer) read(n numberedRow, old *service.Listing) (*service.Change, []service.FieldError) {
	if name := strings.TrimSpace(n.Cells["member"]); b.isTheirs(n) {
		return nil, []service.FieldError{{Ref: n.Cells["ref"], Column: "member", Reason: fmt.Sprintf("this row belongs to %s; you are %s", service.Clip(name), b.actor.Member)}}
	}
	change, wrong := b.reader.Change(old, n.Cells, service.ChangeOptions{})
	if wrong != nil && old == nil && isTotal(n.Cells) {
		return nil, []service.FieldError{{Ref: n.Cells["ref"], Column: "ref", Reason: "this looks like a row of totals: it has amounts and no category; leave it out"}}
	}
	if wrong != nil {
		return nil, wrong
	}
	if id := strings.TrimSpace(n.Cells["id"]); id != "" && old != nil && id != old.ID.String() {
		return nil, []service.FieldError{{Ref: old.Ref, Column: "id", Reason: fmt.Sprintf("%s has the id %s on file", old.Ref, old.ID)}}
	}
	if old == nil {
		change.New.ID, change.New.MemberID, change.New.Member = service.NewID(), b.actor.MemberID, b.actor.Member
	}
	return change, nil
}

// assignPieces finds the piece of each new row, or makes it.
func (b *importer) assignPieces(ctx context.Context, changes []*service.Change) error {
	var unknown []string
	for _, c := range changes {
		if _, ok := b.pieces[c.New.PieceRef]; c.Old == nil && !ok {
			unknown = append(unknown, c.New.PieceRef)
		}
	}
	found, err := b.writer.PieceIDs(ctx, b.actor.MemberID, unknown)
	if err != nil {
		return err
	}
	for ref, id := range found {
		b.pieces[ref] = id
	}
	for _, c := range changes {
		if c.Old != nil {
			continue
		}
		id, ok := b.pieces[c.New.PieceRef]
		if !ok {
			id, c.NewPiece = service.NewID(), true
			b.pieces[c.New.PieceRef] = id
		}
		c.New.PieceID = id
	}
	return nil
}

// clashes finds rows that would offer a piece twice at once. It also puts the
// changes in the order in which they can be written.
func (b *importer) clashes(ctx context.Context, changes []*service.Change) (map[*service.Change]service.FieldError, error) {
	slices.SortStableFunc(changes, func(x, y *service.Change) int { return boolRank(x.Opens()) - boolRank(y.Opens()) })
	pieces := make([]uuid.UUID, 0, len(changes))
	for _, c := range changes {
		if c.New.IsOffered() && !c.New.IsObserved() {
			pieces = append(pieces, c.New.PieceID)
		}
	}
	open, err := b.writer.OpenListings(ctx, pieces)
	if err != nil {
		return nil, err
	}
	wrong := make(map[*service.Change]service.FieldError)
	for _, c := range changes {
		if c.New.IsObserved() {
			continue
		}
		other := open[c.New.PieceID]
		switch {
		case !c.Opens():
			if other != nil && other.ID == c.New.ID {
				delete(open, c.New.PieceID)
			}
		case other != nil && other.ID != c.New.ID:
			wrong[c] = service.FieldError{Ref: c.New.Ref, Column: "piece_ref", Reason: fmt.Sprintf("the piece %s is still offered as %s; end that listing first", c.New.PieceRef, other.Ref)}
		default:
			open[c.New.PieceID] = c.New
		}
	}
	return wrong, nil
}

func boolRank(b bool) int {
	if b {
		return 1
	}
	return 0
}

// save completes the events and writes what changed.
func (b *importer) save(ctx context.Context, changes []*service.Change) error {
	var write []*service.Change
	for _, c := range changes {
		if len(c.Events) == 0 {
			continue
		}
		for i := range c.Events {
			e := &c.Events[i]
			if e.ID == uuid.Nil {
				e.ID = service.NewID()
			}
			e.ListingID, e.MemberID, e.Member, e.At = c.New.ID, b.actor.MemberID, b.actor.Member, b.actor.Now
		}
		c.New.Revision++
		var err error
		if c.Notices, err = service.NoticesOf(b.actor, c); err != nil {
			return err
		}
		write = append(write, c)
	}
	if len(write) == 0 {
		return nil
	}
	if err := discountLateEstimates(ctx, b.writer, write); err != nil {
		return err
	}
	return b.writer.Save(ctx, write)
}

// isTotal reports whether a row sums up others: it is called so or not at all,
// is no kind of thing and holds a number.
func isTotal(c service.Cells) bool {
	name := strings.Trim(strings.ToLower(c["ref"]), " :.")
	called := slices.Contains([]string{"total", "totals", "sum", "subtotal", "average", "grand total"}, name)
	if (name != "" && !called) || strings.TrimSpace(c["category"]) != "" {
		return false
	}
	for _, column := range service.Columns {
		if column.Kind.IsNumeric() && strings.TrimSpace(c[column.Name]) != "" {
			return true
		}
	}
	return called
}

func isBlank(c service.Cells) bool {
	for _, cell := range c {
		if strings.TrimSpace(cell) != "" {
			return false
		}
	}
	return true
}
