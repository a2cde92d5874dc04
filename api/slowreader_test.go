package api_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/recording"
	"askwright/service/servicetest"
)

// deafClient sends requests over a connection that takes next to nothing, and
// reads nothing of the answers.
func deafClient(t *testing.T, s *site, path, key string) net.Conn {
	t.Helper()
	dialer := net.Dialer{Control: func(_, _ string, c syscall.RawConn) error {
		var err error
		return errors.Join(c.Control(func(fd uintptr) {
			err = syscall.SetsockoptInt(int(fd), syscall.SOL_SOCKET, syscall.SO_RCVBUF, 4096)
		}), err)
	}}
	conn, err := dialer.DialContext(t.Context(), "tcp", s.server.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	if _, err := fmt.Fprintf(conn, "GET %s HTTP/1.1\r\nHost: board.example\r\nAuthorization: Bearer %s\r\n\r\n", path, key); err != nil {
		t.Fatal(err)
	}
	return conn
}

// Twelve clients that ask for all rows and read nothing held every connection
// to the database: nobody else was answered for minutes.
func TestClientsThatDoNotReadHoldNobodyUp(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	s := newSite(t, f, web.Limits{PieceTimeout: time.Second})
	rows := "ref,category,stage,notes\n" + strings.Repeat("B-%d,desk,found,"+strings.Repeat("n", 3900)+"\n", 2500)
	numbers := make([]any, 2500)
	for i := range numbers {
		numbers[i] = i
	}
	result, err := f.Recording.Import(t.Context(), f.Actor(t, "Wilda"), servicetest.Rows(t, fmt.Sprintf(rows, numbers...)), recording.ImportOptions{})
	if err != nil || result.Created != 2500 {
		t.Fatalf("%+v, %v", result, err)
	}
	f.AddGroup(t, "Nora")
	deaf := make([]net.Conn, 12)
	for i := range deaf {
		deaf[i] = deafClient(t, s, "/v1/listings.csv", s.Keys["Wilda"])
	}
	time.Sleep(500 * time.Millisecond)
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	if _, more, err := f.Recording.Listings(ctx, f.Actor(t, "Nora"), service.Query{Limit: 1}); err != nil || more {
		t.Errorf("a reader of another group: %v", err)
	}
	if r := s.do(t, call{method: "GET", path: "/v1/listings?limit=1", key: s.Keys["Nora"]}); r.StatusCode != 200 {
		t.Errorf("another group: %d", r.StatusCode)
	}
	time.Sleep(12 * time.Second) // so long nobody read, however slowly the rows were gathered
	_ = deaf[0].SetReadDeadline(time.Now().Add(20 * time.Second))
	text, err := io.ReadAll(deaf[0])
	if strings.HasSuffix(string(text), "\r\n0\r\n\r\n") || len(text) > 9_000_000 {
		t.Errorf("the first of them got a whole answer late: %d bytes, %v", len(text), err)
	}
	for _, conn := range deaf {
		conn.Close()
	}
	whole := s.do(t, call{method: "GET", path: "/v1/listings.csv", key: s.Keys["Wilda"]})
	if whole.StatusCode != http.StatusOK || strings.Count(whole.body, "\r\n") != 2501 {
		t.Errorf("one that reads: %d, %d bytes", whole.StatusCode, len(whole.body))
	}
}
