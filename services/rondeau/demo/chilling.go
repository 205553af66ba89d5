package demo

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
)

// chilling is a chill under way.
type chilling struct {
	job    *job
	name   string
	probe  string
	offset float64
	target float64
	curve  []float64
	wrong  *trouble
	sent   int  // readings sent
	cold   int  // readings in a row at or below the target
	over   bool // cold, or failed: the probe has nothing more to tell
}

// gatewayPeriod is how often the probes' gateway sends what it has read.
const gatewayPeriod = 2 * samplePeriod

// startChill begins to watch a chill with the probe of its vessel. Readings are taken every five minutes.
func (w *world) startChill(ctx context.Context, j *job) error {
	m := j.step.GetStep().GetChill()
	hot := 90.0
	if m.StartTemperatureCelsius != nil {
		hot = m.GetStartTemperatureCelsius()
	}
	hot += w.draws.between("heat at the chill of "+j.run.GetName(), -2, 3)
	mass := max(j.batch.inKg-j.batch.steamedKg, 1)
	if load := j.step.GetLoadKg() * j.batch.scale; load > 0 {
		mass = load
	}
	vessel := w.house.vessels[j.run.GetVessel()]
	curve, wrong, err := w.nature.cooling(vessel, j.run.GetName(), mass, m.GetDepthMeters(), hot, w.goesWrong(j))
	if err != nil {
		return err
	}
	started, err := w.here(j.cook).foodsafety.StartChill(ctx, &foodsafetypb.StartChillRequest{Parent: w.site, Chill: &foodsafetypb.Chill{
		DisplayName: title(j.batch), Batch: j.batch.pb.GetName(), Run: j.run.GetName(), Vessel: j.run.GetVessel(),
		LimitsProfile: j.step.GetStep().GetLimitsProfile(), StartTime: timestamppb.New(w.now),
	}})
	if err != nil {
		return err
	}
	c := &chilling{job: j, name: started.GetName(), target: m.GetTargetTemperatureCelsius(), curve: curve, wrong: wrong}
	if len(started.GetProbes()) > 0 {
		probe, err := w.here(j.cook).foodsafety.GetProbe(ctx, &foodsafetypb.GetProbeRequest{Name: started.GetProbes()[0]})
		if err != nil {
			return err
		}
		c.probe, c.offset = probe.GetName(), probe.GetCalibrationOffsetKelvins()
	}
	_, err = w.here(j.cook).foodsafety.RecordReading(ctx, &foodsafetypb.RecordReadingRequest{Parent: c.name, Reading: w.reading(c, 0)})
	if err != nil {
		return err
	}
	c.sent = 1
	w.report.Readings++
	w.chills = append(w.chills, c)
	if w.active() == 1 {
		w.queue.add(w.now.Add(gatewayPeriod), "probe readings", w.gateway)
	}
	return nil
}

// goesWrong says whether this is the chill that goes wrong: the first one, once armed, that ends its batch and whose
// material was to be packed.
func (w *world) goesWrong(j *job) bool {
	if !w.twists.chillArmed || w.twists.chillDone || j.index != len(j.batch.pb.GetSteps())-1 {
		return false
	}
	w.twists.chillDone = w.sold(j.batch.pb.GetOutputItem())
	return w.twists.chillDone
}

func (w *world) active() int {
	n := 0
	for _, c := range w.chills {
		if !c.over {
			n++
		}
	}
	return n
}

// reading is what the probe shows at its n-th look.
func (w *world) reading(c *chilling, n int) *foodsafetypb.Reading {
	at := c.job.start.Add(time.Duration(n) * samplePeriod)
	true := c.curve[min(n, len(c.curve)-1)]
	shown := true - c.offset + w.draws.normal(fmt.Sprintf("reading %d of %s", n, c.job.run.GetName()), 0, 0.1)
	return &foodsafetypb.Reading{Chill: c.name, Probe: c.probe, ObserveTime: timestamppb.New(at), TemperatureCelsius: tenth(shown)}
}

// gateway sends what the probes have read since it last did, all chills in one stream, and looks what became of them.
func (w *world) gateway(ctx context.Context) error {
	var readings []*foodsafetypb.Reading
	var live []*chilling
	var last *job
	for _, c := range w.chills {
		if c.over {
			continue
		}
		live = append(live, c)
		last = c.job
		for ; !c.job.start.Add(time.Duration(c.sent) * samplePeriod).After(w.now); c.sent++ {
			r := w.reading(c, c.sent)
			readings = append(readings, r)
			if r.GetTemperatureCelsius()+c.offset <= c.target {
				c.cold++
			} else {
				c.cold = 0
			}
		}
	}
	if len(live) == 0 {
		return nil
	}
	answer, err := w.stream(ctx, w.here(last.cook), readings)
	if err != nil {
		return err
	}
	w.report.Readings += len(readings)
	for _, c := range live {
		failed := false
		for _, name := range answer.GetFailedChills() {
			failed = failed || name == c.name
		}
		switch {
		case failed:
			err = w.chillFailed(ctx, c)
		case c.cold >= 2:
			err = w.chillPassed(ctx, c)
		}
		if err != nil {
			return err
		}
	}
	if w.active() > 0 {
		w.queue.add(w.now.Add(gatewayPeriod), "probe readings", w.gateway)
	}
	return nil
}

