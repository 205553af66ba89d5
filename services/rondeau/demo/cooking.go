package demo

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/auth"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/simmer"
)

// batch is a batch as it really is.
type batch struct {
	pb        *planningpb.Batch
	started   bool
	over      bool // its last step is finished, or it was given up
	cancelled bool
	failed    bool // its chill missed a limit
	next      int  // index of the first step that is not finished
	scale     float64
	reserved  map[string]float64 // what is kept for it, kilograms by item
	consumed  map[string]bool    // steps whose inputs went in
	inKg      float64
	steamedKg float64
	liquidKg  float64 // what is in the vessel after a reduction
	lastEnd   time.Time
	lots      []*inventorypb.Lot
	kept      *inventorypb.Reservation
	packs     int32
	leftKg    float64 // bulk that stayed in the filler
	short     string
}

func newBatch(pb *planningpb.Batch) *batch {
	return &batch{pb: pb, scale: 1, reserved: map[string]float64{}, consumed: map[string]bool{}}
}

func (b *batch) packing() bool { return b.pb.GetProduct() != "" }

func (b *batch) step(id string) (int, *planningpb.BatchStep) {
	for i, s := range b.pb.GetSteps() {
		if s.GetStep().GetStepId() == id {
			return i, s
		}
	}
	return -1, nil
}

// inputsAt are the inputs that go in at a step.
func (b *batch) inputsAt(index int) []*planningpb.BatchInput {
	var out []*planningpb.BatchInput
	for _, in := range b.pb.GetInputs() {
		at, _ := b.step(in.GetStepId())
		if max(at, 0) == index {
			out = append(out, in)
		}
	}
	return out
}

// job is a run that has started.
type job struct {
	run     *schedulingpb.Run
	batch   *batch
	index   int
	step    *planningpb.BatchStep
	cook    auth.Principal
	start   time.Time
	heat    *heating
	aborted bool
	ended   bool
	told    time.Time // finish of which the manager was told last
}

// occupancy is what is in a vessel.
type occupancy struct {
	shared   bool
	capacity float64
	run      string             // of a vessel that carries one run at a time
	kept     string             // batch whose material waits in it for the next step
	loads    map[string]float64 // of a shared vessel, kilograms by run
	down     bool
}

func (o *occupancy) load() float64 {
	sum := 0.0
	for _, kg := range o.loads {
		sum += kg
	}
	return sum
}

const retryStart = 5 * time.Minute

// tryStart starts a planned run, or says what it waits for and looks again later.
func (w *world) tryStart(ctx context.Context, run *schedulingpb.Run, epoch int) error {
	b := w.batches[run.GetBatch()]
	if b == nil || b.cancelled || b.over {
		return nil
	}
	index, step := b.step(run.GetStepId())
	if step == nil || index < b.next {
		return nil
	}
	why, again := w.obstacle(b, index, step, run)
	if why == "" && !b.started {
		var err error
		var gone bool
		why, gone, err = w.gather(ctx, b)
		if err != nil || gone {
			return err
		}
		again = w.now.Add(3 * retryStart)
	}
	if why == "" {
		return w.begin(ctx, run, b, index, step)
	}
	w.expectStart(run, epoch, again)
	return w.delayed(ctx, run, why)
}

// obstacle says what a run waits for, "" when it can start, and when to look again.
func (w *world) obstacle(b *batch, index int, step *planningpb.BatchStep, run *schedulingpb.Run) (string, time.Time) {
	soon := w.now.Add(retryStart)
	if index > b.next {
		return "the step before is not finished", soon
	}
	if index > 0 {
		ready := b.lastEnd.Add(b.pb.GetSteps()[index-1].GetStep().GetMinWaitDuration().AsDuration())
		if ready.After(w.now) {
			return "it must rest", ready
		}
	}
	for _, name := range append([]string{run.GetVessel()}, run.GetAdditionalVessels()...) {
		o := w.vessels[name]
		if o == nil {
			continue
		}
		vessel := w.house.vessels[name].GetDisplayName()
		switch {
		case o.down:
			return vessel + " is down", soon
		case o.shared && o.load()+step.GetLoadKg() > o.capacity*1.000001:
			return vessel + " is full", soon
		case !o.shared && o.run != "":
			return vessel + " is in use", soon
		case !o.shared && o.kept != "" && o.kept != run.GetBatch():
			return vessel + " still holds another batch", soon
		}
	}
	if run.GetCrew() != "" {
		if open, next := w.anybody(); !open {
			return "nobody is there", next
		}
	}
	return "", time.Time{}
}

// delayed tells the manager of a run that starts late, once for each cause.
func (w *world) delayed(ctx context.Context, run *schedulingpb.Run, why string) error {
	if w.now.Sub(run.GetPlannedStartTime().AsTime()) < delayLimit {
		return nil
	}
	key := run.GetName() + " " + why
	if _, told := w.late[key]; told {
		return nil
	}
	w.late[key] = w.now
	return w.ask(ctx, fmt.Sprintf("%s of %s could not start: %s", run.GetDisplayName(), title(w.batches[run.GetBatch()]), why))
}

