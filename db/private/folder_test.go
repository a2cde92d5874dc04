package private

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

func TestLongPath(t *testing.T) {
	dir := filepath.Join(tempDir(t), strings.Repeat("long/", 25))
	s := start(t, Options{DataDir: dir})
	if socket := filepath.Join(s.socketDir, socketName); strings.HasPrefix(socket, dir) || len(socket) > maxSocketPath {
		t.Errorf("the socket is %s", socket)
	}
	t.Cleanup(func() { _ = os.RemoveAll(s.socketDir) }) // beside the data folder
	info, err := os.Stat(s.socketDir)
	if err != nil {
		t.Fatal(err)
	}
	if got := info.Mode().Perm(); got != 0o700 {
		t.Errorf("mode of the socket folder: %o, want 700", got)
	}
	attached, err := Attach(t.Context(), Options{DataDir: dir})
	if err != nil {
		t.Fatal(err)
	}
	if got := query(t, attached.DSN(), "SELECT current_user::text"); got != "askwright" {
		t.Errorf("attached as %q", got)
	}
	stop(t, s)
	again := start(t, Options{DataDir: dir})
	if again.socketDir != s.socketDir {
		t.Errorf("another socket folder at the second start: %s, first %s", again.socketDir, s.socketDir)
	}
}

// Names that need quoting somewhere on the way: in the server's setting, in the
// connection string, or in a pattern of files.
func TestOddPaths(t *testing.T) {
	for _, name := range []string{"comma,name", `sp ace + quo"te'd %41 star*[a ärger`} {
		t.Run(name, func(t *testing.T) {
			s := start(t, Options{DataDir: filepath.Join(tempDir(t), name)})
			if !strings.HasPrefix(s.socketDir, filepath.Dir(tempPrefix)) {
				t.Errorf("socket in %s", s.socketDir)
			}
			if got := query(t, s.DSN(), "SELECT current_user::text"); got != "askwright" {
				t.Errorf("connected as %q", got)
			}
			if strings.Contains(name, ",") {
				t.Cleanup(func() { _ = os.RemoveAll(s.socketDir) }) // beside the data folder
			}
		})
	}
}

// tempPrefix is where the tests' folders are.
const tempPrefix = "/tmp/awp-"

// As root the server runs as another user; an ordinary user runs it as oneself.
// Here root lets an ordinary user start one.
func TestOrdinaryUser(t *testing.T) {
	if os.Geteuid() != 0 {
		s := start(t, Options{DataDir: tempDir(t)})
		info, err := os.Stat(s.socketDir)
		if err != nil {
			t.Fatal(err)
		}
		if got := int(info.Sys().(*syscall.Stat_t).Uid); got != os.Geteuid() {
			t.Errorf("the server runs as user %d, want %d", got, os.Geteuid())
		}
		return
	}
	const uid = 65534 // nobody on Linux; any number without a name would do
	dir := tempDir(t)
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Chown(dir, uid, uid); err != nil {
		t.Fatal(err)
	}
	binary := filepath.Join(filepath.Dir(dir), "askwright")
	copyBinary(t, binary)
	p := startProgram(t, binary, dir, &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uid, Gid: uid}})
	p.next(t)
	info, err := os.Stat(filepath.Join(dir, "postgresql"))
	if err != nil {
		t.Fatal(err)
	}
	if got := info.Sys().(*syscall.Stat_t).Uid; got != uid {
		t.Errorf("the cluster belongs to user %d, want %d", got, uid)
	}
	p.kill(t)

	// Root may take the folder over: the server goes on as the cluster's owner.
	s := start(t, Options{DataDir: dir})
	got := query(t, s.AdminDSN(), fmt.Sprintf("SELECT count(*)::text FROM kept WHERE n <= %d", p.last))
	if got != strconv.Itoa(p.last) {
		t.Errorf("%s rows after the kill, %d were acknowledged", got, p.last)
	}
}

