package private

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// The kill of a program, alone or with its PostgreSQL, in the middle of its
// writes: the next start works at once and every acknowledged row is there.
func TestKilledProgram(t *testing.T) {
	for _, name := range []string{"program", "program and PostgreSQL"} {
		t.Run(name, func(t *testing.T) {
			dir := tempDir(t)
			p := startProgram(t, self(t), dir, nil)
			for p.last < 200 {
				p.next(t)
			}
			server := pidOf(t, dir)
			if name != "program" {
				if err := syscall.Kill(server, syscall.SIGKILL); err != nil {
					t.Fatal(err)
				}
			}
			p.kill(t)

			began := time.Now()
			s := start(t, Options{DataDir: dir})
			t.Logf("started again after %v, %d rows acknowledged", time.Since(began), p.last)
			if took := time.Since(began); took > 15*time.Second {
				t.Errorf("the next start took %v", took)
			}
			got := query(t, s.AdminDSN(), fmt.Sprintf("SELECT count(*)::text FROM kept WHERE n <= %d", p.last))
			if got != strconv.Itoa(p.last) {
				t.Errorf("%s rows after the kill, %d were acknowledged", got, p.last)
			}
			if now := pidOf(t, dir); now == server {
				t.Error("the new server has the old one's process number: it was adopted")
			}
		})
	}
}

