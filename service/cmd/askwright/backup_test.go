package main

import (
	"bufio"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"askwright/db"
	"askwright/db/dbtest"
)

// script runs a script of deploy with more variables in the environment.
func script(t *testing.T, env []string, name string, args ...string) (string, error) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "sh", append([]string{deployed(name)}, args...)...)
	cmd.Env = append(os.Environ(), env...)
	out, err := cmd.CombinedOutput()
	return string(out), err
}

// backup makes one and returns the dump's path.
func backup(t *testing.T, env []string, args ...string) string {
	t.Helper()
	out, err := script(t, env, "backup.sh", args...)
	if err != nil {
		t.Fatalf("backup: %v\n%s", err, out)
	}
	lines := strings.Split(strings.TrimSpace(out), "\n")
	return lines[len(lines)-1]
}

// A running private server is dumped, and its rows come back in another
// database, under row-level security as before, and in the server itself.
func TestBackupAndRestore(t *testing.T) {
	t.Parallel()
	data := dataFolder(t)
	env := map[string]string{"ASKWRIGHT_DATA": data, "ASKWRIGHT_LOG_LEVEL": "error"}
	key := mustRun(t, env, "demo")
	mustRun(t, env, "group", "create", "Second", "--currency", "EUR", "--unit", "cm", "--timezone", "UTC", "--member", "Tamsin")
	folder := filepath.Join(t.TempDir(), "backups")
	if out, err := script(t, []string{"DATABASE_URL=", "ASKWRIGHT_DATA=" + data}, "backup.sh", folder); err == nil || !strings.Contains(out, "start askwright") {
		t.Errorf("without a server: %v\n%s", err, out)
	}
	c := startChildWith(t, data, []string{"ASKWRIGHT_BACKUP_STAMP=" + filepath.Join(folder, "last-success")}, "serve")
	before := listings(t, c.urls[0], key)
	if at := backedUpAt(t, c.urls[1]); at != 0 {
		t.Errorf("the last backup was at %v, want 0: there is none", at)
	}
	began := time.Now().Truncate(time.Second)
	from := []string{"DATABASE_URL=", "ASKWRIGHT_DATA=" + data}
	dump := backup(t, from, folder)
	if info, err := os.Stat(dump); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the dump: %v, %v; want it for its owner alone", info, err)
	}
	if at := time.Unix(int64(backedUpAt(t, c.urls[1])), 0); at.Before(began) || at.After(time.Now()) {
		t.Errorf("the last backup was at %v, want %v", at, began)
	}

	empty := dbtest.New(t)
	execute(t, empty.AdminDSN, "drop schema askwright cascade")
	to := []string{"DATABASE_URL=" + empty.AdminDSN}
	if out, err := script(t, to, "restore.sh", dump); err != nil {
		t.Fatalf("restore: %v\n%s", err, out)
	}
	restored := map[string]string{"DATABASE_URL": empty.AdminDSN, "ASKWRIGHT_LOG_LEVEL": "error"}
	mustRun(t, restored, "migrate")
	if out, err := script(t, to, "restore.sh", dump); err == nil || !strings.Contains(out, "already") {
		t.Errorf("over another: %v\n%s", err, out)
	}
	second := startChildWith(t, dataFolder(t), []string{"DATABASE_URL=" + empty.DSN}, "serve")
	if got := listings(t, second.urls[0], key); !slices.Equal(got, before) {
		t.Errorf("%d rows after the restore, want the %d of before", len(got), len(before))
	}
	if status, body := do(t, "POST", c.urls[0]+"/v1/listings", key, `{"ref":"NEW-1","category":"desk","stage":"found"}`); status != 201 {
		t.Errorf("a row after the backup: %d %s", status, body)
	}
	if out, err := script(t, from, "restore.sh", dump, "--replace"); err != nil {
		t.Fatalf("replace: %v\n%s", err, out)
	}
	if got := listings(t, c.urls[0], key); !slices.Equal(got, before) {
		t.Errorf("%d rows after the replacement, want the %d of before", len(got), len(before))
	}
}

