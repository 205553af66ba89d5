package demo

import (
	"context"
	"fmt"
	"math"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
)

// finish records the end of a run and what it leaves: material in the vessel, packs, or the lots of the batch.
func (w *world) finish(ctx context.Context, j *job) error {
	if j.aborted || j.ended {
		return nil
	}
	if open, next := w.anybody(); !open {
		w.queue.add(next, "finish "+j.run.GetDisplayName(), func(ctx context.Context) error { return w.finish(ctx, j) })
		return nil
	}
	b := j.batch
	if j.heat != nil {
		b.steamedKg += j.heat.evaporatedKg
		if j.step.GetStep().GetKind() == planningpb.Step_REDUCE {
			b.liquidKg = b.inKg - b.steamedKg
		}
	}
	last := j.index == len(b.pb.GetSteps())-1
	out := w.weigh(b, last)
	if j.step.GetStep().GetKind() == planningpb.Step_PORTION {
		err := w.pack(ctx, j)
		if err != nil {
			return err
		}
		out.product = float64(b.packs) * w.house.items[b.pb.GetOutputItem()].GetNetMassKg()
	}
	request := &schedulingpb.FinishRunRequest{Name: j.run.GetName(), FinishTime: timestamppb.New(w.now)}
	if out.product > 0 {
		request.Outputs = []*schedulingpb.Run_Output{{Quantity: &schedulingpb.Run_Output_MassKg{MassKg: grams(out.product)}}}
	}
	if b.failed {
		request.Note = "Taken out of the chiller and put on hold; the safety lead was told."
	}
	done, err := w.here(j.cook).scheduling.FinishRun(ctx, request)
	if err != nil {
		return err
	}
	j.ended = true
	w.vacate(j, j.step.GetStep().GetKeepsVessel())
	b.next, b.lastEnd = j.index+1, w.now
	w.noteRun(j, done)
	if !last {
		return nil
	}
	b.over = true
	w.news = append(w.news, pending{batch: b.pb.GetName(), done: true})
	if b.packing() {
		return w.closePacking(ctx, j)
	}
	return w.putAway(ctx, j, out)
}

func (w *world) noteRun(j *job, done *schedulingpb.Run) {
	planned := j.run.GetPlannedEndTime().AsTime().Sub(j.run.GetPlannedStartTime().AsTime())
	w.report.Steps = append(w.report.Steps, StepDone{
		Run: j.run.GetName(), Kind: j.step.GetStep().GetKind().String(), Step: j.run.GetDisplayName(), Batch: title(j.batch), Vessel: idOf(j.run.GetVessel()),
		Planned: planned, Actual: done.GetFinishTime().AsTime().Sub(done.GetStartTime().AsTime()),
		Late: done.GetFinishTime().AsTime().Sub(j.run.GetPlannedEndTime().AsTime()), Finish: w.now, Notices: done.GetNotices(),
	})
}

// weighed is what came out of a batch, kilograms.
type weighed struct {
	product     float64
	byProducts  []float64
	spilled     float64
	evaporation float64
	solids      float64
}

// weigh is what the scale shows. Only the last step of a batch of a formula gives its product and by-products; a
// reduction gives what it boiled down to, any other formula what its yield draws.
func (w *world) weigh(b *batch, last bool) weighed {
	if b.packing() {
		return weighed{}
	}
	inside := b.inKg - b.steamedKg
	if !last {
		return weighed{product: grams(inside * (1 + w.draws.normal(fmt.Sprintf("scale of %s, step %d", b.pb.GetName(), b.next), 0, 0.003)))}
	}
	key := b.pb.GetName()
	out := weighed{evaporation: grams(b.steamedKg * w.draws.normal("steam of "+key, 1, 0.002))}
	hidden := b.inKg * w.draws.between("unexplained of "+key, -0.003, 0.006)
	if b.liquidKg > 0 {
		out.product = grams(b.liquidKg * w.draws.between("pan scrapings of "+key, 0.97, 0.99))
		out.spilled = grams(math.Max(0, b.liquidKg-out.product-hidden))
		return out
	}
	mean := b.pb.GetExpectedOutputKg() * b.scale
	spread := 0.0
	if mean > 0 {
		spread = math.Abs(b.pb.GetExpectedOutputKg()-b.pb.GetPlannedOutputKg()) / b.pb.GetExpectedOutputKg() / yieldQuantile
	}
	out.product = grams(math.Min(mean*w.draws.normal("yield of "+key, 1, spread), 0.98*inside))
	rest := inside - out.product
	for i, by := range b.pb.GetByProducts() {
		kg := grams(math.Min(by.GetMassKg()*b.scale*w.draws.normal(fmt.Sprintf("by-product %d of %s", i, key), 1, 0.03), 0.9*rest))
		out.byProducts = append(out.byProducts, kg)
		rest -= kg
	}
	out.solids = grams(math.Max(0, rest-hidden))
	return out
}

// yieldQuantile is the quantile of the normal distribution at the service level of 0.8 that the plan is made with: the
// planned output lies so many deviations below the mean.
const yieldQuantile = 0.8416

