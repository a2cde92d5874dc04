package rowfile

import (
	"io"
	"os"
	"runtime"
	"strings"
	"testing"

	"askwright/api/web"
	"askwright/service/recording"
)

// fileOf is a body of some text as it is spooled.
func fileOf(t *testing.T, text string) *os.File {
	t.Helper()
	f, err := os.CreateTemp(t.TempDir(), "body")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	if _, err := io.WriteString(f, text); err != nil {
		t.Fatal(err)
	}
	return f
}

// allocatedBy is how many bytes were allocated in all while something was done.
func allocatedBy(do func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	do()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// One record of 32 MB of commas took 3 GB.
func TestARecordOfCommasTakesLittleMemory(t *testing.T) {
	f := &RowFile{File: fileOf(t, "ref,category\n"+strings.Repeat(",", 32<<20)+"\nB-2,bench\n"), Columns: RowColumns, MostRows: 10}
	var rows []recording.Row
	var err error
	took := allocatedBy(func() {
		err = f.CSVRows(func(r recording.Row) error {
			rows = append(rows, r)
			return nil
		})
	})
	if err != nil {
		t.Fatal(err)
	}
	if took > 4<<20 {
		t.Errorf("%s allocated", web.ByteCount(int64(took)))
	}
	if len(rows) != 2 || len(rows[0].Errors) != 1 || rows[0].Errors[0].Row != 1 || rows[1].Errors != nil {
		t.Fatalf("rows %v", rows)
	}
	if reason := rows[0].Errors[0].Reason; reason != "the row has 33554433 cells; at most 500 are read" {
		t.Errorf("reason %q", reason)
	}
}

// A value of JSON takes a hundred times its text.
func TestAJSONRowOfManyValuesIsRefusedEarly(t *testing.T) {
	f := &RowFile{File: fileOf(t, `[{"ref":"B-1"},{"ref":[`+strings.Repeat("0,", 8<<20)+"0]}]"), Columns: RowColumns, MostRows: 10}
	var err error
	took := allocatedBy(func() {
		err = f.JSONRows(func(recording.Row) error { return nil })
	})
	if p := web.ProblemOf(err); p.Status != 413 || !strings.HasPrefix(p.Detail, "row 2: ") {
		t.Errorf("%d %s", p.Status, p.Detail)
	}
	if took > 150<<20 {
		t.Errorf("%s allocated", web.ByteCount(int64(took)))
	}
}
