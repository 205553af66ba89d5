package foodsafety

import (
	"context"
	"slices"
)

// lotScan looks at lots with their ancestors in one transaction and reads each thing once.
type lotScan struct {
	s          *Service
	lots       map[string]*Lot // nil entry: not known
	inputs     map[string][]string
	holds      map[string][]Hold
	deviations map[string][]Deviation
	ofBatch    map[string][]Chill
}

// standing is one thing that stands against a lot.
type standing struct{ subject, text string }

// scanStatus is a LotStatus with what led to it.
type scanStatus struct {
	LotStatus
	family   []string // the lot and its ancestors, sorted after the lot itself
	standing []standing
}

func newLotScan(s *Service) *lotScan {
	return &lotScan{
		s: s, lots: map[string]*Lot{}, inputs: map[string][]string{}, holds: map[string][]Hold{},
		deviations: map[string][]Deviation{}, ofBatch: map[string][]Chill{},
	}
}

// status judges a lot by the holds and deviations on it, its batch and its ancestors; Released and Shippable are left
// to the caller.
func (w *lotScan) status(ctx context.Context, name string) (*scanStatus, error) {
	st := &scanStatus{LotStatus: LotStatus{Lot: name}}
	family, err := w.family(ctx, name)
	if err != nil {
		return nil, err
	}
	st.family = family
	subjects := make([]string, 0, 2*len(family))
	for _, member := range family {
		lot := w.lots[member]
		if lot == nil {
			if member == name {
				st.add(member, "the lot is not known to food safety; the news of it has not arrived")
			} else {
				st.add(member, "an ancestor of "+name+" is not known to food safety; the news of it has not arrived")
			}
		}
		subjects = append(subjects, member)
		if lot != nil && lot.Batch != "" {
			subjects = append(subjects, lot.Batch)
		}
	}
	st.Known = w.lots[name] != nil
	st.Made = st.Known && w.lots[name].Made()
	seen := map[string]bool{}
	for _, subject := range subjects {
		if seen[subject] {
			continue
		}
		seen[subject] = true
		if err := w.against(ctx, subject, st); err != nil {
			return nil, err
		}
	}
	st.Holds, st.Deviations = unique(st.Holds), unique(st.Deviations)
	st.Clear = len(st.standing) == 0
	return st, nil
}

func (st *scanStatus) add(subject, text string) {
	st.standing = append(st.standing, standing{subject, text})
	st.Reasons = append(st.Reasons, subject+": "+text)
}

// against adds the holds and open deviations of one lot or batch.
func (w *lotScan) against(ctx context.Context, subject string, st *scanStatus) error {
	holds, known := w.holds[subject]
	if !known {
		var err error
		if holds, err = w.s.store.HoldsOn(ctx, subject); err != nil {
			return err
		}
		w.holds[subject] = holds
	}
	for _, h := range holds {
		if h.State == HoldPlaced {
			st.Holds = append(st.Holds, h.Name)
			st.add(h.Name, subject+" is on hold: "+h.Reason)
		}
	}
	deviations, known := w.deviations[subject]
	if !known {
		var err error
		if deviations, err = w.s.store.DeviationsOf(ctx, subject); err != nil {
			return err
		}
		w.deviations[subject] = deviations
	}
	for _, d := range deviations {
		switch {
		case d.State != DeviationClosed:
			st.Deviations = append(st.Deviations, d.Name)
			st.add(d.Name, "a deviation about "+subject+" is not closed: "+d.Description)
		case d.Decision() == DecisionDiscard || d.Decision() == DecisionReject:
			st.Deviations = append(st.Deviations, d.Name)
			st.add(d.Name, "it was decided about "+subject+": "+string(d.Decision()))
		}
	}
	return nil
}

// family is a lot and everything it was made from, as far as it is known.
func (w *lotScan) family(ctx context.Context, name string) ([]string, error) {
	seen := map[string]bool{name: true}
	queue := []string{name}
	for i := 0; i < len(queue); i++ {
		lot, err := w.lot(ctx, queue[i])
		if err != nil {
			return nil, err
		}
		if lot == nil {
			continue
		}
		inputs := lot.Inputs
		if lot.Batch != "" {
			more, err := w.batchInputs(ctx, lot.Batch)
			if err != nil {
				return nil, err
			}
			inputs = slices.Concat(inputs, more)
		}
		for _, input := range inputs {
			if !seen[input] {
				seen[input] = true
				queue = append(queue, input)
			}
		}
	}
	slices.Sort(queue[1:])
	return queue, nil
}

func (w *lotScan) lot(ctx context.Context, name string) (*Lot, error) {
	lot, known := w.lots[name]
	if known {
		return lot, nil
	}
	lot, err := w.s.store.GetLot(ctx, name)
	if err != nil {
		return nil, err
	}
	w.lots[name] = lot
	return lot, nil
}

func (w *lotScan) batchInputs(ctx context.Context, batch string) ([]string, error) {
	list, known := w.inputs[batch]
	if known {
		return list, nil
	}
	list, err := w.s.store.BatchInputs(ctx, batch)
	if err != nil {
		return nil, err
	}
	w.inputs[batch] = list
	return list, nil
}

func (w *lotScan) chills(ctx context.Context, batch string) ([]Chill, error) {
	list, known := w.ofBatch[batch]
	if known {
		return list, nil
	}
	list, err := w.s.store.ChillsOfBatch(ctx, batch)
	if err != nil {
		return nil, err
	}
	w.ofBatch[batch] = list
	return list, nil
}

func unique(list []string) []string {
	slices.Sort(list)
	return slices.Compact(list)
}
