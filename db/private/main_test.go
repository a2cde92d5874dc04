package private

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// helperVariable turns the test binary into a second program that runs a private
// server on the folder it names.
const helperVariable = "ASKWRIGHT_TEST_HELPER_DATA"

func TestMain(m *testing.M) {
	if dir := os.Getenv(helperVariable); dir != "" {
		if err := helper(dir); err != nil {
			fmt.Println("failed:", err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// helper starts a server, commits numbered rows and prints each number once it
// is committed, until its standard input ends.
func helper(dir string) error {
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		_, _ = io.Copy(io.Discard, os.Stdin)
		cancel()
	}()
	s, err := Start(ctx, Options{DataDir: dir, Settings: fast, Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	conn, err := pgx.Connect(ctx, s.AdminDSN())
	if err != nil {
		return err
	}
	if _, err := conn.Exec(ctx, "CREATE TABLE IF NOT EXISTS kept (n bigint PRIMARY KEY)"); err != nil {
		return err
	}
	for n := 1; ; n++ {
		if _, err := conn.Exec(ctx, "INSERT INTO kept VALUES ($1)", n); ctx.Err() != nil {
			return s.Stop(context.WithoutCancel(ctx))
		} else if err != nil {
			return err
		}
		fmt.Println(n)
	}
}

// fast leaves out waiting for the disk: these tests kill programs, not machines.
var fast = map[string]string{"fsync": "off", "shared_buffers": "16MB"}

// program is a running helper.
type program struct {
	cmd   *exec.Cmd
	lines *bufio.Scanner
	input io.Closer
	last  int // the last row it said was committed
}

// startProgram runs the helper and waits for its first committed row.
func startProgram(t *testing.T, binary, dir string, attr *syscall.SysProcAttr) *program {
	t.Helper()
	cmd := exec.Command(binary, "serve", "secret-argument")
	cmd.Env = append(os.Environ(), helperVariable+"="+dir)
	cmd.Dir = "/"
	cmd.SysProcAttr = attr
	input, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	output, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	p := &program{cmd: cmd, lines: bufio.NewScanner(output), input: input}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	p.next(t)
	return p
}

// next reads the next line, a committed number.
func (p *program) next(t *testing.T) {
	t.Helper()
	if !p.lines.Scan() {
		t.Fatal("the helper program ended")
	}
	if _, err := fmt.Sscan(p.lines.Text(), &p.last); err != nil {
		t.Fatalf("the helper program says %q", p.lines.Text())
	}
}

// kill ends the program with SIGKILL.
func (p *program) kill(t *testing.T) {
	t.Helper()
	if err := p.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	for p.lines.Scan() { // what it said before
		if n, err := strconv.Atoi(p.lines.Text()); err == nil {
			p.last = n
		}
	}
	_ = p.cmd.Wait()
}

// tempDir makes a folder that the server's account can reach, with a short path.
func tempDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/tmp", "awp-") //nolint:usetesting // t.TempDir is long and closed to other accounts
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	if err := os.Chmod(dir, 0o711); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "data")
}

// start starts a server that is stopped at the end of the test.
func start(t *testing.T, o Options) *Server {
	t.Helper()
	if o.Settings == nil {
		o.Settings = fast
	}
	o.Logger = testLogger(t)
	s, err := Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stop(t, s) })
	return s
}

func stop(t *testing.T, s *Server) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if err := s.Stop(ctx); err != nil {
		t.Error(err)
	}
}

// testLogger shows the launcher's messages beside a failed test.
func testLogger(t *testing.T) *slog.Logger {
	return slog.New(slog.NewTextHandler(t.Output(), nil))
}

// query returns one value as text.
func query(t *testing.T, dsn, sql string) string {
	t.Helper()
	conn := connect(t, dsn)
	defer conn.Close(context.Background())
	var value string
	if err := conn.QueryRow(t.Context(), sql).Scan(&value); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return value
}

func exec1(t *testing.T, dsn, sql string) {
	t.Helper()
	conn := connect(t, dsn)
	defer conn.Close(context.Background())
	if _, err := conn.Exec(t.Context(), sql); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
}

func connect(t *testing.T, dsn string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	return conn
}

func mustFolder(t *testing.T, dir string) folder {
	t.Helper()
	f, err := openFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// pidOf returns the running server's process.
func pidOf(t *testing.T, dir string) int {
	t.Helper()
	pf, err := readPIDFile(mustFolder(t, dir).cluster)
	if err != nil {
		t.Fatal(err)
	}
	return pf.pid
}

func wantText(t *testing.T, err error, parts ...string) {
	t.Helper()
	if err == nil {
		t.Fatal("no error")
	}
	for _, part := range parts {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("error %q does not say %q", err, part)
		}
	}
}

// copyBinary puts the test binary where every user can run it.
func copyBinary(t *testing.T, to string) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(self)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, data, 0o755); err != nil {
		t.Fatal(err)
	}
}

func self(t *testing.T) string {
	t.Helper()
	path, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return path
}

func writeFile(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func readFile(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(bytes.TrimSpace(data))
}
