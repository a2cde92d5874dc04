package private

import (
	"errors"
	"fmt"
	"strings"
)

// ErrNotRunning is returned by Attach when no program's server runs on the data
// folder.
var ErrNotRunning = errors.New("no private PostgreSQL is running on this data folder")

// InUseError is returned by Start when another program holds the data folder.
type InUseError struct {
	DataDir string
	PID     int    // 0 when the holder is not known
	Command string // for example "askwright serve"
}

func (e *InUseError) Error() string {
	holder := "another program"
	if e.PID != 0 {
		holder = fmt.Sprintf("another program: %s (pid %d)", e.Command, e.PID)
	}
	return fmt.Sprintf("the data folder %s is used by %s; stop that one first, or choose another folder with ASKWRIGHT_DATA",
		e.DataDir, holder)
}

// MissingBinariesError is returned by Start when the machine has no PostgreSQL
// that can be used.
type MissingBinariesError struct {
	BinDir string   // the only folder that was to be searched; "" = all usual ones
	TooOld []string // installations found that are older than the oldest supported one
}

func (e *MissingBinariesError) Error() string {
	where := "in PATH and the usual folders"
	if e.BinDir != "" {
		where = "in " + e.BinDir
	}
	found := "the programs postgres and initdb were not found " + where
	if len(e.TooOld) > 0 {
		found = "found only " + strings.Join(e.TooOld, ", ") + " " + where
	}
	return fmt.Sprintf(`PostgreSQL %d or newer is needed: %s. Install it:
  Debian, Ubuntu  apt install postgresql
  Fedora          dnf install postgresql-server
  Alpine          apk add postgresql
  Arch            pacman -S postgresql
  macOS           brew install postgresql@17
or set ASKWRIGHT_POSTGRES_BIN to the folder that holds postgres and initdb,
or DATABASE_URL to a running server.`, oldestMajor, found)
}

// VersionMismatchError is returned by Start when the cluster was made by another
// major version of PostgreSQL than those installed. Nothing has been changed.
type VersionMismatchError struct {
	Binaries string // major version found, for example "17"
	Data     string // major version of the cluster, for example "15"
	BinDir   string // where Binaries was found
	Cluster  string // the cluster's folder
}

func (e *VersionMismatchError) Error() string {
	return fmt.Sprintf(`%s was made by PostgreSQL %[2]s, but the PostgreSQL in %[3]s is version %[4]s. Install version %[2]s beside it:
  Debian, Ubuntu  apt install postgresql-%[2]s
  Fedora          dnf install postgresql%[2]s-server (from the PostgreSQL project's repository)
  Alpine          apk add postgresql%[2]s
  macOS           brew install postgresql@%[2]s
or set ASKWRIGHT_POSTGRES_BIN to the folder that holds it. To move to version %[4]s, make a backup with version %[2]s
and restore it into a new data folder.`, e.Cluster, e.Data, e.BinDir, e.Binaries)
}