// backedUpAt reads the metric.
func backedUpAt(t *testing.T, ops string) float64 {
	t.Helper()
	_, body := get(t, ops+"/metrics", "")
	m := regexp.MustCompile(`(?m)^askwright_backup_last_success_timestamp_seconds (\S+)$`).FindStringSubmatch(body)
	if m == nil {
		t.Fatal("no metric of backups")
	}
	at, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// What does not add up is not restored, and what was there stays.
func TestRestoreOfADamagedDump(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	url := []string{"DATABASE_URL=" + d.AdminDSN}
	mustRun(t, map[string]string{"DATABASE_URL": d.DSN, "ASKWRIGHT_LOG_LEVEL": "error"}, "group", "create", "G", "--currency", "EUR", "--unit", "cm", "--timezone", "UTC", "--member", "Tamsin")
	folder := t.TempDir()
	dump := backup(t, url, folder)
	counts := strings.TrimSuffix(dump, ".dump") + ".counts"
	told := readFile(t, counts)
	if !strings.Contains(told, "member 1\n") {
		t.Fatalf("the numbers of rows:\n%s", told)
	}
	whole := readFile(t, dump)
	for what, damage := range map[string]func(){
		"the numbers of rows differ": func() { write(t, counts, strings.Replace(told, "member 1", "member 2", 1)) },
		"the reason stands above":    func() { write(t, dump, whole[:len(whole)*9/10]) },
	} {
		damage()
		if out, err := script(t, url, "restore.sh", dump, "--replace"); err == nil || !strings.Contains(out, what) {
			t.Errorf("%s: %v\n%s", what, err, out)
		}
		if out := mustRun(t, map[string]string{"DATABASE_URL": d.DSN, "ASKWRIGHT_LOG_LEVEL": "error"}, "group", "list"); !strings.Contains(out, "G") {
			t.Errorf("what was there is gone: %s", out)
		}
		write(t, counts, told)
		write(t, dump, whole)
	}
}

// The newest dumps stay.
func TestOldBackupsAreRemoved(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	folder := t.TempDir()
	for _, name := range []string{"askwright-20200101T000000Z", "askwright-20200102T000000Z", "askwright-20200103T000000Z"} {
		write(t, filepath.Join(folder, name+".dump"), "")
		write(t, filepath.Join(folder, name+".counts"), "")
	}
	dump := backup(t, []string{"DATABASE_URL=" + d.AdminDSN}, folder, "2")
	files, err := filepath.Glob(filepath.Join(folder, "*.*"))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		filepath.Join(folder, "askwright-20200103T000000Z.counts"), filepath.Join(folder, "askwright-20200103T000000Z.dump"),
		strings.TrimSuffix(dump, ".dump") + ".counts", dump,
	}
	if !slices.Equal(files, want) {
		t.Errorf("there are %v, want %v", files, want)
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func execute(t *testing.T, dsn, sql string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if _, err := conn.Exec(t.Context(), sql); err != nil {
		t.Fatal(err)
	}
}

// What was there stays in reach wherever a restore is broken off.
func TestAnInterruptedRestoreLeavesWhatWasThere(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	env := map[string]string{"DATABASE_URL": d.DSN, "ASKWRIGHT_LOG_LEVEL": "error"}
	mustRun(t, env, "group", "create", "G",
		"--currency", "EUR", "--unit", "cm", "--timezone", "UTC", "--member", "Tamsin")
	dump := backup(t, []string{"DATABASE_URL=" + d.AdminDSN}, t.TempDir())
	// A pg_restore that gives half of the dump and then waits to be interrupted.
	bin := t.TempDir()
	stub := filepath.Join(bin, "pg_restore")
	program, err := exec.LookPath("pg_restore")
	if err != nil {
		t.Fatal(err)
	}
	write(t, stub, "#!/bin/sh\n"+program+" \"$@\" | head -n 300\necho ready >&2\nexec sleep 60\n")
	if err := os.Chmod(stub, 0o700); err != nil {
		t.Fatal(err)
	}
	for _, signal := range []syscall.Signal{syscall.SIGINT, syscall.SIGKILL} {
		cmd := exec.CommandContext(t.Context(), "sh", deployed("restore.sh"), dump, "--replace")
		cmd.Env = append(os.Environ(), "DATABASE_URL="+d.AdminDSN, "PATH="+bin+":"+os.Getenv("PATH"))
		cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
		said, err := cmd.StderrPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		for lines := bufio.NewScanner(said); lines.Scan() && lines.Text() != "ready"; {
		}
		syscall.Kill(-cmd.Process.Pid, signal)
		if err := cmd.Wait(); err == nil {
			t.Errorf("%v: the restore ends well", signal)
		}
		if out := mustRun(t, env, "group", "list"); !strings.HasSuffix(out, "G") {
			t.Errorf("%v: what was there is gone: %q", signal, out)
		}
	}
	if out, err := script(t, []string{"DATABASE_URL=" + d.AdminDSN}, "restore.sh", dump, "--replace"); err != nil {
		t.Errorf("a restore afterwards: %v\n%s", err, out)
	}
}

// A schema that an older restore put away is not hidden by an empty one.
func TestNothingIsMadeBesideASchemaThatWasPutAway(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	execute(t, d.AdminDSN, "alter schema askwright rename to askwright_before_restore")
	_, err := runCommand(t, map[string]string{"DATABASE_URL": d.AdminDSN}, "migrate")
	if !errors.Is(err, db.ErrPutAway) {
		t.Errorf("migrate: %v, want %v", err, db.ErrPutAway)
	}
}

// The newest dump is restored into a server of its own and checked, encrypted
// or not.
func TestBackupsAreVerified(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	mustRun(t, map[string]string{"DATABASE_URL": d.DSN, "ASKWRIGHT_LOG_LEVEL": "error"}, "group", "create", "G",
		"--currency", "EUR", "--unit", "cm", "--timezone", "UTC", "--member", "Tamsin")
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	bin := t.TempDir()
	program := filepath.Join(bin, "askwright")
	write(t, program, "#!/bin/sh\n"+asProgram+"=1 exec "+self+" \"$@\"\n")
	if err := os.Chmod(program, 0o700); err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	env := []string{"DATABASE_URL=" + d.AdminDSN, "ASKWRIGHT_PROGRAM=" + program}
	if _, err := exec.LookPath("gpg"); err == nil {
		home := t.TempDir()
		newKey := exec.CommandContext(t.Context(), "gpg", "--batch", "--quiet", "--passphrase", "", "--quick-generate-key", "backup@otterford.example", "rsa2048", "encr")
		env = append(env, "GNUPGHOME="+home, "ASKWRIGHT_BACKUP_RECIPIENT=backup@otterford.example")
		newKey.Env = append(os.Environ(), "GNUPGHOME="+home)
		if out, err := newKey.CombinedOutput(); err != nil {
			t.Fatalf("gpg: %v\n%s", err, out)
		}
		t.Cleanup(func() { _ = exec.Command("gpgconf", "--homedir", home, "--kill", "all").Run() })
	}
	dump := backup(t, env, folder)
	if strings.HasSuffix(dump, ".gpg") && strings.Contains(readFile(t, dump), "PGDMP") {
		t.Error("the dump is not encrypted")
	}
	out, err := script(t, env, "backup.sh", "--verify", folder)
	if err != nil || !strings.Contains(out, "member 1\n") || !strings.Contains(out, "All agrees.") || !strings.HasSuffix(out, dump+" is good.\n") {
		t.Errorf("verify: %v\n%s", err, out)
	}
}
