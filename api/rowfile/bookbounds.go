package rowfile

import (
	"archive/zip"
	"bufio"
	"context"
	"io"
	"os"

	"askwright/api/web"
)

// What a workbook may hold. Each element takes a hundred times its text in
// memory, so they are counted before the library sees them.
const (
	maxSheets   = 50
	maxParts    = 1000
	maxElements = 5_000_000
	maxCells    = 2_000_000
	maxBookRows = 200_000
	maxMerged   = 1000   // ranges of a sheet
	maxWidth    = 16_384 // cells of a row (ECMA-376: up to XFD)
)

// elementCounter counts the elements of all parts of a workbook.
type elementCounter struct {
	elements, cells, rows int
	inRow                 int // cells of the row at hand
}

// checkBook refuses a workbook that holds too much. One that cannot be read is
// left to the library, which says what is wrong with it.
func checkBook(ctx context.Context, file *os.File) error {
	info, err := file.Stat()
	if err != nil {
		return err
	}
	parts, err := zip.NewReader(file, info.Size())
	if err != nil {
		return nil //nolint:nilerr // see above
	}
	if len(parts.File) > maxParts {
		return tooLargeBook("more than %d parts", maxParts)
	}
	var n elementCounter
	left := int64(maxUnpacked)
	for _, part := range parts.File {
		in, err := part.Open()
		if err != nil {
			continue
		}
		bounded := &io.LimitedReader{R: in, N: left}
		err = n.read(ctx, bufio.NewReaderSize(bounded, 64<<10))
		in.Close()
		if left = bounded.N; err != nil {
			return err
		}
	}
	return nil
}

func tooLargeBook(format string, args ...any) error {
	return web.Refuse(web.TooLarge, "the workbook has "+format+"; save the sheet with the rows as CSV", args...)
}

// read counts the elements of one part. Prefixes of namespaces and the zeros of
// UTF-16 are passed over, as the library does.
func (n *elementCounter) read(ctx context.Context, in *bufio.Reader) error {
	n.inRow = 0
	var name []byte
	inName := false
	for at := 0; ; at++ {
		if at%(1<<20) == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		b, err := in.ReadByte()
		if err != nil {
			return nil //nolint:nilerr // a broken part is for the library to name
		}
		switch {
		case b == 0:
		case b == '<':
			inName, name = true, name[:0]
		case !inName:
		case b == ':':
			name = name[:0]
		case b == '/' && len(name) == 0: // an end
			inName = false
		case b == '>' || b == '/' || b <= ' ':
			inName = false
			if err := n.count(string(name)); err != nil {
				return err
			}
		case len(name) < 8:
			name = append(name, b)
		}
	}
}

// count counts the start of an element.
func (n *elementCounter) count(name string) error {
	n.elements++
	switch name {
	case "row":
		n.rows++
		n.inRow = 0
	case "c":
		n.cells++
		n.inRow++
	}
	switch {
	case n.inRow > maxWidth:
		return tooLargeBook("a row of more than %d cells", maxWidth)
	case n.rows > maxBookRows:
		return tooLargeBook("more than %d rows", maxBookRows)
	case n.cells > maxCells:
		return tooLargeBook("more than %d cells", maxCells)
	case n.elements > maxElements:
		return tooLargeBook("more than %d elements", maxElements)
	}
	return nil
}
