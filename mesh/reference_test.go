package mesh_test

import (
	"os"
	"os/exec"
	"testing"
)

// referenceTool returns the path of a program that other people wrote and that
// judges our files. A machine without it skips the test, but where
// FALSEWORK_REFERENCE=1 is set, as the test command of the README does, a
// missing program is a failure.
func referenceTool(t *testing.T, program, install string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		missing(t, program+" is not installed; on Debian: apt-get install "+install)
	}
	return path
}

func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("FALSEWORK_REFERENCE") == "1" {
		t.Fatal(what)
	}
	t.Skip(what)
}
