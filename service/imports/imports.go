// Package imports takes members' own sheets in: it keeps a sheet while its
// member looks at what is made of it, and remembers what its headings mean.
package imports

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/doubt"
	"askwright/service/recording"
	"askwright/service/sheet"
)

// What is kept, and how long.
const (
	MostSheets  = 20 // of a member; the oldest goes
	keepFor     = 30 * 24 * time.Hour
	mostPacked  = 4 << 20
	mostPlain   = 64 << 20
	mostMemory  = 1000 // remembered headings, and answers
	nameLength  = 200
	mostColumns = 500
)

// The states of a sheet.
const (
	StateOpen      = "open"
	StateCommitted = "committed"
)

// Stored is a sheet as it is kept.
type Stored struct {
	ID        uuid.UUID
	Name      string
	State     string
	CreatedAt time.Time
	Cells     []byte
	Columns   map[string]string
	Answers   map[string]string
}

// Memory is what a member's headings and words mean.
type Memory struct {
	Columns map[string]string
	Answers map[string]string
}

// Store keeps sheets, each for its member alone.
type Store interface {
	// KeepSheet keeps a new sheet and drops those before the time given, and the
	// oldest where there are more than most.
	KeepSheet(ctx context.Context, t service.Tenant, s Stored, before time.Time, most int) error
	// Sheets lists the member's sheets without their cells, the newest first.
	Sheets(ctx context.Context, t service.Tenant) ([]Stored, error)
	Sheet(ctx context.Context, t service.Tenant, id uuid.UUID) (*Stored, error)
	// ChangeSheet keeps the state, columns and answers of a sheet.
	ChangeSheet(ctx context.Context, t service.Tenant, s Stored) error
	DeleteSheet(ctx context.Context, t service.Tenant, id uuid.UUID) error
	SheetMemory(ctx context.Context, t service.Tenant) (Memory, error)
	KeepSheetMemory(ctx context.Context, t service.Tenant, m Memory) error
}

// Service looks at sheets and lets them land. It is safe for concurrent use.
type Service struct {
	store     Store
	recording *recording.Service
}

// New returns a Service.
func New(store Store, r *recording.Service) *Service { return &Service{store: store, recording: r} }

// Import is a sheet with what is made of it, and what would land.
type Import struct {
	Stored
	Sheet  string
	Look   *sheet.Look
	Result *recording.ImportResult
	Doubts []RowDoubt
}

// RowDoubt is why a row of the sheet is to be checked.
type RowDoubt struct {
	Row int // of the sheet
	Ref string
	doubt.Doubt
}

// First looks at a sheet and keeps it.
func (s *Service) First(ctx context.Context, a *service.Actor, name string, g *sheet.Grid) (*Import, error) {
	if err := a.NeedWrite(); err != nil {
		return nil, err
	}
	packed, err := pack(g)
	if err != nil {
		return nil, err
	}
	kept := Stored{
		ID: service.NewID(), Name: service.ClipTo(strings.ToValidUTF8(service.OneLine(name), ""), nameLength-4), State: StateOpen, CreatedAt: a.Now, Cells: packed,
		Columns: map[string]string{}, Answers: map[string]string{},
	}
	out, err := s.look(ctx, a, kept, g)
	if err != nil {
		return nil, err
	}
	if err := s.store.KeepSheet(ctx, a.Tenant(), kept, a.Now.Add(-keepFor), MostSheets); err != nil {
		return nil, fmt.Errorf("keep the sheet: %w", err)
	}
	return out, nil
}

// look reads the sheet with what its member said, and tries its rows.
func (s *Service) look(ctx context.Context, a *service.Actor, kept Stored, g *sheet.Grid) (*Import, error) {
	memory, err := s.store.SheetMemory(ctx, a.Tenant())
	if err != nil {
		return nil, fmt.Errorf("read what was said of sheets before: %w", err)
	}
	o := sheet.Settings{Reader: a.Reader(), Columns: merged(memory.Columns, kept.Columns), Answers: merged(memory.Answers, kept.Answers)}
	look, err := sheet.At(g, o)
	if err != nil {
		return nil, err
	}
	out := &Import{Stored: kept, Sheet: g.Name, Look: look}
	if out.Result, err = s.recording.Import(ctx, a, rowsOf(look), recording.ImportOptions{DryRun: true, Decimal: '.'}); err != nil {
		return nil, err
	}
	out.Doubts, err = s.doubts(ctx, a, look)
	return out, err
}

// mostBeside bounds the rows on file that a sheet is compared with.
const mostBeside = 5000

// doubts finds rows that look like slips, beside each other and what is on file.
func (s *Service) doubts(ctx context.Context, a *service.Actor, look *sheet.Look) ([]RowDoubt, error) {
	reader := a.Reader()
	var at []sheet.Row
	var rows, onFile []*service.Listing
	inSheet := map[string]bool{}
	for _, row := range look.Rows {
		if change, wrong := reader.Change(nil, row.Cells, service.ChangeOptions{}); wrong == nil {
			change.New.Member, change.New.MemberID = a.Member, a.MemberID
			at, rows, inSheet[change.New.Ref] = append(at, row), append(rows, change.New), true
		}
	}
	beside, _, err := s.recording.Listings(ctx, a, service.Query{Limit: mostBeside, Sort: []service.SortKey{{Column: "listed_on", Descending: true}}})
	if err != nil {
		return nil, fmt.Errorf("read what is on file beside the sheet: %w", err)
	}
	for _, l := range beside {
		if l.MemberID != a.MemberID || !inSheet[l.Ref] {
			onFile = append(onFile, l)
		}
	}
	var found []RowDoubt
	for i, doubts := range doubt.Judge(rows, onFile, a.Group.Currency, a.Today) {
		for _, d := range doubts {
			found = append(found, RowDoubt{Row: at[i].At, Ref: rows[i].Ref, Doubt: d})
		}
	}
	return found, nil
}

