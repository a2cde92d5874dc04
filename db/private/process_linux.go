package private

import (
	"fmt"
	"os"
	"strings"
	"syscall"
)

// maxSocketPath is the length of sun_path less its final zero (unix(7)).
const maxSocketPath = 107

// endWithProgram has the kernel send SIGINT to the child when the thread that
// started it ends.
func endWithProgram(attr *syscall.SysProcAttr) { attr.Pdeathsig = syscall.SIGINT }

// commandLine returns a process's arguments, none when there is no such process
// or only its remains.
func commandLine(pid int) []string {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", pid))
	if err != nil {
		return nil
	}
	return strings.Split(string(data), "\x00")
}
