package private

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
)

// socketName is the file PostgreSQL makes in its socket folder for port 5432.
const socketName = ".s.PGSQL.5432"

// DefaultDataDir is where the data lives unless the user says otherwise:
// /var/lib/askwright for root, else askwright in the user's data folder (XDG
// Base Directory Specification; Library/Application Support on macOS). It is
// empty when the user has no home folder.
func DefaultDataDir() string {
	if os.Geteuid() == 0 {
		return "/var/lib/askwright"
	}
	// The specification says to ignore a relative path.
	if xdg := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(xdg) {
		return filepath.Join(xdg, "askwright")
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return ""
	}
	if runtime.GOOS == "darwin" {
		return filepath.Join(home, "Library", "Application Support", "askwright")
	}
	return filepath.Join(home, ".local", "share", "askwright")
}

// folder is a data folder, its parts and the account its server runs as.
type folder struct {
	dir, cluster, log, lock string
	account                 account
}

// createFolder makes the data folder when it is missing.
func createFolder(dataDir string) (folder, error) {
	if dataDir == "" {
		return folder{}, errors.New("no data folder: set ASKWRIGHT_DATA to one (this user has no home folder)")
	}
	if err := os.MkdirAll(dataDir, folderMode()); err != nil {
		return folder{}, fmt.Errorf("creating the data folder: %w", err)
	}
	return openFolder(dataDir)
}

// openFolder finds the parts of an existing data folder.
func openFolder(dataDir string) (folder, error) {
	dir, err := filepath.Abs(dataDir)
	if err != nil {
		return folder{}, fmt.Errorf("data folder: %w", err)
	}
	// The true path, so that a server left behind is known by its command line.
	if dir, err = filepath.EvalSymlinks(dir); err != nil {
		return folder{}, fmt.Errorf("data folder: %w", err)
	}
	f := folder{
		dir:     dir,
		cluster: filepath.Join(dir, "postgresql"),
		log:     filepath.Join(dir, "postgresql.log"),
		lock:    filepath.Join(dir, "askwright.lock"),
	}
	f.account, err = serverAccount(f.cluster)
	return f, err
}

// folderMode lets another account pass through a folder of root's, and keeps
// everybody out of one of an ordinary user.
func folderMode() os.FileMode {
	if os.Geteuid() == 0 {
		return 0o711
	}
	return 0o700
}

// prepare makes the socket folder, returns it, and proves that the server's
// account can reach the data folder and the programs.
func (f folder) prepare(ctx context.Context, bin binaries) (socketDir string, err error) {
	info, err := os.Stat(f.dir)
	if err != nil {
		return "", fmt.Errorf("data folder: %w", err)
	}
	if mode := info.Mode().Perm() | folderMode(); mode != info.Mode().Perm() {
		if err := os.Chmod(f.dir, mode); err != nil {
			return "", fmt.Errorf("opening the data folder to PostgreSQL: %w", err)
		}
	}
	probe := exec.CommandContext(ctx, bin.path("postgres"), "--version") //nolint:gosec // the program that was looked for
	probe.Dir = f.dir
	probe.SysProcAttr = &syscall.SysProcAttr{Credential: f.account.credential}
	if err := probe.Run(); err != nil {
		return "", fmt.Errorf("the user %s, as whom PostgreSQL runs, cannot use the data folder %s or the programs in %s: %w; "+
			"each folder above them must let that user in (root's home does not): choose another with ASKWRIGHT_DATA",
			f.account.name, f.dir, bin.dir, err)
	}
	socketDir, err = f.socketDir()
	if err != nil {
		return "", err
	}
	return socketDir, f.makeSocketDir(socketDir)
}

// socketDir is run/ in the data folder, or a folder for temporary files when a
// socket there would have too long a name, or one that connection strings
// cannot hold.
func (f folder) socketDir() (string, error) {
	hash := fnv.New64a()
	hash.Write([]byte(f.dir)) // never fails
	name := fmt.Sprintf("askwright-%d-%016x", f.account.uid(), hash.Sum64())
	for _, dir := range []string{filepath.Join(f.dir, "run"), filepath.Join(os.TempDir(), name), filepath.Join("/tmp", name)} {
		// A comma separates hosts in a connection string.
		if len(filepath.Join(dir, socketName)) <= maxSocketPath && !strings.Contains(dir, ",") {
			return dir, nil
		}
	}
	return "", fmt.Errorf("no folder with a path short enough for a socket: the longest allowed is %d bytes", maxSocketPath)
}

// makeSocketDir makes sure that dir is a folder of the server's account which
// nobody else may enter: whoever can reach the socket is let in.
func (f folder) makeSocketDir(dir string) error {
	if err := os.Mkdir(dir, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("socket folder: %w", err)
	}
	info, err := os.Lstat(dir)
	if err != nil {
		return fmt.Errorf("socket folder: %w", err)
	}
	stat, ok := info.Sys().(*syscall.Stat_t)
	// It is the program's own when it was just made, or when the program was
	// killed between making it and giving it away.
	if ok && info.IsDir() && int(stat.Uid) == os.Geteuid() {
		if err := f.account.own(dir); err != nil {
			return fmt.Errorf("socket folder: %w", err)
		}
		stat.Uid = uint32(f.account.uid())
	}
	if !ok || !info.IsDir() || int(stat.Uid) != f.account.uid() || info.Mode().Perm() != 0o700 {
		return fmt.Errorf("the socket folder %s must be a folder of the user %s with mode 0700; remove it and start again",
			dir, f.account.name)
	}
	return nil
}

// clusterVersion is the major version that made the cluster, "" when there is
// no cluster.
func (f folder) clusterVersion() (string, error) {
	version, err := os.ReadFile(filepath.Join(f.cluster, "PG_VERSION"))
	if err == nil {
		return strings.TrimSpace(string(version)), nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("reading the cluster's version: %w", err)
	}
	// A cluster appears whole or not at all, so files without a version are
	// either damaged or not ours.
	if err := os.Remove(f.cluster); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("%s holds files but no PG_VERSION: it is no PostgreSQL cluster, or a damaged one; "+
			"restore it or move it away", f.cluster)
	}
	return "", nil
}
