package dbtest_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"askwright/db/dbtest"
)

func TestMain(m *testing.M) {
	code := m.Run()
	dbtest.Stop()
	os.Exit(code)
}

func connect(t *testing.T, dsn string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close(context.Background()) })
	return conn
}

func query(t *testing.T, conn *pgx.Conn, sql string) (value string) {
	t.Helper()
	if err := conn.QueryRow(t.Context(), sql).Scan(&value); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return value
}

func TestNewIsMigrated(t *testing.T) {
	conn := connect(t, dbtest.New(t).AdminDSN)
	if got := query(t, conn, "SELECT (count(*) > 0)::text FROM askwright.schema_version"); got != "true" {
		t.Error("no migration has run")
	}
	if got := query(t, conn, "SELECT rolsuper::text FROM pg_roles WHERE rolname = current_user"); got != "true" {
		t.Error("AdminDSN is no superuser's")
	}
}

// The login role must be as powerless as the program's, or tests of row-level
// security would prove nothing.
func TestLoginRole(t *testing.T) {
	conn := connect(t, dbtest.New(t).DSN)
	if got := query(t, conn, "SELECT (rolsuper OR rolbypassrls OR rolcreaterole OR rolcreatedb)::text FROM pg_roles WHERE rolname = current_user"); got != "false" {
		t.Error("the login role has special rights")
	}
	if got := query(t, conn, "SELECT (SELECT count(*) FROM pg_class WHERE pg_get_userbyid(relowner) = current_user)::text"); got != "0" {
		t.Errorf("the login role owns %s relations", got)
	}
	if _, err := conn.Exec(t.Context(), "SET ROLE askwright_app"); err != nil {
		t.Errorf("the login role cannot act as the service's: %v", err)
	}
	if _, err := conn.Exec(t.Context(), "SET ROLE askwright_owner"); err == nil {
		t.Error("the login role can act as the schema's owner")
	}
}

func TestEachTestHasItsOwn(t *testing.T) {
	var name, admin string
	t.Run("first", func(t *testing.T) {
		one, two := dbtest.New(t), dbtest.New(t)
		first := connect(t, one.AdminDSN)
		if _, err := first.Exec(t.Context(), "CREATE TABLE public.mark (n int)"); err != nil {
			t.Fatal(err)
		}
		if got := query(t, connect(t, two.AdminDSN), "SELECT count(*)::text FROM pg_tables WHERE tablename = 'mark'"); got != "0" {
			t.Error("a table of one test is in the database of another")
		}
		name = query(t, first, "SELECT current_database()::text")
	})
	admin = dbtest.New(t).AdminDSN
	if got := query(t, connect(t, admin), "SELECT count(*)::text FROM pg_database WHERE datname = '"+name+"'"); got != "0" {
		t.Error("a database outlives its test")
	}
}

func TestParallel(t *testing.T) {
	t.Parallel()
	for i := range 8 {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			t.Parallel()
			query(t, connect(t, dbtest.New(t).DSN), "SELECT current_user::text")
		})
	}
}

func BenchmarkNew(b *testing.B) {
	dbtest.New(b)
	for b.Loop() {
		dbtest.New(b)
	}
}

// another prepares a second test binary that runs one of these tests.
func another(t *testing.T, test string, env ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, "-test.v", "-test.count=1", "-test.run="+test)
	cmd.Env = append(os.Environ(), env...)
	return cmd
}

// TEST_DATABASE_URL names a server to use; what the tests make there goes again.
func TestGivenServer(t *testing.T) {
	given := dbtest.New(t)
	cmd := another(t, "^(TestNewIsMigrated|TestLoginRole|TestEachTestHasItsOwn)$", "TEST_DATABASE_URL="+given.AdminDSN)
	out, err := cmd.CombinedOutput()
	if err != nil || strings.Count(string(out), "--- PASS: Test") != 4 { // three, one with a sub-test
		t.Fatalf("%v\n%s", err, out)
	}
	left := query(t, connect(t, given.AdminDSN), fmt.Sprintf(`SELECT coalesce(string_agg(name, ' '), '')
		FROM (SELECT datname::text FROM pg_database UNION ALL SELECT rolname::text FROM pg_roles) AS made (name)
		WHERE name LIKE '%%\_%d\_%%'`, cmd.Process.Pid))
	if left != "" {
		t.Errorf("left on the given server: %s", left)
	}
}

func TestGivenServerMustBeAURL(t *testing.T) {
	out, err := another(t, "^TestNewIsMigrated$", "TEST_DATABASE_URL=host=/nowhere").CombinedOutput()
	if err == nil || !strings.Contains(string(out), "TEST_DATABASE_URL must be a URL") {
		t.Errorf("%v\n%s", err, out)
	}
}

// Without PostgreSQL tests fail, with advice.
func TestMissingPostgreSQLFails(t *testing.T) {
	out, err := another(t, "^TestNewIsMigrated$", "TEST_DATABASE_URL=", "ASKWRIGHT_POSTGRES_BIN="+t.TempDir()).CombinedOutput()
	if err == nil || !strings.Contains(string(out), "--- FAIL: TestNewIsMigrated") || !strings.Contains(string(out), "apt install postgresql") {
		t.Errorf("%v\n%s", err, out)
	}
}

const holdVariable = "ASKWRIGHT_TEST_HOLD"

// The server ends with a killed test binary, and the next one removes its folder.
func TestKilledTestBinary(t *testing.T) {
	if os.Getenv(holdVariable) != "" { // this is the one to be killed
		fmt.Println("server:", query(t, connect(t, dbtest.New(t).AdminDSN), "SHOW data_directory"))
		time.Sleep(time.Minute)
	}
	cmd := another(t, "^TestKilledTestBinary$", holdVariable+"=1", "TEST_DATABASE_URL=")
	output, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var cluster string
	for lines := bufio.NewScanner(output); cluster == "" && lines.Scan(); {
		_, cluster, _ = strings.Cut(lines.Text(), "server: ")
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait()
	if cluster == "" {
		t.Fatal("the second test binary has not started its server")
	}
	pidFile := filepath.Join(cluster, "postmaster.pid")
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if _, err := os.Stat(pidFile); os.IsNotExist(err) {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the server runs on 10 s after its test binary was killed")
		}
	}
	if out, err := another(t, "^TestNewIsMigrated$", "TEST_DATABASE_URL=").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if _, err := os.Stat(filepath.Dir(cluster)); !os.IsNotExist(err) {
		t.Errorf("%s is still there", filepath.Dir(cluster))
	}
}
