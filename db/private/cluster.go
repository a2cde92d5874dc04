package private

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// createCluster runs initdb unless there is a cluster. It works in a folder of
// another name and renames it at the end, so that a cluster is whole whenever
// the program is killed.
func createCluster(ctx context.Context, f folder, bin binaries, o Options) error {
	const unfinished = "postgresql.new-"
	leftovers, err := filepath.Glob(filepath.Join(globEscape(f.dir), unfinished+"*"))
	if err != nil {
		return fmt.Errorf("looking for unfinished clusters: %w", err)
	}
	for _, dir := range leftovers {
		o.Logger.Warn("removing a half-made PostgreSQL cluster", "folder", dir)
		if err := removeHalfMade(ctx, dir); err != nil {
			o.Logger.Warn("could not remove it, trying again at the next start", "error", err)
		}
	}
	if _, err := os.Stat(f.cluster); !errors.Is(err, fs.ErrNotExist) {
		return err // nil when there is a cluster
	}
	dir, err := os.MkdirTemp(f.dir, unfinished)
	if err != nil {
		return fmt.Errorf("creating the cluster: %w", err)
	}
	if err := initialise(ctx, f, bin, dir, o); err != nil {
		return errors.Join(err, os.RemoveAll(dir))
	}
	if err := os.Rename(dir, f.cluster); err != nil {
		return fmt.Errorf("creating the cluster: %w", err)
	}
	return syncFolder(f.dir)
}

// removeHalfMade removes a cluster whose initdb was killed. A child of that
// initdb may go on writing files for a moment.
func removeHalfMade(ctx context.Context, dir string) error {
	for deadline := time.Now().Add(2 * time.Second); ; {
		err := os.RemoveAll(dir)
		if err == nil || time.Now().After(deadline) {
			return err
		}
		if err := sleep(ctx, 50*time.Millisecond); err != nil {
			return err
		}
	}
}

// initialise fills dir with a cluster in UTF-8 that sorts by code point on every
// platform and keeps checksums. Whoever reaches the socket is trusted: its
// folder is closed to others, and there is no network.
func initialise(ctx context.Context, f folder, bin binaries, dir string, o Options) error {
	if err := f.account.own(dir); err != nil {
		return err
	}
	args := []string{"-D", dir, "-U", superuser, "--encoding=UTF8", "--data-checksums",
		"--auth-local=trust", "--auth-host=reject"}
	if o.Settings["fsync"] == "off" {
		args = append(args, "--no-sync")
	}
	for _, locale := range []string{"C.UTF-8", "C"} {
		var out bytes.Buffer
		cmd := f.command(bin.path("initdb"), append(args, "--locale="+locale)...)
		cmd.Stdout, cmd.Stderr = &out, &out
		p, err := spawn(cmd)
		if err != nil {
			return fmt.Errorf("starting initdb: %w", err)
		}
		select {
		case <-ctx.Done():
			p.signal(syscall.SIGINT)
			<-p.done
			return context.Cause(ctx)
		case <-p.done:
		}
		if p.err == nil {
			return nil
		}
		// Old systems have no C.UTF-8; initdb then leaves an empty folder.
		if !strings.Contains(out.String(), "invalid locale name") {
			return fmt.Errorf("initdb: %w: %s", p.err, strings.TrimSpace(out.String()))
		}
	}
	return errors.New("initdb: this system has neither the locale C.UTF-8 nor C")
}

// syncFolder makes a rename in dir survive a power cut.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("creating the cluster: %w", err)
	}
	return errors.Join(d.Sync(), d.Close())
}

// globEscape lets a path that holds *, ? or [ stand for itself in a pattern.
func globEscape(path string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(path)
}
