//go:build unix && !linux

package private

import (
	"os/exec"
	"strconv"
	"strings"
	"syscall"
)

// maxSocketPath is the length of sun_path less its final zero, as on the BSDs
// and macOS (unix(4)).
const maxSocketPath = 103

// endWithProgram can do nothing here; the next Start ends a server left behind.
func endWithProgram(*syscall.SysProcAttr) {}

// commandLine returns the words of a process's command line, none when there is
// no such process.
func commandLine(pid int) []string {
	out, err := exec.Command("ps", "-o", "args=", "-p", strconv.Itoa(pid)).Output()
	if err != nil {
		return nil
	}
	return strings.Fields(string(out))
}