// putAway makes the lots of a cooking batch and closes its books.
func (w *world) putAway(ctx context.Context, j *job, out weighed) error {
	b := j.batch
	d := w.here(j.cook)
	id := idOf(b.pb.GetName())
	request := &inventorypb.RecordProductionRequest{
		Parent: w.site, Batch: b.pb.GetName(), Run: j.run.GetName(), ProduceTime: timestamppb.New(w.now),
		Outputs: []*inventorypb.RecordProductionRequest_Output{{
			Item: b.pb.GetOutputItem(), MassKg: out.product, Kind: inventorypb.RecordProductionRequest_Output_PRODUCT, LotId: id,
		}},
	}
	for i, by := range b.pb.GetByProducts() {
		if out.byProducts[i] > 0 {
			request.Outputs = append(request.Outputs, &inventorypb.RecordProductionRequest_Output{
				Item: by.GetItem(), MassKg: out.byProducts[i], Kind: inventorypb.RecordProductionRequest_Output_BY_PRODUCT,
				LotId: fmt.Sprintf("%s-by%d", id, i+1),
			})
		}
	}
	made, err := d.inventory.RecordProduction(ctx, request)
	if err != nil {
		return err
	}
	b.lots = made.GetLots()
	closing := &inventorypb.CloseBatchRequest{Parent: w.site, Batch: b.pb.GetName(), CloseTime: timestamppb.New(w.now)}
	for _, loss := range []*inventorypb.Loss{
		{Kind: inventorypb.Loss_EVAPORATION, MassKg: out.evaporation},
		{Kind: inventorypb.Loss_STRAINED_SOLIDS, MassKg: out.solids},
		{Kind: inventorypb.Loss_SPILL, MassKg: out.spilled},
	} {
		if loss.GetMassKg() > 0 {
			closing.Losses = append(closing.Losses, loss)
		}
	}
	balance, err := d.inventory.CloseBatch(ctx, closing)
	if err != nil {
		return err
	}
	w.noteBatch(b, out.product, balance)
	if b.failed {
		return nil // what happens to it is the safety lead's to decide
	}
	w.queue.add(w.now.Add(30*time.Minute), "release "+id, func(ctx context.Context) error { return w.release(ctx, b.lots[0].GetName()) })
	return nil
}

func (w *world) noteBatch(b *batch, product float64, balance *inventorypb.MassBalance) {
	w.report.Batches = append(w.report.Batches, BatchDone{
		Name: b.pb.GetName(), Title: title(b), Packing: b.packing(), Finish: w.now, Due: b.pb.GetDueTime().AsTime(),
		PlannedKg: b.pb.GetPlannedOutputKg(), ExpectedKg: b.pb.GetExpectedOutputKg() * b.scale, ActualKg: product,
		InputKg: balance.GetInputMassKg(), SteamKg: partOf(balance, "evaporation"), RecoveryPercent: balance.GetRecoveryPercent(),
		UnexplainedKg: balance.GetUnexplainedMassKg(), Short: b.short,
	})
	w.say("%s is done: %.1f kg of %.1f planned", title(b), product, b.pb.GetPlannedOutputKg())
}

func partOf(m *inventorypb.MassBalance, name string) float64 {
	sum := 0.0
	for _, p := range m.GetOutputs() {
		if p.GetTitle() == name {
			sum += p.GetMassKg()
		}
	}
	return sum
}

// maybeBreak lets the first kettle that a batch is begun in, once the misfortune is armed, fail while it heats.
func (w *world) maybeBreak(j *job) {
	if !w.twists.kettleArmed || w.twists.kettleDone || j.index > 0 || !w.sold(j.batch.pb.GetOutputItem()) ||
		w.house.vessels[j.run.GetVessel()].GetVesselClass() != "kettle" {
		return
	}
	if j.heat.duration < 75*time.Minute {
		return // over before anybody notices
	}
	w.twists.kettleDone = true
	w.queue.add(j.start.Add(50*time.Minute), "a kettle fails", func(ctx context.Context) error { return w.kettleFails(ctx, j) })
}

// sold says whether an item is packed into a product.
func (w *world) sold(item string) bool {
	for _, p := range w.house.products {
		if p.GetSourceItem() == item {
			return true
		}
	}
	return false
}

// kettleFails gives the run up, takes the kettle down, and schedules again; the step is repeated elsewhere with what is in
// the pot.
func (w *world) kettleFails(ctx context.Context, j *job) error {
	if j.ended || j.aborted {
		return nil
	}
	d := w.here(j.cook)
	const reason = "The steam trap of the jacket failed; no heat."
	_, err := d.scheduling.AbortRun(ctx, &schedulingpb.AbortRunRequest{Name: j.run.GetName(), Reason: reason, AbortTime: timestamppb.New(w.now)})
	if err != nil {
		return err
	}
	j.aborted = true
	w.vacate(j, false)
	vessel := j.run.GetVessel()
	repaired := w.now.Add(20 * time.Hour)
	_, err = d.scheduling.TakeVesselDown(ctx, &schedulingpb.TakeVesselDownRequest{
		Name: vessel, Reason: reason, StartTime: timestamppb.New(w.now), EndTime: timestamppb.New(repaired),
	})
	if err != nil {
		return err
	}
	w.vessels[vessel].down = true
	name := w.house.vessels[vessel].GetDisplayName()
	w.report.Failures = append(w.report.Failures, Failure{Time: w.now, Vessel: name, Run: j.run.GetName(), Reason: reason})
	w.say("%s fails during %s", name, title(j.batch))
	w.queue.add(w.now.Add(17*time.Hour), name+" is repaired", func(ctx context.Context) error {
		_, err := w.here(manager).scheduling.BringVesselUp(ctx, &schedulingpb.BringVesselUpRequest{Name: vessel, UpTime: timestamppb.New(w.now)})
		if err != nil {
			return err
		}
		w.vessels[vessel].down = false
		w.report.Failures[len(w.report.Failures)-1].Repaired = w.now
		w.say("%s works again", name)
		return nil
	})
	return w.solve(ctx, name+" failed")
}