// A folder below root's home, as the server's user cannot reach it.
func TestUnreachableFolder(t *testing.T) {
	if os.Geteuid() != 0 {
		parent := tempDir(t)
		if err := os.Mkdir(parent, 0o500); err != nil {
			t.Fatal(err)
		}
		_, err := Start(t.Context(), Options{DataDir: filepath.Join(parent, "data")})
		wantText(t, err, "creating the data folder", "permission denied")
		return
	}
	parent := tempDir(t)
	if err := os.Mkdir(parent, 0o700); err != nil {
		t.Fatal(err)
	}
	_, err := Start(t.Context(), Options{DataDir: filepath.Join(parent, "data")})
	wantText(t, err, "the user postgres", "cannot use the data folder "+parent, "ASKWRIGHT_DATA")
}

func TestNoDataFolder(t *testing.T) {
	_, err := Start(t.Context(), Options{})
	wantText(t, err, "ASKWRIGHT_DATA")
}

// XDG Base Directory Specification 0.8: $HOME/.local/share where XDG_DATA_HOME
// is unset or empty; a relative path is invalid and to be ignored.
func TestDefaultDataDir(t *testing.T) {
	if os.Geteuid() == 0 {
		if got, want := DefaultDataDir(), "/var/lib/askwright"; got != want {
			t.Errorf("root: got %s, want %s", got, want)
		}
		return
	}
	t.Setenv("HOME", "/home/tess")
	for xdg, want := range map[string]string{
		"":         "/home/tess/.local/share/askwright",
		"relative": "/home/tess/.local/share/askwright",
		"/data":    "/data/askwright",
	} {
		t.Setenv("XDG_DATA_HOME", xdg)
		if got := DefaultDataDir(); got != want {
			t.Errorf("XDG_DATA_HOME=%q: got %s, want %s", xdg, got, want)
		}
	}
}

func TestMissingBinaries(t *testing.T) {
	empty := t.TempDir()
	dir := tempDir(t)
	_, err := Start(t.Context(), Options{DataDir: dir, BinDir: empty})
	var missing *MissingBinariesError
	if !errors.As(err, &missing) || missing.BinDir != empty {
		t.Fatalf("got error %v, want a MissingBinariesError", err)
	}
	wantText(t, err, empty, "Debian, Ubuntu", "Fedora", "Alpine", "Arch", "macOS", "ASKWRIGHT_POSTGRES_BIN", "DATABASE_URL")
	if _, err := os.Stat(dir); err == nil {
		t.Error("a data folder was made without PostgreSQL")
	}
}

// fakeInstallation makes a folder of programs that only tell their version.
func fakeInstallation(t *testing.T, version string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "bin")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, program := range []string{"postgres", "initdb"} {
		path := filepath.Join(dir, program)
		writeFile(t, path, "#!/bin/sh\necho '"+version+"'\n")
		if err := os.Chmod(path, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// Version lines as printed by the packages of Debian 12, the PostgreSQL project
// and its beta releases (from memory).
func TestInspect(t *testing.T) {
	for line, want := range map[string]int{
		"postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)": 15,
		"postgres (PostgreSQL) 17.2":                           17,
		"postgres (PostgreSQL) 18beta1":                        18,
		"something else":                                       0,
	} {
		b, ok := inspect(t.Context(), fakeInstallation(t, line))
		if b.major != want || ok != (want != 0) {
			t.Errorf("%q: got version %d, %v, want %d", line, b.major, ok, want)
		}
	}
}

func TestTooOldPostgreSQL(t *testing.T) {
	_, err := installed(t.Context(), fakeInstallation(t, "postgres (PostgreSQL) 13.4"))
	wantText(t, err, "PostgreSQL 15 or newer is needed", "found only version 13")
}

// The version that made the cluster wins over a newer one.
func TestChoose(t *testing.T) {
	dir := t.TempDir()
	f := folder{cluster: dir}
	found := []binaries{{"/new", 18}, {"/old", 15}}
	for data, want := range map[string]string{"15": "/old", "18": "/new"} {
		writeFile(t, filepath.Join(dir, "PG_VERSION"), data+"\n")
		if got, err := choose(found, f); err != nil || got.dir != want {
			t.Errorf("cluster of version %s: got %s, %v, want %s", data, got.dir, err, want)
		}
	}
	writeFile(t, filepath.Join(dir, "PG_VERSION"), "16\n")
	var mismatch *VersionMismatchError
	if _, err := choose(found, f); !errors.As(err, &mismatch) || mismatch.Data != "16" || mismatch.Binaries != "18" {
		t.Errorf("cluster of version 16: got error %v", err)
	}
}
