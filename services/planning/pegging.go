package planning

import (
	"fmt"
	"math"

	"rondeau.internal/pkg/explode"
	"rondeau.internal/pkg/units"
)

// apportion splits a mass in proportion to quantities so that the parts add up exactly.
func apportion(total units.Milligrams, quantities []float64) ([]units.Milligrams, error) {
	largest := 0.0
	for _, q := range quantities {
		largest = max(largest, q)
	}
	weights := make([]int64, len(quantities))
	for i, q := range quantities {
		if q > 0 {
			weights[i] = max(int64(math.Round(q/largest*1e12)), 1)
		}
	}
	return total.Apportion(weights)
}

// pegs says what a source is for; parts sum to total, and what nobody takes stays in stock.
func (a *answer) pegs(src explode.Source, node int, total units.Milligrams) ([]Peg, error) {
	whole := a.r.Quantity(src)
	rest := whole
	var pegs []Peg
	var quantities []float64
	for _, s := range a.shares[src] {
		p := Peg{UseDate: a.date(s.day), Containers: a.count(node, s.quantity)}
		if s.batch >= 0 {
			p.Batch = a.batches[s.batch].Name
		} else if ref := &a.demands[s.demand]; ref.order != nil {
			p.Order = ref.order.Name
		} else {
			p.Par = ref.par.Name
		}
		pegs, quantities = append(pegs, p), append(quantities, s.quantity)
		rest -= s.quantity
	}
	if rest > 1e-9*whole {
		p := Peg{UseDate: a.date(a.days - 1), Containers: a.count(node, rest)}
		if par := a.origins[node].par; par != nil {
			p.Par = par.Name
		} else {
			p.Stock = true
		}
		pegs, quantities = append(pegs, p), append(quantities, rest)
	}
	if len(pegs) == 0 {
		return nil, nil
	}
	masses, err := apportion(total, quantities)
	if err != nil {
		return nil, fmt.Errorf("pegs of %s: %w", a.origins[node].item, err)
	}
	for i := range pegs {
		pegs[i].Mass = masses[i]
	}
	return pegs, nil
}

func (a *answer) pegBatch(i int) error {
	node := a.r.Batches[i].Node
	pegs, err := a.pegs(explode.Source{Kind: explode.FromBatch, Index: i}, node, a.batches[i].Planned)
	a.batches[i].Pegs = pegs
	return err
}

func (a *answer) addPurchase(i int) error {
	src := &a.r.Purchases[i]
	item := a.f.items[a.origins[src.Node].item]
	p := Purchase{
		Name: fmt.Sprintf("%s/purchases/%s-%d", a.plan.Name, slug(lastID(item.Name), 50), i+1),
		Item: item.Name, Supplier: item.Supplier, Mass: a.counted(src.Node, src.Quantity),
		OrderDate: a.date(src.OrderDay), DeliveryDate: a.date(src.Delivery), NeedDate: a.date(src.Wanted),
	}
	if item.CaseMassKg > 0 {
		p.Cases = int(math.Round(src.Quantity / item.CaseMassKg))
	}
	var err error
	p.Pegs, err = a.pegs(explode.Source{Kind: explode.FromPurchase, Index: i}, src.Node, p.Mass)
	a.plan.Purchases = append(a.plan.Purchases, p)
	return err
}

// source says where an input comes from.
func (a *answer) source(src explode.Source) InputSource {
	switch src.Kind {
	case explode.FromPurchase:
		return InputSource{Purchase: a.plan.Purchases[src.Index].Name}
	case explode.FromBatch:
		return InputSource{Batch: a.batches[src.Index].Name}
	case explode.FromByProduct:
		return InputSource{Batch: a.batches[src.Index].Name, ByProduct: true}
	}
	ref := &a.supplies[src.Index]
	return InputSource{Lot: ref.lot, Delivery: ref.delivery, Purchase: ref.purchase, Batch: ref.batch, ByProduct: ref.byProduct}
}

// feedBatch fills the inputs of a batch, line by line of its formula, and says where each comes from.
func (a *answer) feedBatch(i int) error {
	batch, src := a.batches[i], &a.r.Batches[i]
	o := &a.origins[src.Node]
	if o.version != nil {
		nominalKg := float64(batch.Nominal.Mass())
		for _, in := range o.version.Ingredients {
			mass := units.Milligrams(math.Round(nominalKg * in.MassKg / o.version.BaseOutputKg * 1e6))
			step := in.Step
			if step == "" {
				step = o.version.Steps[0].ID
			}
			batch.Inputs = append(batch.Inputs, BatchInput{Item: in.Item, Mass: mass, Step: step})
		}
	} else {
		mass := units.Milligrams(math.Round(float64(batch.Nominal) / (1 - o.product.LossFraction)))
		batch.Inputs = []BatchInput{{Item: o.product.SourceItem, Mass: mass, Step: o.product.Steps[0].ID}}
	}
	uses := a.r.BatchInputs(i)
	for k := range a.nodes[src.Node].Inputs {
		if err := a.feedInput(batch, o.lines, k, uses); err != nil {
			return fmt.Errorf("sources of %s: %w", batch.Name, err)
		}
	}
	return nil
}

// feedInput deals the sources of one input out to the lines of the batch that use its item.
func (a *answer) feedInput(batch *Batch, lines []int, input int, uses []explode.Use) error {
	var total units.Milligrams
	for k, at := range lines {
		if at == input {
			total += batch.Inputs[k].Mass
		}
	}
	var sources []InputSource
	var quantities []float64
	for _, u := range uses {
		if u.Consumer.Input == input && u.Quantity > 0 {
			sources, quantities = append(sources, a.source(u.Source)), append(quantities, u.Quantity)
		}
	}
	if len(sources) == 0 {
		return fmt.Errorf("input %d has no source", input)
	}
	masses, err := apportion(total, quantities)
	if err != nil {
		return err
	}
	next := 0
	for k, at := range lines {
		if at != input {
			continue
		}
		for open := batch.Inputs[k].Mass; open > 0 && next < len(sources); {
			part := min(open, masses[next])
			if part > 0 {
				s := sources[next]
				s.Mass = part
				batch.Inputs[k].Sources = append(batch.Inputs[k].Sources, s)
			}
			open -= part
			if masses[next] -= part; masses[next] == 0 {
				next++
			}
		}
	}
	return nil
}
