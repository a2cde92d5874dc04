package private

import (
	"context"
	"fmt"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
)

// oldestMajor is the oldest PostgreSQL that knows all the schema uses
// (security_invoker views came with 15).
const oldestMajor = 15

// usualFolders are the globs of where packages put PostgreSQL's programs.
var usualFolders = []string{
	"/usr/lib/postgresql/*/bin",                          // Debian, Ubuntu
	"/usr/pgsql-*/bin",                                   // the project's own RPMs
	"/usr/libexec/postgresql*",                           // Alpine
	"/usr/bin",                                           // Fedora, Arch
	"/opt/homebrew/opt/postgresql@*/bin",                 // Homebrew on Apple silicon
	"/usr/local/opt/postgresql@*/bin",                    // Homebrew on Intel
	"/Applications/Postgres.app/Contents/Versions/*/bin", // macOS application
	"/usr/local/pgsql/bin",                               // built from source
	"/usr/local/bin",
}

// binaries is one installation of PostgreSQL.
type binaries struct {
	dir   string
	major int
}

func (b binaries) path(program string) string { return filepath.Join(b.dir, program) }

// installed lists the usable installations, the preferred one first: the one in
// PATH, then the newest. A binDir that is not empty is the only place searched.
func installed(ctx context.Context, binDir string) ([]binaries, error) {
	dirs := []string{binDir}
	if binDir == "" {
		dirs = searchFolders()
	}
	var found []binaries
	missing := &MissingBinariesError{BinDir: binDir}
	for _, dir := range dirs {
		b, ok := inspect(ctx, dir)
		switch {
		case !ok || slices.Contains(found, b):
		case b.major < oldestMajor:
			missing.TooOld = append(missing.TooOld, fmt.Sprintf("version %d", b.major))
		default:
			found = append(found, b)
		}
	}
	if len(found) == 0 {
		return nil, missing
	}
	return found, nil
}

// searchFolders returns the folder of the postgres in PATH, if any, and then the
// usual ones, newest first.
func searchFolders() []string {
	var usual []string
	for _, glob := range usualFolders {
		matches, _ := filepath.Glob(glob) // the patterns are constant and well-formed
		usual = append(usual, matches...)
	}
	// Only folders of one glob differ in their number, so the order of the globs
	// does not matter.
	slices.SortStableFunc(usual, func(a, b string) int { return folderVersion(b) - folderVersion(a) })
	if inPath, err := exec.LookPath("postgres"); err == nil {
		return append([]string{filepath.Dir(inPath)}, usual...)
	}
	return usual
}

var digits = regexp.MustCompile(`\d+`)

// folderVersion is the number in a folder's name: 15 of /usr/lib/postgresql/15/bin.
func folderVersion(dir string) int {
	n, _ := strconv.Atoi(digits.FindString(dir)) // no digits: 0, sorted last
	return n
}

var versionLine = regexp.MustCompile(`\(PostgreSQL\) (\d+)`)

// inspect asks the postgres in dir for its version. Links are followed, so that
// initdb is looked for where the package put it.
func inspect(ctx context.Context, dir string) (binaries, bool) {
	program, err := filepath.EvalSymlinks(filepath.Join(dir, "postgres"))
	if err != nil {
		return binaries{}, false
	}
	b := binaries{dir: filepath.Dir(program)}
	if _, err := exec.LookPath(b.path("initdb")); err != nil {
		return binaries{}, false
	}
	out, err := exec.CommandContext(ctx, b.path("postgres"), "--version").Output() //nolint:gosec // the program that was looked for
	if err != nil {
		return binaries{}, false
	}
	match := versionLine.FindSubmatch(out)
	if match == nil {
		return binaries{}, false
	}
	b.major, err = strconv.Atoi(string(match[1]))
	return b, err == nil
}

// choose picks the installation that fits the folder's cluster, or the preferred
// one when there is no cluster yet.
func choose(found []binaries, f folder) (binaries, error) {
	data, err := f.clusterVersion()
	if err != nil {
		return binaries{}, err
	}
	if data == "" {
		return found[0], nil
	}
	for _, b := range found {
		if strconv.Itoa(b.major) == data {
			return b, nil
		}
	}
	return binaries{}, &VersionMismatchError{
		Binaries: strconv.Itoa(found[0].major), Data: data, BinDir: found[0].dir, Cluster: f.cluster,
	}
}