// Where the system does not end the server with its program, the next start does.
func TestOrphanIsEnded(t *testing.T) {
	dir := tempDir(t)
	s := start(t, Options{DataDir: dir})
	exec1(t, s.AdminDSN(), "CREATE TABLE kept AS SELECT 'ash bench' AS piece")
	stop(t, s)

	f := mustFolder(t, dir)
	found, err := installed(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	orphan := f.command(found[0].path("postgres"), "-D", f.cluster, "-c", "listen_addresses=",
		"-c", "unix_socket_directories="+filepath.Join(dir, "run"))
	orphan.SysProcAttr = &syscall.SysProcAttr{Credential: f.account.credential}
	ended := run(t, orphan)
	for pf, _ := readPIDFile(f.cluster); !pf.ready; pf, _ = readPIDFile(f.cluster) {
		time.Sleep(10 * time.Millisecond)
	}
	// No living program holds it, so it is not attached to.
	if _, err := Attach(t.Context(), Options{DataDir: dir}); err == nil {
		t.Error("attached to a server that no program holds")
	}

	s = start(t, Options{DataDir: dir})
	select {
	case <-ended:
	case <-time.After(5 * time.Second):
		t.Error("the orphan runs on")
	}
	if got := query(t, s.AdminDSN(), "SELECT piece FROM kept"); got != "ash bench" {
		t.Errorf("got %q", got)
	}
}

// After a crash the number in the pid file may belong to another program, in a
// container that starts again most likely. That program is left alone.
func TestPIDFileOfAnotherProgram(t *testing.T) {
	dir := tempDir(t)
	s := start(t, Options{DataDir: dir})
	f := mustFolder(t, dir)
	left := map[string]string{}
	for _, path := range []string{pidPath(f.cluster), filepath.Join(dir, "run", socketName+".lock")} {
		left[path] = readFile(t, path)
	}
	stop(t, s)

	other := exec.Command("sleep", "60")
	other.SysProcAttr = &syscall.SysProcAttr{Credential: f.account.credential}
	ended := run(t, other)
	for path, text := range left { // as a kill leaves them
		_, rest, _ := strings.Cut(text, "\n")
		writeFile(t, path, fmt.Sprintf("%d\n%s\n", other.Process.Pid, rest))
	}
	start(t, Options{DataDir: dir})
	select {
	case <-ended:
		t.Error("the other program was ended")
	default:
	}
}

// run starts a program that is killed at the end of the test; the channel is
// closed when it ends.
func run(t *testing.T, cmd *exec.Cmd) <-chan struct{} {
	t.Helper()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() {
		_ = cmd.Wait()
		close(ended)
	}()
	t.Cleanup(func() { _ = cmd.Process.Kill(); <-ended })
	return ended
}

// A program killed during its very first start leaves nothing that stops the
// next one.
func TestKilledFirstStart(t *testing.T) {
	dir := tempDir(t)
	for _, after := range []int{20, 60, 150, 300, 450} { // milliseconds
		cmd := exec.Command(self(t))
		cmd.Env = append(os.Environ(), helperVariable+"="+dir)
		if _, err := cmd.StdinPipe(); err != nil { // its end would stop the helper
			t.Fatal(err)
		}
		run(t, cmd)
		time.Sleep(time.Duration(after) * time.Millisecond)
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
	}
	s := start(t, Options{DataDir: dir, Wait: 5 * time.Second})
	if got := query(t, s.DSN(), "SELECT current_database()::text"); got != "askwright" {
		t.Errorf("connected to %q", got)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "postgresql.new-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestHalfMadeCluster(t *testing.T) {
	dir := tempDir(t)
	half := filepath.Join(dir, "postgresql.new-123", "base")
	if err := os.MkdirAll(half, 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(half, "1"), "half")
	start(t, Options{DataDir: dir})
	if _, err := os.Stat(filepath.Dir(half)); err == nil {
		t.Error("the half-made cluster is still there")
	}
}

// Files that are no cluster may be somebody's only copy: they are not touched.
func TestForeignFilesAreKept(t *testing.T) {
	dir := tempDir(t)
	foreign := filepath.Join(dir, "postgresql", "notes.txt")
	if err := os.MkdirAll(filepath.Dir(foreign), 0o755); err != nil {
		t.Fatal(err)
	}
	writeFile(t, foreign, "mine")
	_, err := Start(t.Context(), Options{DataDir: dir, Settings: fast})
	wantText(t, err, "PG_VERSION", filepath.Dir(foreign))
	if got := readFile(t, foreign); got != "mine" {
		t.Errorf("the file now holds %q", got)
	}
}

func TestVersionMismatch(t *testing.T) {
	dir := tempDir(t)
	stop(t, start(t, Options{DataDir: dir}))
	version := filepath.Join(dir, "postgresql", "PG_VERSION")
	own := readFile(t, version)
	writeFile(t, version, "12\n")

	_, err := Start(t.Context(), Options{DataDir: dir, Settings: fast})
	var mismatch *VersionMismatchError
	if !errors.As(err, &mismatch) || mismatch.Data != "12" || mismatch.Binaries != own {
		t.Fatalf("got error %v, want a VersionMismatchError", err)
	}
	wantText(t, err, "made by PostgreSQL 12", "is version "+own, "apt install postgresql-12", "ASKWRIGHT_POSTGRES_BIN")

	writeFile(t, version, own+"\n")
	start(t, Options{DataDir: dir}) // nothing else was changed
}

func TestServersOwnWordsWhenItDoesNotStart(t *testing.T) {
	_, err := Start(t.Context(), Options{DataDir: tempDir(t), Settings: map[string]string{"fsync": "off", "work_mem": "lots"}})
	wantText(t, err, "PostgreSQL did not start", `invalid value for parameter "work_mem": "lots"`)
}

func TestLargeLogIsPutAside(t *testing.T) {
	dir := tempDir(t)
	path := filepath.Join(dir, "postgresql.log")
	if err := os.MkdirAll(dir, 0o711); err != nil {
		t.Fatal(err)
	}
	writeFile(t, path, strings.Repeat("x", largeLog+1))
	start(t, Options{DataDir: dir})
	if got := readFile(t, path); strings.Contains(got, "xxx") || !strings.Contains(got, "ready to accept connections") {
		t.Errorf("the log begins with %.100q", got)
	}
	if info, err := os.Stat(path + ".1"); err != nil || info.Size() != largeLog+1 {
		t.Errorf("the old log: %v, %v", info, err)
	}
}

// A program of root's killed between making the socket folder and giving it to
// the server's account leaves it to root.
func TestUngivenSocketFolder(t *testing.T) {
	dir := tempDir(t)
	if err := os.MkdirAll(filepath.Join(dir, "run"), 0o700); err != nil {
		t.Fatal(err)
	}
	start(t, Options{DataDir: dir})
}