// title is how people call a batch.
func title(b *batch) string { return b.pb.GetDisplayName() }

// begin records the start, puts the step's inputs in, and lets nature run.
func (w *world) begin(ctx context.Context, run *schedulingpb.Run, b *batch, index int, step *planningpb.BatchStep) error {
	crew := run.GetCrew()
	if open, _ := w.onShift(crew, w.now); !open || crew == "" {
		for _, c := range w.house.crews {
			if open, _ := w.onShift(c.GetName(), w.now); open {
				crew = c.GetName()
			}
		}
	}
	j := &job{batch: b, index: index, step: step, cook: w.cook(crew), start: w.now}
	d := w.here(j.cook)
	started, err := d.scheduling.StartRun(ctx, &schedulingpb.StartRunRequest{Name: run.GetName(), StartTime: timestamppb.New(w.now)})
	if err != nil {
		return err
	}
	j.run = started
	w.occupy(j)
	w.runs[run.GetName()] = j
	if !b.started {
		b.started = true
		w.news = append(w.news, pending{batch: b.pb.GetName(), started: true})
	}
	err = w.consume(ctx, j)
	if err != nil {
		return err
	}
	w.report.Runs++
	return w.work(ctx, j)
}

func (w *world) occupy(j *job) {
	for _, o := range w.vessels {
		if o.kept == j.batch.pb.GetName() {
			o.kept = ""
		}
	}
	for _, name := range append([]string{j.run.GetVessel()}, j.run.GetAdditionalVessels()...) {
		o := w.vessels[name]
		switch {
		case o == nil:
		case o.shared:
			o.loads[j.run.GetName()] = j.step.GetLoadKg()
		default:
			o.run = j.run.GetName()
		}
	}
}

func (w *world) vacate(j *job, keep bool) {
	for i, name := range append([]string{j.run.GetVessel()}, j.run.GetAdditionalVessels()...) {
		o := w.vessels[name]
		switch {
		case o == nil:
		case o.shared:
			delete(o.loads, j.run.GetName())
		default:
			o.run = ""
			if keep && i == 0 {
				o.kept = j.batch.pb.GetName()
			}
		}
	}
}

// work lets a run take its real course.
func (w *world) work(ctx context.Context, j *job) error {
	s := j.step.GetStep()
	key := j.run.GetName()
	planned := j.run.GetPlannedEndTime().AsTime().Sub(j.run.GetPlannedStartTime().AsTime())
	if known := j.step.GetPlannedDuration().AsDuration(); s.GetKind() == planningpb.Step_FREEZE && known > 0 {
		planned = min(planned, known) // a plan may wait for the crew with the end
	}
	switch s.GetKind() {
	case planningpb.Step_CHILL:
		return w.startChill(ctx, j)
	case planningpb.Step_SIMMER:
		return w.startSimmer(j)
	case planningpb.Step_REDUCE:
		return w.startReduce(j)
	}
	took := time.Duration(float64(planned) * w.draws.normal("time of "+key, 1.01, 0.05)).Round(time.Minute)
	w.queue.add(w.now.Add(max(took, time.Minute)), "finish "+j.run.GetDisplayName(), func(ctx context.Context) error { return w.finish(ctx, j) })
	return nil
}

// startSimmer computes the simmer, and expects the moments at which somebody looks.
func (w *world) startSimmer(j *job) error {
	m := j.step.GetStep().GetSimmer()
	vessel := w.house.vessels[j.run.GetVessel()]
	start, target := 10.0, 96.0
	if m.StartTemperatureCelsius != nil {
		start = m.GetStartTemperatureCelsius()
	}
	if m.TargetTemperatureCelsius != nil {
		target = m.GetTargetTemperatureCelsius()
	}
	inside := j.batch.inKg - j.batch.steamedKg
	// The lid is on for as much as the formula's yield allows to steam off.
	spare := inside - w.expectedOut(j.batch)
	var h heating
	var err error
	for _, cover := range []float64{0.3, 0.7, 0.95} {
		h, err = w.nature.simmer(vessel, inside, start, target, m.GetHoldDuration().AsDuration(), cover)
		if errors.Is(err, simmer.ErrDry) {
			continue // a thin layer in a wide pan: the cook closes the lid further
		}
		if err != nil || h.evaporatedKg < 0.6*spare {
			break
		}
	}
	if err != nil {
		return err
	}
	h.evaporatedKg = math.Max(0, math.Min(h.evaporatedKg, 0.9*spare))
	j.heat = &h
	if h.reached > 0 {
		w.look(j, h.reached, w.temperature)
	}
	if h.duration > 3*time.Hour {
		w.look(j, h.duration/2, w.temperature)
	}
	w.expectFinish(j, h.duration)
	w.maybeBreak(j)
	return nil
}

