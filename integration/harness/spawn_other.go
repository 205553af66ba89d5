//go:build integration && !linux

package harness

import "os/exec"

// spawn starts a command. The end of the test kills it.
func spawn(cmd *exec.Cmd) error { return cmd.Start() }
