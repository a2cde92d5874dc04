package web

import (
	"io"
	"net/http"
	"os"

	"github.com/gin-gonic/gin"
)

// SendSpooled makes a file by write, in a place without a name, and then sends
// it: whoever reads slowly holds nothing but the file.
func SendSpooled(c *gin.Context, mediaType, filename string, write func(io.Writer) error) error {
	f, err := unnamedFile()
	if err != nil {
		return err
	}
	defer f.Close()
	if err := write(f); err != nil {
		return err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return spoolError(err)
	}
	startFile(c, mediaType, filename)
	_, err = io.Copy(c.Writer, f)
	return err
}

// startFile begins an answer that is kept as a file.
func startFile(c *gin.Context, mediaType, filename string) {
	c.Header("Content-Type", mediaType)
	c.Header("Content-Disposition", `attachment; filename="`+filename+`"`)
	c.Status(http.StatusOK)
}

// SpoolTable is WriteTable of rows that are still to be read.
func SpoolTable[T any](c *gin.Context, filename string, columns []TableColumn[T], o TableOptions,
	rows func(yield func(T) error) error) error {
	return SendSpooled(c, csvMediaType, filename, func(w io.Writer) error {
		t := NewTable(w, columns, o)
		if err := rows(t.Row); err != nil {
			return err
		}
		return t.End()
	})
}

// unnamedFile is a file that is gone when it is closed.
func unnamedFile() (*os.File, error) {
	f, err := os.CreateTemp("", "askwright-spool-")
	if err != nil {
		return nil, spoolError(err)
	}
	if err := os.Remove(f.Name()); err != nil {
		f.Close()
		return nil, spoolError(err)
	}
	return f, nil
}
