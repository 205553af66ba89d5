package sched

import "testing"

func TestABanditTurnsToWhatPays(t *testing.T) {
	t.Parallel()
	b := newBandit(1, 1, 0, 1)
	r := rng{s: 7}
	var picked [4]int
	for i := range 20 * banditSegment {
		k := b.pick(&r)
		if i >= 10*banditSegment {
			picked[k]++
		}
		reward := 0.0
		if k == 1 {
			reward = 5
		}
		b.pay(k, reward, 10)
	}
	if picked[1] < 8*picked[0] || picked[2] > 0 {
		t.Errorf("picked %v: the second pays, the third is not to be picked", picked)
	}
	if picked[0] == 0 || picked[3] == 0 {
		t.Errorf("picked %v: what does not pay now must be tried at times", picked)
	}
}

func TestACrowdIsTheSetThatWasPutIn(t *testing.T) {
	t.Parallel()
	const n = 40
	c, r := newCrowd(n), rng{s: 3}
	var in [n]bool
	for range 2000 {
		a := r.n(n)
		in[a] = r.n(2) == 0
		c.set(int32(a), in[a])
		size := 0
		for i, there := range in {
			if there {
				size++
			}
			if there != (c.at[i] >= 0) {
				t.Fatalf("%d is there: %v, at %d", i, there, c.at[i])
			}
		}
		if len(c.list) != size {
			t.Fatalf("%d are listed, not %d", len(c.list), size)
		}
		if size > 0 && !in[c.draw(&r)] {
			t.Fatal("drew one that is not there")
		}
	}
	if empty := newCrowd(n); empty.draw(&r) >= 0 {
		t.Error("drew one of nobody")
	}
}
