//go:build !unix

package main

import (
	"errors"
	"time"
)

// processorTime is not known on this system.
func processorTime() (time.Duration, error) {
	return 0, errors.New("the processor time used is not known on this system; leave the flag out")
}
