package main

import (
	"runtime"
	"time"
)

// watch measures how long a case takes.
type watch struct {
	began time.Time
	cpu   bool
	spent time.Duration // processor time of the process at the beginning
}

func (s settings) start() watch {
	w := watch{began: time.Now(), cpu: s.cpu}
	if s.cpu {
		w.spent, _ = processorTime() // parse saw that it can be had
	}
	return w
}

// elapsed is the time since the beginning, in the unit that the settings ask for.
func (w watch) elapsed() time.Duration {
	if !w.cpu {
		return time.Since(w.began)
	}
	now, _ := processorTime()
	return (now - w.spent) / time.Duration(runtime.GOMAXPROCS(0))
}