// stream sends readings, and sends the whole again when the stream broke: what was stored already is ignored.
func (w *world) stream(ctx context.Context, d *desk, readings []*foodsafetypb.Reading) (*foodsafetypb.StreamReadingsResponse, error) {
	var answer *foodsafetypb.StreamReadingsResponse
	err := w.calls.insist(ctx, "StreamReadings", func() error {
		stream, err := d.foodsafety.StreamReadings(ctx)
		if err != nil {
			return err
		}
		err = stream.Send(&foodsafetypb.StreamReadingsRequest{Parent: w.site, Readings: readings})
		if err != nil {
			_, answered := stream.CloseAndRecv() // the reason comes with the answer
			return errors.Join(answered, err)
		}
		answer, err = stream.CloseAndRecv()
		return err
	})
	if err != nil {
		return nil, err
	}
	if answer.GetRefusedCount() > 0 {
		r := answer.GetRefusals()[0]
		return nil, fmt.Errorf("%d readings were refused, the first because of %s: %s", answer.GetRefusedCount(), r.GetReason(), r.GetMessage())
	}
	return answer, nil
}

// chillPassed finishes a chill that is cold, as soon as somebody is there.
func (w *world) chillPassed(ctx context.Context, c *chilling) error {
	c.over = true
	if open, next := w.anybody(); !open {
		w.queue.add(next, "finish a chill of the night", func(ctx context.Context) error { return w.chillPassed(ctx, c) })
		return nil
	}
	done, err := w.here(c.job.cook).foodsafety.FinishChill(ctx, &foodsafetypb.FinishChillRequest{Name: c.name, FinishTime: timestamppb.New(w.now)})
	if err != nil {
		return err
	}
	w.noteChill(c, done)
	return w.finish(ctx, c.job)
}

func (w *world) noteChill(c *chilling, done *foodsafetypb.Chill) {
	note := ChillDone{
		Chill: done.GetName(), Title: title(c.job.batch), Vessel: idOf(c.job.run.GetVessel()), State: done.GetState().String(),
		Readings: int(done.GetReadingCount()), Deviation: done.GetDeviation(),
	}
	if c.wrong != nil {
		note.Cause = c.wrong.words
	}
	for _, s := range done.GetJudgement().GetStages() {
		note.Stages = append(note.Stages, ChillStage{
			Limit: s.GetLimitText(), Verdict: s.GetVerdict().String(), Took: s.GetElapsedDuration().AsDuration(),
			Margin: s.GetWithinDuration().AsDuration() - s.GetElapsedDuration().AsDuration(),
		})
	}
	for _, text := range done.GetCautions() {
		w.report.caution(text)
	}
	w.report.Chills = append(w.report.Chills, note)
}

// chillFailed takes the food out. Food safety has opened a deviation and placed a hold by itself.
func (w *world) chillFailed(ctx context.Context, c *chilling) error {
	c.over = true
	if open, next := w.anybody(); !open { // the hold stands; the food is taken out when somebody comes
		w.queue.add(next, "take a failed chill out", func(ctx context.Context) error { return w.chillFailed(ctx, c) })
		return nil
	}
	d := w.here(c.job.cook)
	done, err := d.foodsafety.FinishChill(ctx, &foodsafetypb.FinishChillRequest{Name: c.name, FinishTime: timestamppb.New(w.now)})
	if err != nil {
		return err
	}
	b := c.job.batch
	b.failed = true
	w.noteChill(c, done)
	w.say("the chill of %s missed a limit: %s", title(b), done.GetJudgement().GetSummary())
	// The news of the hold must be in inventory before the lot is made, so that it is born held.
	err = w.finish(ctx, c.job)
	if err != nil {
		return err
	}
	lot := b.lots[0].GetName()
	err = arrive(ctx, "the hold on "+lot, func(ctx context.Context) (string, error) {
		l, err := d.inventory.GetLot(ctx, &inventorypb.GetLotRequest{Name: lot})
		if err != nil {
			return "", err
		}
		if !l.GetHeld() {
			return "inventory does not hold it", nil
		}
		return "", nil
	})
	if err != nil {
		return err
	}
	err = w.useHeld(ctx, c, lot)
	if err != nil {
		return err
	}
	w.queue.add(w.now.Add(20*time.Minute), "decide about the failed chill", func(ctx context.Context) error {
		return w.discard(ctx, done.GetDeviation(), b)
	})
	return nil
}

// useHeld tries to put the held lot into a batch that would take it.
func (w *world) useHeld(ctx context.Context, c *chilling, lot string) error {
	item := c.job.batch.pb.GetOutputItem()
	taker := c.job.batch.pb.GetName() + "-taker"
	for _, b := range w.ordered {
		if !b.started && !b.cancelled && !b.over && uses(b.pb, item) {
			taker = b.pb.GetName()
			break
		}
	}
	_, err := w.here(c.job.cook).inventory.ConsumeStock(ctx, &inventorypb.ConsumeStockRequest{
		Parent: w.site, Batch: taker, Inputs: []*inventorypb.ConsumeStockRequest_Input{{Item: item, MassKg: 1, Lot: lot}},
	})
	return w.refused("use of the held lot "+idOf(lot)+" in another batch", "LOT_HELD", err)
}

func uses(b *planningpb.Batch, item string) bool {
	for _, in := range b.GetInputs() {
		if in.GetItem() == item {
			return true
		}
	}
	return false
}
