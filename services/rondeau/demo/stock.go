package demo

import (
	"context"
	"fmt"
	"math"
	"sort"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
)

// Shares of the planned inputs at which a batch is made all the same (chosen, no source).
const (
	nearlyAll = 0.985
	worthIt   = 0.40
)

// gather keeps the inputs of a batch that is about to begin. It says what it waits for, or that the batch is given up.
func (w *world) gather(ctx context.Context, b *batch) (why string, gone bool, err error) {
	need := map[string]float64{}
	for _, in := range b.pb.GetInputs() {
		if w.house.items[in.GetItem()].GetKind() != inventorypb.Item_UTILITY {
			need[in.GetItem()] += in.GetMassKg()
		}
	}
	free, err := w.free(ctx, sortedKeys(need))
	if err != nil {
		return "", false, err
	}
	share, scarce := 1.0, ""
	for _, item := range sortedKeys(need) {
		if got := free[item] / need[item]; got < share {
			share, scarce = got, item
		}
	}
	if share < nearlyAll {
		if source := w.comes(b, scarce); source != "" {
			return fmt.Sprintf("%s is not there yet: %s", w.title(scarce), source), false, nil
		}
		if share < worthIt || w.packs(b, share) == 0 {
			return "", true, w.giveUp(ctx, b, scarce, free[scarce], need[scarce])
		}
		b.short = fmt.Sprintf("%.1f of %.1f kg %s", free[scarce], need[scarce], w.title(scarce))
		w.say("%s is made smaller: %s", title(b), b.short)
	}
	b.scale = math.Min(share, 1)
	if b.packing() {
		b.packs = w.packs(b, b.scale)
	}
	return "", false, w.reserve(ctx, b, need, free)
}

// packs is how many packs a batch can fill with a share of its input.
func (w *world) packs(b *batch, share float64) int32 {
	if !b.packing() {
		return 1
	}
	return int32(math.Floor(float64(b.pb.GetContainerCount())*share + 1e-6))
}

// reserve keeps the inputs of all steps of a batch.
func (w *world) reserve(ctx context.Context, b *batch, need, free map[string]float64) error {
	request := &inventorypb.ReserveStockRequest{Parent: w.site, Batch: b.pb.GetName()}
	for _, item := range sortedKeys(need) {
		kg := grams(need[item] * b.scale)
		if kg > free[item] {
			kg = math.Floor(free[item]*1000) / 1000
		}
		if kg <= 0 {
			continue
		}
		b.reserved[item] = kg
		request.Items = append(request.Items, &inventorypb.ItemMass{Item: item, MassKg: kg})
	}
	if len(request.Items) == 0 {
		return nil
	}
	kept, err := w.here(manager).inventory.ReserveStock(ctx, request)
	b.kept = kept
	return err
}

// free is what there is of items that anybody may take, kilograms.
func (w *world) free(ctx context.Context, items []string) (map[string]float64, error) {
	out := map[string]float64{}
	if len(items) == 0 {
		return out, nil
	}
	stock, err := w.here(manager).inventory.SummarizeStock(ctx, &inventorypb.SummarizeStockRequest{Parent: w.site, Items: items})
	if err != nil {
		return nil, err
	}
	for _, s := range stock.GetItems() {
		out[s.GetItem()] = s.GetFreeMassKg()
	}
	return out, nil
}

// comes says where an item that a batch waits for will come from, "" when nothing more is on the way.
func (w *world) comes(b *batch, item string) string {
	for _, in := range b.pb.GetInputs() {
		if in.GetItem() != item {
			continue
		}
		for _, s := range in.GetSources() {
			source := w.batches[s.GetBatch()]
			if source != nil && !source.over && !source.cancelled && !source.failed {
				return title(source) + " is not done"
			}
		}
	}
	for _, other := range w.ordered {
		if other.started && !other.over && other.pb.GetOutputItem() == item {
			return title(other) + " is in progress"
		}
	}
	// A delivery of today may still be on the road.
	if w.house.items[item].GetKind() == inventorypb.Item_PURCHASED && w.now.Before(w.localHour(8)) {
		return "deliveries of today are not in"
	}
	return ""
}

// localHour is an hour of the present day.
func (w *world) localHour(hour int) time.Time {
	local := w.now.In(w.zone)
	return time.Date(local.Year(), local.Month(), local.Day(), hour, 0, 0, 0, w.zone)
}

// giveUp cancels a batch for which there is too little. What it was for shows as short, and the next plan counts anew.
func (w *world) giveUp(ctx context.Context, b *batch, item string, have, want float64) error {
	reason := fmt.Sprintf("%.1f of %.1f kg %s in stock and nothing on the way", have, want, w.title(item))
	_, err := w.here(manager).planning.CancelBatch(ctx, &planningpb.CancelBatchRequest{Name: b.pb.GetName(), Reason: reason})
	if err != nil {
		return err
	}
	b.cancelled, b.short = true, reason
	w.say("%s is given up: %s", title(b), reason)
	w.report.GivenUp = append(w.report.GivenUp, title(b)+": "+reason)
	return nil
}

// consume puts the inputs of a step into the batch, unless an earlier try of the step did.
func (w *world) consume(ctx context.Context, j *job) error {
	b, id := j.batch, j.step.GetStep().GetStepId()
	if b.consumed[id] || j.step.GetStep().GetKind() == planningpb.Step_PORTION {
		return nil // packing takes its bulk itself
	}
	b.consumed[id] = true
	request := &inventorypb.ConsumeStockRequest{Parent: w.site, Batch: b.pb.GetName(), Run: j.run.GetName(), MoveTime: timestamppb.New(w.now)}
	for _, in := range b.inputsAt(j.index) {
		kg := grams(in.GetMassKg() * b.scale)
		if w.house.items[in.GetItem()].GetKind() != inventorypb.Item_UTILITY {
			kg = math.Min(kg, b.reserved[in.GetItem()])
			b.reserved[in.GetItem()] -= kg
		}
		if kg <= 0 {
			continue
		}
		request.Inputs = append(request.Inputs, &inventorypb.ConsumeStockRequest_Input{Item: in.GetItem(), MassKg: grams(kg)})
		b.inKg += grams(kg)
	}
	if len(request.Inputs) == 0 {
		return nil
	}
	_, err := w.here(j.cook).inventory.ConsumeStock(ctx, request)
	return err
}

// expectedOut is the mass that a batch is planned to give, by-products included, at its real size.
func (w *world) expectedOut(b *batch) float64 {
	sum := b.pb.GetExpectedOutputKg()
	for _, by := range b.pb.GetByProducts() {
		sum += by.GetMassKg()
	}
	return sum * b.scale
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
