package private

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// pidFile is what a running server says of itself in postmaster.pid
// (PostgreSQL source, src/include/utils/pidfile.h).
type pidFile struct {
	pid       int    // line 1
	socketDir string // line 5
	ready     bool   // line 8
}

func pidPath(cluster string) string { return filepath.Join(cluster, "postmaster.pid") }

// readPIDFile reads postmaster.pid; a file that is being written has fewer lines
// and counts as not ready.
func readPIDFile(cluster string) (pidFile, error) {
	data, err := os.ReadFile(pidPath(cluster))
	if err != nil {
		return pidFile{}, err
	}
	lines := strings.Split(string(data), "\n")
	pid, err := strconv.Atoi(strings.TrimSpace(lines[0]))
	if err != nil || pid <= 0 {
		return pidFile{}, fmt.Errorf("postmaster.pid: no process number in %q", lines[0])
	}
	pf := pidFile{pid: pid}
	if len(lines) >= 5 {
		pf.socketDir = lines[4]
	}
	if len(lines) >= 8 {
		pf.ready = strings.TrimSpace(lines[7]) == "ready"
	}
	return pf, nil
}

// isPostgres tells whether a command line is that of a PostgreSQL server.
func isPostgres(args []string) bool {
	return len(args) > 0 && filepath.Base(args[0]) == "postgres"
}

// findRunning returns the socket folder of the server that a living program runs
// on the data folder, or ErrNotRunning.
func findRunning(ctx context.Context, dataDir string) (socketDir string, err error) {
	f, err := openFolder(dataDir)
	if errors.Is(err, fs.ErrNotExist) {
		return "", ErrNotRunning
	}
	if err != nil {
		return "", err
	}
	if _, err := os.ReadFile(f.lock); errors.Is(err, fs.ErrPermission) {
		return "", fmt.Errorf("the data folder belongs to another user: %w", err)
	}
	if pid, _ := readHolder(f); pid == 0 {
		return "", ErrNotRunning
	}
	pf, err := readPIDFile(f.cluster)
	if err != nil || !pf.ready {
		return "", ErrNotRunning
	}
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, dsn(pf.socketDir, superuser, database))
	if err != nil {
		return "", notRunning(err)
	}
	return pf.socketDir, conn.Close(ctx)
}

// notRunning turns the refusals of a server that is going, gone or not yet
// furnished into ErrNotRunning.
func notRunning(err error) error {
	var refused *pgconn.PgError
	if errors.As(err, &refused) && refused.Code != "3D000" && !strings.HasPrefix(refused.Code, "57P") {
		return fmt.Errorf("attaching to the running PostgreSQL: %w", err)
	}
	return fmt.Errorf("%w: %w", ErrNotRunning, err)
}
