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
	out   time.Duration // left out
}

func (s settings) start() *watch {
	w := &watch{began: time.Now(), cpu: s.cpu}
	if s.cpu {
		w.spent, _ = processorTime() // parse saw that it can be had
	}
	return w
}

// elapsed is the time since the beginning, in the unit that the settings ask for, without what was left out.
func (w *watch) elapsed() time.Duration {
	if !w.cpu {
		return time.Since(w.began) - w.out
	}
	now, _ := processorTime()
	return (now-w.spent)/time.Duration(runtime.GOMAXPROCS(0)) - w.out
}

// leaveOut runs f, the measuring's own work, without counting its time.
func (w *watch) leaveOut(f func()) {
	began := w.elapsed()
	f()
	w.out += w.elapsed() - began
}
