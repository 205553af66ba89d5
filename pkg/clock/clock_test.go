package clock_test

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/clock"
)

// TestMain turns the test binary into the second process of the file clock test.
func TestMain(m *testing.M) {
	if path := os.Getenv("CLOCK_TEST_READER"); path != "" {
		os.Exit(reader(path))
	}
	os.Exit(m.Run())
}

// reader prints the time of the clock file once for every line on standard input.
func reader(path string) int {
	c, err := clock.OpenFile(path)
	if err != nil {
		fmt.Println("error", err)
		return 1
	}
	in := bufio.NewScanner(os.Stdin)
	for in.Scan() {
		fmt.Println(c.Now().Format(time.RFC3339Nano))
	}
	return 0
}

func TestSystemClockIsUTC(t *testing.T) {
	t.Parallel()
	if got := clock.System().Now(); got.Location() != time.UTC {
		t.Errorf("location %v, want UTC", got.Location())
	}
}

func TestFakeMovesOnlyWhenTold(t *testing.T) {
	t.Parallel()
	start := time.Date(2030, 3, 31, 1, 59, 0, 0, time.FixedZone("x", 3600))
	c := clock.NewFake(start)
	if got := c.Now(); !got.Equal(start) || got.Location() != time.UTC {
		t.Fatalf("Now = %v, want %v in UTC", got, start)
	}
	if got := c.Advance(90 * time.Second); !got.Equal(start.Add(90*time.Second)) || !c.Now().Equal(got) {
		t.Errorf("after Advance: %v", got)
	}
	c.Set(start.Add(-time.Hour))
	if got := c.Now(); !got.Equal(start.Add(-time.Hour)) {
		t.Errorf("after Set: %v", got)
	}
}

func TestFileClockIsSharedByTwoProcesses(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "clock")
	t0 := time.Date(2031, 1, 2, 3, 4, 5, 678901234, time.UTC)
	c, err := clock.CreateFile(path, t0)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = c.Close() }()

	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "CLOCK_TEST_READER="+path)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewReader(out)
	for i := range 200 {
		want := t0.Add(time.Duration(i) * 37 * time.Minute)
		if err := c.Set(want); err != nil {
			t.Fatal(err)
		}
		if _, err := fmt.Fprintln(in); err != nil {
			t.Fatal(err)
		}
		got, err := lines.ReadString('\n')
		if err != nil {
			t.Fatal(err)
		}
		if strings.TrimSpace(got) != want.Format(time.RFC3339Nano) {
			t.Fatalf("step %d: other process saw %q, want %s", i, got, want.Format(time.RFC3339Nano))
		}
	}
	_ = in.Close()
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
}

func TestFileClockNeverShowsHalfAWrite(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "clock")
	// The two values differ in every byte, so a mixture would be a third value.
	a, b := time.Unix(0, 0x0102030405060708), time.Unix(0, 0x1112131415161718)
	w, err := clock.CreateFile(path, a)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = w.Close() }()
	r, err := clock.OpenFile(path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = r.Close() }()
	done := make(chan error, 1)
	go func() {
		for i := range 20000 {
			v := a
			if i%2 == 1 {
				v = b
			}
			if err := w.Set(v); err != nil {
				done <- err
				return
			}
		}
		done <- nil
	}()
	for {
		if got := r.Now(); !got.Equal(a) && !got.Equal(b) {
			t.Fatalf("mixed value %v", got)
		}
		select {
		case err := <-done:
			if err != nil {
				t.Fatal(err)
			}
			return
		default:
		}
	}
}

func TestFileClockRefusesWhatItCannotHold(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "clock")
	if _, err := clock.OpenFile(path); err == nil {
		t.Error("a missing file was opened")
	}
	if err := os.WriteFile(path, []byte("abc"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := clock.OpenFile(path); err == nil || !strings.Contains(err.Error(), "3 bytes") {
		t.Errorf("short file: %v", err)
	}
	c, err := clock.CreateFile(path, time.Unix(1, 0))
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Set(time.Date(2300, 1, 1, 0, 0, 0, 0, time.UTC)); err == nil {
		t.Error("a year beyond the range was accepted")
	}
	r, err := clock.OpenFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Set(time.Unix(2, 0)); err == nil {
		t.Error("a reader could set the clock")
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	if got := r.Now(); !got.Equal(time.Unix(1, 0)) {
		t.Errorf("after Close: %v, want the last value", got)
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
}