func merged(first, then map[string]string) map[string]string {
	all := maps.Clone(first)
	if all == nil {
		all = map[string]string{}
	}
	maps.Copy(all, then)
	return all
}

// rowsOf are the rows as they land: their numbers are those of the sheet.
func rowsOf(look *sheet.Look) recording.RowSource {
	return func(yield func(recording.Row) error) error {
		for _, row := range look.Rows {
			if err := yield(recording.Row{Number: row.At, Cells: row.Cells}); err != nil {
				return err
			}
		}
		return nil
	}
}

// List lists the member's sheets without what is made of them.
func (s *Service) List(ctx context.Context, a *service.Actor) ([]Stored, error) {
	return s.store.Sheets(ctx, a.Tenant())
}

// Get looks at a sheet again, as the group's rows are now.
func (s *Service) Get(ctx context.Context, a *service.Actor, id uuid.UUID) (*Import, error) {
	kept, g, err := s.kept(ctx, a, id)
	if err != nil {
		return nil, err
	}
	return s.look(ctx, a, *kept, g)
}

func (s *Service) kept(ctx context.Context, a *service.Actor, id uuid.UUID) (*Stored, *sheet.Grid, error) {
	kept, err := s.store.Sheet(ctx, a.Tenant(), id)
	if service.IsNotFound(err) {
		return nil, nil, service.Refuse(service.ErrNotFound, "there is no import with the id %s; sheets are kept for 30 days", id)
	}
	if err != nil {
		return nil, nil, err
	}
	g, err := unpack(kept.Cells)
	return kept, g, err
}

// Commit lets the rows land, once no question is open. Dry: the same answer,
// and nothing is written.
func (s *Service) Commit(ctx context.Context, a *service.Actor, id uuid.UUID, o recording.ImportOptions) (*Import, error) {
	if err := a.NeedWrite(); err != nil {
		return nil, err
	}
	now, err := s.Get(ctx, a, id)
	if err != nil {
		return nil, err
	}
	if open := now.Look.Open(); open > 0 && !o.DryRun {
		return nil, service.Refuse(service.ErrConflict, "%s not answered yet: %s Answer with PATCH, or take what is proposed with take_proposed",
			service.Count(open, "question is", "questions are"), firstOpen(now.Look))
	}
	o.Decimal = '.'
	if now.Result, err = s.recording.Import(ctx, a, rowsOf(now.Look), o); err != nil || o.DryRun || now.Result.NothingLanded || (o.Atomic && now.Result.Rejected > 0) {
		return now, err
	}
	now.State = StateCommitted
	if err := s.store.ChangeSheet(ctx, a.Tenant(), now.Stored); err != nil {
		return nil, fmt.Errorf("note that the sheet landed: %w", err)
	}
	return now, s.remember(ctx, a, now)
}

func firstOpen(look *sheet.Look) string {
	for _, q := range look.Questions {
		if q.Answer == nil {
			return q.Text
		}
	}
	return ""
}

// remember keeps what the headings and words of a sheet that landed mean.
func (s *Service) remember(ctx context.Context, a *service.Actor, now *Import) error {
	m, err := s.store.SheetMemory(ctx, a.Tenant())
	if err != nil {
		return fmt.Errorf("read what was said of sheets before: %w", err)
	}
	m.Columns, m.Answers = merged(m.Columns, nil), merged(m.Answers, nil)
	for _, t := range now.Look.Mapping {
		if t.Heading != "" && len(m.Columns) < mostMemory {
			m.Columns[sheet.HeadingKey(t.Heading)] = t.Column
		}
	}
	for _, q := range now.Look.Questions {
		if q.Answer != nil && q.IsOfWords() && len(m.Answers) < mostMemory {
			m.Answers[q.Key] = *q.Answer
		}
	}
	if err := s.store.KeepSheetMemory(ctx, a.Tenant(), m); err != nil {
		return fmt.Errorf("remember the headings: %w", err)
	}
	return nil
}

// Delete forgets a sheet. What landed from it stays.
func (s *Service) Delete(ctx context.Context, a *service.Actor, id uuid.UUID) error {
	if err := a.NeedWrite(); err != nil {
		return err
	}
	err := s.store.DeleteSheet(ctx, a.Tenant(), id)
	if service.IsNotFound(err) {
		return service.Refuse(service.ErrNotFound, "there is no import with the id %s", id)
	}
	return err
}

func pack(g *sheet.Grid) ([]byte, error) {
	text, err := json.Marshal(g)
	if err != nil {
		return nil, fmt.Errorf("pack the sheet: %w", err)
	}
	var packed bytes.Buffer
	out := gzip.NewWriter(&packed)
	if _, err := out.Write(text); err != nil {
		return nil, fmt.Errorf("pack the sheet: %w", err)
	}
	if err := out.Close(); err != nil {
		return nil, fmt.Errorf("pack the sheet: %w", err)
	}
	if packed.Len() > mostPacked || len(text) > mostPlain {
		return nil, service.Invalid("", "the sheet is too large for a first look; give it the columns' own names as headings and import it with commit=true")
	}
	return packed.Bytes(), nil
}

func unpack(packed []byte) (*sheet.Grid, error) {
	in, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, fmt.Errorf("unpack the sheet: %w", err)
	}
	g := &sheet.Grid{}
	if err := json.NewDecoder(io.LimitReader(in, mostPlain)).Decode(g); err != nil {
		return nil, fmt.Errorf("unpack the sheet: %w", err)
	}
	return g, nil
}
