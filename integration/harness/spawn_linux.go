//go:build integration

package harness

import (
	"os/exec"
	"runtime"
	"sync"
	"syscall"
)

// births are the commands that the one spawning thread starts. The kernel ties the end of a child to the thread that
// made it, so this thread must live as long as the process.
var births = sync.OnceValue(func() chan<- func() {
	c := make(chan func())
	go func() {
		runtime.LockOSThread()
		for f := range c {
			f()
		}
	}()
	return c
})

// spawn starts a command that is killed when this process ends in whatever way.
func spawn(cmd *exec.Cmd) error {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	done := make(chan error)
	births() <- func() { done <- cmd.Start() }
	return <-done
}
