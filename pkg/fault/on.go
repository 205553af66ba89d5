//go:build faultpoints

package fault

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
)

// Enabled says whether this binary was built with crash points.
const Enabled = true

type point struct {
	left   atomic.Int64
	panics bool
}

var armed = mustParse(os.Getenv(Env))

func mustParse(s string) map[string]*point {
	m, err := parse(s)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(2)
	}
	return m
}

func parse(s string) (map[string]*point, error) {
	m := map[string]*point{}
	for item := range strings.SplitSeq(s, ",") {
		if item == "" {
			continue
		}
		p := &point{}
		parts := strings.Split(item, ":")
		n := int64(1)
		for _, part := range parts[1:] {
			switch part {
			case "exit":
				p.panics = false
			case "panic":
				p.panics = true
			default:
				v, err := strconv.ParseInt(part, 10, 64)
				if err != nil || v < 1 {
					return nil, fmt.Errorf("%s: %q is neither a count from 1 nor exit nor panic", Env, part)
				}
				n = v
			}
		}
		p.left.Store(n)
		m[parts[0]] = p
	}
	return m, nil
}

// Point ends the process when the environment armed it for this name and this pass.
func Point(name string) {
	p := armed[name]
	if p == nil || p.left.Add(-1) != 0 {
		return
	}
	if p.panics {
		panic("fault: " + name)
	}
	fmt.Fprintln(os.Stderr, "fault: exit at", name)
	os.Exit(ExitStatus)
}
