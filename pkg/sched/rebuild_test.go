package sched

import (
	"reflect"
	"slices"
	"testing"
)

// week makes a small kitchen in which everything that a plan can hold occurs: batches of four activities that keep their
// kettle, attended cleaning between states, a crew on shift, shelf space between two of the activities, due times.
func week(batches int) Instance {
	const hour = int64(60)
	in := Instance{
		Horizon:   Span{Start: 0, End: 400 * hour},
		Calendars: []Calendar{{Name: "crew"}},
		Resources: []Resource{{Name: "cooks", Capacity: 3}, {Name: "shelf", Capacity: 4}},
		Setups: []Setup{{
			Name: "cleaning", States: []string{"light", "dark"}, Calendar: "crew", Needs: []Need{{Resource: "cooks", Amount: 1}},
			Change: [][]Change{{{}, {Duration: 10, Attended: true}}, {{Duration: 30, Attended: true}, {}}},
		}},
		Vessels: []Vessel{{Name: "kettle-1", Setup: "cleaning", State: "light"}, {Name: "kettle-2", Setup: "cleaning"}, {Name: "chiller"}},
		Weights: DefaultWeights(),
	}
	for d := int64(0); d < 16; d++ {
		in.Calendars[0].Open = append(in.Calendars[0].Open, Open{Span: Span{Start: (d*24 + 6) * hour, End: (d*24 + 20) * hour}})
	}
	for i := range batches {
		n, state := string(rune('a'+i%26))+string(rune('a'+i/26)), []string{"light", "dark"}[i%2]
		kettles := func(middle int64) (out []Mode) {
			for _, v := range []string{"kettle-1", "kettle-2"} {
				out = append(out, Mode{
					Name: v, Start: 20, Middle: middle, AttendedCalendar: "crew", Uses: []Use{{Vessel: v}},
					Needs: []Need{{Resource: "cooks", Amount: 1, During: InStart}},
				})
			}
			return out
		}
		in.Activities = append(in.Activities,
			Activity{Name: n + "/simmer", Order: n, State: state, Modes: kettles(150 + int64(i*37%200))},
			Activity{Name: n + "/chill", Order: n, Modes: []Mode{{Name: "chiller", Start: 10, Middle: 90, AttendedCalendar: "crew", Uses: []Use{{Vessel: "chiller"}}}}},
			Activity{Name: n + "/pack", Order: n, Modes: []Mode{{
				Name: "table", Start: 40, AttendedCalendar: "crew", Pausable: InStart, Needs: []Need{{Resource: "cooks", Amount: 2}},
			}}, Due: int64(10+i*5) * hour, DueWeight: 1 + int64(i%3)})
		in.Lags = append(in.Lags, Lag{From: n + "/simmer", To: n + "/chill", Max: 60, HasMax: true}, Lag{From: n + "/chill", To: n + "/pack", Min: 30})
		in.Holds = append(in.Holds, Hold{Activity: n + "/simmer", Until: n + "/chill"})
		in.Stores = append(in.Stores, Store{Resource: "shelf", Amount: 1, Producer: n + "/chill", Consumer: n + "/pack"})
	}
	return in
}

// picture is everything that a partial plan consists of.
type picture struct {
	Prof  []profile
	Occ   [][]occ
	Pl    []placement
	Stays []int32
}

func pictureOf(s *state) picture {
	p := picture{Stays: slices.Clone(s.stays)}
	for i := range s.prof {
		p.Prof = append(p.Prof, s.prof[i].steps())
	}
	for v := range s.occ {
		p.Occ = append(p.Occ, append([]occ{}, s.occ[v]...))
	}
	for _, x := range s.pl {
		if !x.done {
			x = placement{} // what is left over from before says nothing
		}
		p.Pl = append(p.Pl, x)
	}
	return p
}

func rebuilderOf(t *testing.T, in Instance) *rebuilder {
	t.Helper()
	if err := in.Validate(); err != nil {
		t.Fatal(err)
	}
	p := compile(&in)
	w, conflicts := p.impossible()
	if len(conflicts) > 0 {
		t.Fatal(conflicts)
	}
	s := &searcher{p: p, opt: &Options{}, d: newDecoder(p), keys: p.urgency(), why: tally{}, budget: 200, tell: func(bool) {}}
	s.bound = p.lowerBound(w, s.keys)
	s.d.placeFixed()
	s.construct()
	if s.best == nil {
		t.Fatal("no first plan")
	}
	r := s.newRebuilder(s.best, 1)
	if r == nil {
		t.Fatal("the first plan cannot be read back")
	}
	return r
}

func TestTakingOutAndSteppingBackChangesNothing(t *testing.T) {
	r := rebuilderOf(t, week(14))
	for range 300 {
		before := pictureOf(r.d.s)
		mark := r.d.s.mark()
		r.choose()
		acts := r.acts
		r.place(nil)
		r.d.s.rollback(mark)
		r.acts = acts
		for _, b := range r.taken {
			r.out[b] = false
		}
		r.taken = r.taken[:0]
		if after := pictureOf(r.d.s); !reflect.DeepEqual(before, after) {
			t.Fatalf("before:\n%+v\nafter:\n%+v", before, after)
		}
	}
}

func TestTakingEverythingOutLeavesAnEmptyKitchen(t *testing.T) {
	r := rebuilderOf(t, week(10))
	empty := pictureOf(newState(r.p))
	for a := range r.p.acts {
		r.d.s.unplace(int32((a * 7) % len(r.p.acts)))
	}
	if after := pictureOf(r.d.s); !reflect.DeepEqual(empty, after) {
		t.Fatalf("left over:\n%+v", after)
	}
}

func TestAKeptStepIsNeverAboveItsLimit(t *testing.T) {
	r := rebuilderOf(t, week(20))
	kept := 0
	for range 400 {
		limit := r.cost
		if r.step(&limit) {
			kept++
		}
		if limit.Less(r.cost) {
			t.Fatalf("%+v is above the limit %+v", r.cost, limit)
		}
		if got := r.d.objective(); got != r.cost {
			t.Fatalf("the cost is said to be %+v but is %+v", r.cost, got)
		}
	}
	if kept == 0 {
		t.Error("no step was kept: nothing was tried")
	}
	sol := r.d.s.solution(r.cost)
	other := newDecoder(r.p)
	other.placeFixed()
	if out, f := other.decode(sol.geno, nil); out != decoded || other.objective() != r.cost {
		t.Errorf("the plan's genotype gives %v %+v at %+v, not the plan's %+v", out, other.objective(), f, r.cost)
	}
}
