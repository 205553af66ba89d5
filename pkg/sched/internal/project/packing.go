package project

// packing lays the amounts of several resources side by side in 64-bit words, so that one subtraction compares all of
// them. Each amount has a field with one spare bit on top, the guard: with the guards of the minuend set, a guard
// survives the subtraction exactly if the amount there was large enough, and no field borrows from the next.
type packing struct {
	bits  uint // of a field, guard included
	per   int  // fields per word
	words int
	guard uint64 // the guards of a word
}

func newPacking(resources int, largest int32) packing {
	p := packing{bits: 16, per: 4}
	if largest >= 1<<15 {
		p = packing{bits: 32, per: 2}
	}
	p.words = max(1, (resources+p.per-1)/p.per)
	for k := range p.per {
		p.guard |= 1 << (uint(k+1)*p.bits - 1)
	}
	return p
}

// pack writes amounts into words.
func (p *packing) pack(words []uint64, amounts []int32) {
	clear(words[:p.words])
	for r, q := range amounts {
		words[r/p.per] |= uint64(q) << (uint(r%p.per) * p.bits)
	}
}

// short reports whether some amount of want is larger than that of free.
func (p *packing) short(free, want uint64) bool {
	return ((free|p.guard)-want)&p.guard != p.guard
}