// startReduce computes the reduction, and expects measurements every 45 minutes.
func (w *world) startReduce(j *job) error {
	m := j.step.GetStep().GetReduce()
	vessel := w.house.vessels[j.run.GetVessel()]
	start := 4.0
	if m.StartTemperatureCelsius != nil {
		start = m.GetStartTemperatureCelsius()
	}
	inside := j.batch.inKg - j.batch.steamedKg
	stop := inside * m.GetTargetMassFraction()
	if m.GetTargetBrix() > 0 {
		stop = inside * 100 * brothSolids / m.GetTargetBrix()
	}
	stop *= w.draws.normal("end of "+j.run.GetName(), 1, 0.02)
	h, err := w.nature.reduce(vessel, inside, start, stop)
	if err != nil {
		return err
	}
	j.heat = &h
	kinds := []func(context.Context, *job, sample) error{w.level, w.brix, w.weight}
	for i := 0; ; i++ {
		after := h.reached + 20*time.Minute + time.Duration(i)*45*time.Minute
		if after >= h.duration-10*time.Minute {
			break
		}
		w.look(j, after, kinds[i%len(kinds)])
	}
	w.expectFinish(j, h.duration)
	return nil
}

func (w *world) expectFinish(j *job, after time.Duration) {
	w.queue.add(j.start.Add(after), "finish "+j.run.GetDisplayName(), func(ctx context.Context) error { return w.finish(ctx, j) })
}

// look lets the cook measure at a moment of a heated run and tell the manager when the forecast moved.
func (w *world) look(j *job, after time.Duration, measure func(context.Context, *job, sample) error) {
	w.queue.add(j.start.Add(after), "measure "+j.run.GetDisplayName(), func(ctx context.Context) error {
		if j.aborted || j.ended {
			return nil
		}
		err := measure(ctx, j, j.heat.at(after))
		if err != nil {
			return err
		}
		return w.watch(ctx, j)
	})
}

// watch asks for a new schedule when a run is forecast to end much later than planned.
func (w *world) watch(ctx context.Context, j *job) error {
	f, err := w.here(j.cook).scheduling.ForecastRun(ctx, &schedulingpb.ForecastRunRequest{Name: j.run.GetName()})
	if err != nil {
		return err
	}
	expected := f.GetExpectedFinishTime().AsTime()
	if j.told.IsZero() {
		j.told = j.run.GetPlannedEndTime().AsTime()
	}
	w.report.Forecasts = append(w.report.Forecasts, Forecast{
		Run: j.run.GetName(), Made: w.now, Expected: expected, Early: f.GetEarliestFinishTime().AsTime(), Late: f.GetLatestFinishTime().AsTime(),
		Covered: f.GetCoverage() > 0,
	})
	if expected.Sub(j.told) < delayLimit {
		return nil
	}
	by := expected.Sub(j.run.GetPlannedEndTime().AsTime()).Round(time.Minute)
	j.told = expected
	return w.ask(ctx, fmt.Sprintf("%s of %s will end %s later than planned", j.run.GetDisplayName(), title(j.batch), short(by)))
}

func (w *world) measured(ctx context.Context, j *job, m *schedulingpb.Measurement) error {
	m.ObserveTime, m.Operator = timestamppb.New(w.now), j.cook.Subject
	_, err := w.here(j.cook).scheduling.RecordMeasurement(ctx, &schedulingpb.RecordMeasurementRequest{Parent: j.run.GetName(), Measurement: m})
	w.report.Measurements++
	return err
}

func (w *world) noise(j *job, what string, deviation float64) float64 {
	return w.draws.normal(fmt.Sprintf("%s of %s at %d", what, j.run.GetName(), w.now.Unix()), 0, deviation)
}

func (w *world) temperature(ctx context.Context, j *job, s sample) error {
	return w.measured(ctx, j, &schedulingpb.Measurement{Value: &schedulingpb.Measurement_TemperatureCelsius{
		TemperatureCelsius: tenth(s.celsius + w.noise(j, "thermometer", 0.2)),
	}})
}

func (w *world) level(ctx context.Context, j *job, s sample) error {
	return w.measured(ctx, j, &schedulingpb.Measurement{Value: &schedulingpb.Measurement_LevelMeters{
		LevelMeters: math.Max(0.001, math.Round((s.levelMeters+w.noise(j, "dip stick", 0.002))*1000)/1000),
	}})
}

func (w *world) brix(ctx context.Context, j *job, s sample) error {
	return w.measured(ctx, j, &schedulingpb.Measurement{Value: &schedulingpb.Measurement_BrixDegrees{
		BrixDegrees: math.Max(0, tenth(100*s.solids+w.noise(j, "refractometer", 0.15))),
	}})
}

func (w *world) weight(ctx context.Context, j *job, s sample) error {
	return w.measured(ctx, j, &schedulingpb.Measurement{Value: &schedulingpb.Measurement_MassKg{
		MassKg: grams(s.liquidKg * (1 + w.noise(j, "scale", 0.004))),
	}})
}

// short writes a duration for people.
func short(d time.Duration) string {
	sign := ""
	if d < 0 {
		sign, d = "-", -d
	}
	d = d.Round(time.Minute)
	if d >= time.Hour {
		return fmt.Sprintf("%s%d h %02d min", sign, int(d.Hours()), int(d.Minutes())%60)
	}
	return fmt.Sprintf("%s%d min", sign, int(d.Minutes()))
}
