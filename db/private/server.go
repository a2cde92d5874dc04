package private

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"os"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"time"
)

// serverSettings are the server's settings: this package's, then the caller's,
// then those that keep the server private. They go on the command line, so that
// each start brings the present ones to an old cluster.
func serverSettings(socketDir string, further map[string]string) map[string]string {
	settings := map[string]string{
		"shared_buffers":     "128MB",
		"max_connections":    "50",
		"synchronous_commit": "on",
		"timezone":           "UTC",
		"log_timezone":       "UTC",
		"log_checkpoints":    "off",
		"log_line_prefix":    "%m [%p] %q%u@%d ",
	}
	if runtime.GOOS == "linux" {
		// After a crash one call for the file system instead of one for each file:
		// a second start took 0.2 s of it instead of 2.7 s.
		settings["recovery_init_sync_method"] = "syncfs"
	}
	maps.Copy(settings, further)
	maps.Copy(settings, map[string]string{
		"listen_addresses":        "",
		"port":                    "5432",
		"unix_socket_directories": `"` + strings.ReplaceAll(socketDir, `"`, `""`) + `"`,
		"unix_socket_permissions": "0700",
		"logging_collector":       "off", // standard error is the log file
	})
	return settings
}

// startServer starts PostgreSQL on the cluster and returns once it accepts
// connections. What an earlier server of this folder has left behind, after the
// program was killed, is ended first or waited for.
func startServer(ctx context.Context, f folder, bin binaries, settings map[string]string, logger *slog.Logger) (*process, error) {
	for deadline := time.Now().Add(5 * time.Second); ; {
		if err := endOrphan(ctx, f, logger); err != nil {
			return nil, err
		}
		p, err := launch(ctx, f, bin, settings, logger)
		if err == nil || !leftBehind(err) || time.Now().After(deadline) {
			return p, err
		}
		if err := sleep(ctx, 100*time.Millisecond); err != nil {
			return nil, err
		}
	}
}

// leftBehind recognises the two refusals that go away when the last process of
// an earlier server has ended.
func leftBehind(err error) bool {
	return strings.Contains(err.Error(), "already exists") && strings.Contains(err.Error(), "lock file") ||
		strings.Contains(err.Error(), "pre-existing shared memory block")
}

// launch starts the server once and waits until it is ready. The error of a
// server that ends instead holds what it wrote to its log.
func launch(ctx context.Context, f folder, bin binaries, settings map[string]string, logger *slog.Logger) (*process, error) {
	log, start, err := openLog(f.log)
	if err != nil {
		return nil, err
	}
	defer log.Close()
	args := []string{"-D", f.cluster}
	for _, name := range slices.Sorted(maps.Keys(settings)) {
		args = append(args, "-c", name+"="+settings[name])
	}
	cmd := f.command(bin.path("postgres"), args...)
	cmd.Stdout, cmd.Stderr = log, log
	p, err := spawn(cmd)
	if err != nil {
		return nil, fmt.Errorf("starting PostgreSQL: %w", err)
	}
	if err := awaitReady(ctx, f, p, logger); err != nil {
		if ctx.Err() != nil {
			return nil, fmt.Errorf("starting PostgreSQL: %w", err)
		}
		return nil, fmt.Errorf("PostgreSQL did not start: %w: %s", err, logSince(f.log, start))
	}
	return p, nil
}

// awaitReady waits until postmaster.pid says that it is p that is ready. Asking
// the socket instead could be answered by an earlier server.
func awaitReady(ctx context.Context, f folder, p *process, logger *slog.Logger) error {
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	slow := time.NewTicker(10 * time.Second)
	defer slow.Stop()
	for {
		select {
		case <-ctx.Done():
			_ = p.stop(ctx) // says no more than ctx does
			return context.Cause(ctx)
		case <-p.done:
			return fmt.Errorf("it ended at once (%w)", p.err)
		case <-slow.C:
			logger.Info("PostgreSQL is still starting; after a crash it first repeats what was committed", "log", f.log)
		case <-tick.C:
			if pf, err := readPIDFile(f.cluster); err == nil && pf.pid == p.pid() && pf.ready {
				return nil
			}
		}
	}
}

// endOrphan ends a server that still runs on the folder although its program has
// let go of the lock. On Linux such a server is already shutting down.
func endOrphan(ctx context.Context, f folder, logger *slog.Logger) error {
	pf, err := readPIDFile(f.cluster)
	if err != nil || !alive(pf.pid) {
		return nil //nolint:nilerr // PostgreSQL itself copes with a missing file and that of a dead server
	}
	args := commandLine(pf.pid)
	if !isPostgres(args) {
		return removeStale(pf, f, logger)
	}
	if !strings.Contains(strings.Join(args, " ")+" ", " -D "+f.cluster+" ") {
		return nil // not started by this package; PostgreSQL will refuse and say why
	}
	logger.Warn("ending the PostgreSQL that an earlier program left running", "pid", pf.pid)
	for _, try := range []struct {
		signal   syscall.Signal
		patience time.Duration
	}{{syscall.SIGINT, 10 * time.Second}, {syscall.SIGQUIT, 10 * time.Second}} {
		if err := syscall.Kill(pf.pid, try.signal); err != nil && !errors.Is(err, syscall.ESRCH) {
			return fmt.Errorf("ending the PostgreSQL left running (pid %d): %w", pf.pid, err)
		}
		for deadline := time.Now().Add(try.patience); time.Now().Before(deadline); {
			if !isPostgres(commandLine(pf.pid)) {
				return nil
			}
			if err := sleep(ctx, 20*time.Millisecond); err != nil {
				return err
			}
		}
	}
	return fmt.Errorf("the PostgreSQL left running on %s (pid %d) does not end; end it by hand", f.cluster, pf.pid)
}

// removeStale removes the pid file of a dead server whose number another program
// has got since, as happens when a container starts again; PostgreSQL would
// refuse to start for ever. Should children of the dead server live on, it still
// notices them by their shared memory.
func removeStale(pf pidFile, f folder, logger *slog.Logger) error {
	logger.Warn("removing the pid file of a PostgreSQL that has ended", "pid", pf.pid)
	for _, path := range []string{pidPath(f.cluster), pf.socketDir + "/" + socketName + ".lock"} {
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("stale pid file: %w", err)
		}
	}
	return nil
}

const largeLog = 10 << 20 // bytes

// openLog opens the server's log for appending and tells its length. A large one
// is put aside first, in the place of the one put aside before.
func openLog(path string) (*os.File, int64, error) {
	if info, err := os.Lstat(path); err == nil && info.Size() > largeLog {
		if err := os.Rename(path, path+".1"); err != nil {
			return nil, 0, fmt.Errorf("server log: %w", err)
		}
	}
	log, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY|syscall.O_NOFOLLOW, 0o600)
	if err != nil {
		return nil, 0, fmt.Errorf("server log: %w", err)
	}
	info, err := log.Stat()
	if err != nil {
		return nil, 0, errors.Join(fmt.Errorf("server log: %w", err), log.Close())
	}
	return log, info.Size(), nil
}

// logSince returns the beginning of what was logged from an offset on.
func logSince(path string, offset int64) string {
	log, err := os.Open(path)
	if err != nil {
		return err.Error()
	}
	defer log.Close()
	text, err := io.ReadAll(io.NewSectionReader(log, offset, 4096))
	if err != nil {
		return err.Error()
	}
	return strings.TrimSpace(string(text))
}
