package splitmix

import "testing"

// The first outputs for seed 0, from memory of the test values that implementations of SplitMix64 share.
func TestTheFirstNumbersOfSeedZero(t *testing.T) {
	t.Parallel()
	state := uint64(0)
	for i, want := range []uint64{0xe220a8397b1dcdaf, 0x6e789e6aa1b965f4, 0x06c45d188009454f} {
		if got := Next(&state); got != want {
			t.Errorf("number %d is %#x, want %#x", i, got, want)
		}
	}
	if u := Unit(^uint64(0)); u >= 1 || Unit(0) != 0 {
		t.Errorf("the greatest number is %v", u)
	}
}
