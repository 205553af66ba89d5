//go:build unix

package main

import (
	"fmt"
	"syscall"
	"time"
)

// processorTime is what the process has used until now, of all cores together.
func processorTime() (time.Duration, error) {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0, fmt.Errorf("ask for the processor time used: %w", err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano()), nil
}
