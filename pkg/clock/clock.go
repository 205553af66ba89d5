// Package clock is the only source of "now" for domain code.
//
// Domain code takes a [Clock] and never calls time.Now, so that a test, a demonstration or a drill can run a week
// of cooking in seconds. Plumbing that talks to the outside world (backoff, polling, token expiry, TLS) keeps using
// real time: a simulated clock must not make a broker or a certificate believe in another day.
//
// Three clocks exist: [System], [Fake] (one process, set by hand) and [File] (several processes that share one
// simulated time through an 8-byte file).
package clock

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"
)

// Clock tells the time. Implementations are safe for concurrent use and return UTC.
type Clock interface {
	Now() time.Time
}

type system struct{}

func (system) Now() time.Time { return time.Now().UTC() }

// System is the machine's clock, in UTC.
func System() Clock { return system{} }

// Fake is a clock that stands still until it is told to move.
type Fake struct {
	mu  sync.RWMutex
	now time.Time
}

// NewFake starts a clock that stands at t.
func NewFake(t time.Time) *Fake { return &Fake{now: t.UTC()} }

// Now is the time last set.
func (f *Fake) Now() time.Time {
	f.mu.RLock()
	defer f.mu.RUnlock()
	return f.now
}

// Set moves the clock to t, forwards or backwards.
func (f *Fake) Set(t time.Time) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.now = t.UTC()
}

// Advance moves the clock by d and returns the new time.
func (f *Fake) Advance(d time.Duration) time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.now = f.now.Add(d)
	return f.now
}

const fileSize = 8 // one big-endian int64, nanoseconds since 1970-01-01T00:00:00Z

// File is a clock shared by several processes of one machine through a small file. The one who drives the simulation
// calls Set; all others see the new time at their next Now. The file must lie on a local disk.
type File struct {
	f        *os.File
	writable bool
	last     atomic.Int64
}

// CreateFile creates (or takes over) the clock file at path and sets it to t.
func CreateFile(path string, t time.Time) (*File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("create clock file: %w", err)
	}
	c := &File{f: f, writable: true}
	if err := c.Set(t); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return c, nil
}

// OpenFile opens an existing clock file for reading.
func OpenFile(path string) (*File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open clock file: %w", err)
	}
	c := &File{f: f}
	nanos, err := c.read()
	if err != nil {
		return nil, errors.Join(fmt.Errorf("clock file %s: %w", path, err), f.Close())
	}
	c.last.Store(nanos)
	return c, nil
}

// Now is the time in the file. When the file can no longer be read, time stands still at the last value seen: a clock
// that jumped to the wall time would age every lot of a simulated kitchen at once.
func (c *File) Now() time.Time {
	nanos, err := c.read()
	if err != nil {
		nanos = c.last.Load()
	} else {
		c.last.Store(nanos)
	}
	return time.Unix(0, nanos).UTC()
}

// Set writes t to the file. Only a clock from CreateFile can be set. t must lie between the years 1678 and 2262, the
// range of 64-bit nanoseconds.
func (c *File) Set(t time.Time) error {
	if !c.writable {
		return errors.New("this clock file was opened for reading; the process that created it sets the time")
	}
	nanos := t.UnixNano()
	if !time.Unix(0, nanos).Equal(t) {
		return fmt.Errorf("clock time %s is outside of the years 1678 to 2262", t)
	}
	var b [fileSize]byte
	binary.BigEndian.PutUint64(b[:], uint64(nanos))
	if _, err := c.f.WriteAt(b[:], 0); err != nil {
		return fmt.Errorf("set clock file: %w", err)
	}
	c.last.Store(nanos)
	return nil
}

// Close releases the file. Now keeps answering with the last value seen.
func (c *File) Close() error { return c.f.Close() }

// read returns a value that was read twice in a row, because POSIX does not promise that a reader never sees half of
// an 8-byte write.
func (c *File) read() (int64, error) {
	prev, err := c.readOnce()
	if err != nil {
		return 0, err
	}
	for range 100 {
		next, err := c.readOnce()
		if err != nil {
			return 0, err
		}
		if next == prev {
			return next, nil
		}
		prev = next
	}
	return prev, nil
}

func (c *File) readOnce() (int64, error) {
	var b [fileSize]byte
	n, err := c.f.ReadAt(b[:], 0)
	if n == fileSize {
		return int64(binary.BigEndian.Uint64(b[:])), nil
	}
	if errors.Is(err, io.EOF) {
		return 0, fmt.Errorf("holds %d bytes, a clock file holds %d", n, fileSize)
	}
	return 0, err
}
