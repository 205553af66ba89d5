package explode

import (
	"cmp"
	"slices"
)

// Inventory returns the projected usable stock of a node at the end of a day, with batches at their
// planned yield.
func (r *Result) Inventory(node, day int) float64 { return r.inventory[node*r.p.Days+day] }

// Balance returns the account of a node over the horizon.
func (r *Result) Balance(node int) Balance { return r.balances[node] }

// supplyOf returns the internal supply of a source.
func (r *Result) supplyOf(src Source) int32 {
	if src.Kind == FromByProduct {
		return r.byProducts[src.Index][src.ByProduct]
	}
	return r.sourceOf[src.Kind][src.Index]
}

// Quantity returns how much a source brings: the whole supply, purchase, planned output or by-product.
func (r *Result) Quantity(src Source) float64 { return r.supplies[r.supplyOf(src)].qty }

// Uses returns who uses a source, in order of day. Consumers of kind ToDemand name buckets. What
// remains is in Leftovers, so that for every source uses and leftover sum to its Quantity.
func (r *Result) Uses(src Source) []Use {
	return r.uses(r.allocOfSupply.row(int(r.supplyOf(src))))
}

// BatchInputs returns what a batch consumes, input by input.
func (r *Result) BatchInputs(batch int) []Use {
	var out []Use
	for _, ni := range r.inputNeeds[batch] {
		out = append(out, r.uses(r.allocOfNeed.row(int(ni)))...)
	}
	return out
}

// BucketSources returns where the quantity of a bucket comes from, in order of day.
func (r *Result) BucketSources(bucket int) []Use {
	ni := r.bucketNeed[bucket]
	if ni < 0 {
		return nil
	}
	return r.uses(r.allocOfNeed.row(int(ni)))
}

func (r *Result) uses(row []int32) []Use {
	out := make([]Use, 0, len(row))
	for _, ai := range row {
		a := &r.allocs[ai]
		if a.used == 0 {
			continue
		}
		out = append(out, Use{
			Source: r.supplies[a.supply].src, Consumer: r.needs[a.need].to, Quantity: a.used, Day: int(r.useDay(a)),
		})
	}
	slices.SortStableFunc(out, func(a, b Use) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Source.Kind, b.Source.Kind),
			cmp.Compare(a.Source.Index, b.Source.Index))
	})
	return out
}

// Bucket returns the bucket of a demand: demands of one node, day and kind are
// planned together and share one.
func (r *Result) Bucket(demand int) int { return r.p.bucket(&r.p.Demands[demand]) }

// Demands returns the demands of a bucket in the order in which they are
// served: by priority, then by ID, then as given.
func (r *Result) Demands(bucket int) []int {
	row := r.members.row(bucket)
	out := make([]int, len(row))
	for i, d := range row {
		out[i] = int(d)
	}
	slices.SortFunc(out, func(a, b int) int {
		x, y := &r.p.Demands[a], &r.p.Demands[b]
		return cmp.Or(cmp.Compare(x.Priority, y.Priority), cmp.Compare(x.ID, y.ID), cmp.Compare(a, b))
	})
	return out
}

// Detail returns the pegs of every demand of a bucket, in the order of Demands. Consumers name
// demands. The first demands get the earliest supply.
func (r *Result) Detail(bucket int) []Use {
	uses := r.BucketSources(bucket)
	var out []Use
	for _, d := range r.Demands(bucket) {
		open := r.p.Demands[d].Quantity
		tiny := relTol * open
		for len(uses) > 0 && open > tiny {
			u := uses[0]
			u.Consumer = Consumer{Kind: ToDemand, Index: d}
			u.Quantity = min(open, uses[0].Quantity)
			open -= u.Quantity
			uses[0].Quantity -= u.Quantity
			if uses[0].Quantity <= tiny {
				uses = uses[1:]
			}
			out = append(out, u)
		}
	}
	return out
}

// DemandSources returns where the quantity of one demand comes from. It costs the expansion of
// the demand's whole bucket; use Detail to read many.
func (r *Result) DemandSources(demand int) []Use {
	return slices.DeleteFunc(r.Detail(r.Bucket(demand)), func(u Use) bool { return u.Consumer.Index != demand })
}

// ShortDemands returns how much each demand of a bucket lacks on its due day, late or for
// good; demands served in full and on time are left out.
func (r *Result) ShortDemands(bucket int) []Share {
	onTime := 0.0
	day := bucket / demandKinds % r.p.Days
	for _, u := range r.BucketSources(bucket) {
		if u.Day <= day {
			onTime += u.Quantity
		}
	}
	var out []Share
	for _, d := range r.Demands(bucket) {
		q := r.p.Demands[d].Quantity
		served := min(q, onTime)
		onTime -= served
		if short := q - served; short > 2*relTol*q {
			out = append(out, Share{Demand: d, Quantity: short})
		}
	}
	return out
}

// BucketShare is a part of a source's quantity that ends in a bucket of demands.
type BucketShare struct {
	Bucket   int
	Quantity float64 // in the unit of the source
}

// EndDemands follows a source through all batches it goes into to the demands that it finally serves. Each
// batch's output is shared among its uses in proportion. Quantities are in the unit of the source; what does
// not end in a demand (surplus, level, by-products' own way, expired) is the second result, so that
// the shares and it sum to the source's Quantity. Buckets are in ascending order.
func (r *Result) EndDemands(src Source) ([]BucketShare, float64) {
	at := map[int]float64{}
	whole := r.supplyOf(src)
	rest := 0.0
	into := make([]float64, len(r.Batches)) // what of the source goes into each batch
	follow := func(si int32, q float64) {
		total := r.supplies[si].qty
		left := q
		for _, ai := range r.allocOfSupply.row(int(si)) {
			a := &r.allocs[ai]
			if a.used == 0 {
				continue
			}
			part := q * a.used / total
			left -= part
			if to := r.needs[a.need].to; to.Kind == ToDemand {
				at[to.Index] += part
			} else {
				into[to.Index] += part
			}
		}
		rest += left
	}
	follow(whole, r.supplies[whole].qty)
	// Batches are in order of low-level code, so what a batch goes into stands before it.
	for b, q := range slices.Backward(into) {
		if q > 0 {
			follow(r.sourceOf[FromBatch][b], q)
		}
	}
	out := make([]BucketShare, 0, len(at))
	for b, q := range at {
		out = append(out, BucketShare{b, q})
	}
	slices.SortFunc(out, func(a, b BucketShare) int { return cmp.Compare(a.Bucket, b.Bucket) })
	if rest < relTol*r.supplies[whole].qty {
		rest = 0
	}
	return out, rest
}
