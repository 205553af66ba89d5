package demo

import (
	"context"
	"fmt"
	"time"

	"rondeau.internal/pkg/units"
	"rondeau.internal/services/rondeau/kitchen"
)

// world is the state of the story: what people and things know beside the services.
type world struct {
	opt    Options
	file   *kitchen.File
	calls  *caller
	draws  draws
	nature nature
	queue  queue
	report *Report

	site            string
	zone            *time.Location
	now, start, end time.Time
	house           house

	batches  map[string]*batch
	ordered  []*batch // in the order in which plans brought them
	runs     map[string]*job
	vessels  map[string]*occupancy
	turns    map[string]int
	plan     string
	plans    int
	news     []pending // facts that planning must have heard of before it plans again
	schedule scheduleBook
	chills   []*chilling
	twists   twists
	late     map[string]time.Time // runs for whose delay a new schedule was asked, with its cause
	shortage map[string]string    // why an order line will be short, by order and product
}

// twists are the misfortunes of the week and whether they have struck.
type twists struct {
	warmDelivery, unreleased, heldShipment         bool
	kettleArmed, kettleDone, chillArmed, chillDone bool
}

// Run lives through the week, in a suite that does not know the kitchen yet. The report is returned also with an error, as far as the story came.
func Run(ctx context.Context, options Options) (*Report, error) {
	o, file, err := options.complete()
	if err != nil {
		return nil, err
	}
	if o.SetTime == nil {
		return nil, fmt.Errorf("demo: SetTime is needed to move the clock")
	}
	begun := time.Now()
	w := &world{
		opt: o, file: file, calls: newCaller(o), draws: draws(o.Seed), site: file.Site, now: o.Start, start: o.Start,
		batches: map[string]*batch{}, runs: map[string]*job{}, vessels: map[string]*occupancy{}, turns: map[string]int{},
		late: map[string]time.Time{}, shortage: map[string]string{}, report: &Report{Seed: o.Seed, Site: file.Site, Start: o.Start},
	}
	err = w.live(ctx)
	w.report.WallTime = time.Since(begun)
	w.report.Calls, w.report.Retries = w.calls.counts, w.calls.retries
	if err != nil {
		return w.report, fmt.Errorf("demo, %s: %w", w.clock(w.now), err)
	}
	return w.report, nil
}

// live sets the kitchen up, lets the days pass, and looks back.
func (w *world) live(ctx context.Context) error {
	err := w.setTime(w.start)
	if err != nil {
		return err
	}
	err = w.step(ctx, "import the kitchen", w.importKitchen)
	if err != nil {
		return err
	}
	w.end = w.localDay(w.opt.Days, 4, 0)
	w.report.End = w.end
	w.expectTheWeek()
	for {
		e, more := w.queue.next()
		if !more || e.at.After(w.end) {
			break
		}
		if e.at.After(w.now) {
			err = w.setTime(e.at)
			if err != nil {
				return err
			}
		}
		err = w.step(ctx, e.name, e.do)
		if err != nil {
			return err
		}
	}
	err = w.setTime(w.end)
	if err != nil {
		return err
	}
	return w.step(ctx, "look back", w.lookBack)
}

// step does one thing of the story, after the hook has had its say.
func (w *world) step(ctx context.Context, name string, do func(context.Context) error) error {
	err := w.opt.Hook(name)
	if err != nil {
		return fmt.Errorf("hook before %q: %w", name, err)
	}
	err = do(ctx)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

func (w *world) setTime(t time.Time) error {
	w.now = t
	err := w.opt.SetTime(t)
	if err != nil {
		return fmt.Errorf("move the clock: %w", err)
	}
	return nil
}

// say tells what happens, with the kitchen's time.
func (w *world) say(format string, args ...any) {
	w.opt.Progress(w.clock(w.now) + "  " + fmt.Sprintf(format, args...))
}

// clock writes a moment as the kitchen's clock shows it.
func (w *world) clock(t time.Time) string {
	if w.zone == nil {
		return t.UTC().Format("Mon 15:04 MST")
	}
	return t.In(w.zone).Format("Mon 15:04")
}

// localDay is a time of day, days after the start, in the kitchen's zone.
func (w *world) localDay(days, hour, minute int) time.Time {
	local := w.start.In(w.zone)
	return time.Date(local.Year(), local.Month(), local.Day()+days, hour, minute, 0, 0, w.zone)
}

// date is the civil day of a moment.
func (w *world) date(t time.Time) string { return t.In(w.zone).Format(time.DateOnly) }

// importKitchen writes the kitchen file and reads the kitchen back.
func (w *world) importKitchen(ctx context.Context) error {
	// The manager who imports is not bound to the kitchen, which does not exist yet.
	conns := kitchen.Conns(w.calls.as(manager).conns)
	changes, err := kitchen.Compare(ctx, conns, w.file)
	if err != nil {
		return err
	}
	count := map[kitchen.Action]int{}
	for _, change := range changes {
		if change.Entry.Kind() == "site" && change.Action != kitchen.Create {
			return fmt.Errorf("%s exists already; the story begins in an empty data folder", w.site)
		}
		count[change.Action]++
	}
	err = kitchen.Apply(ctx, conns, w.file, changes, nil)
	if err != nil {
		return err
	}
	w.report.Imported = count[kitchen.Create] + count[kitchen.Update]
	err = w.readHouse(ctx)
	if err != nil {
		return err
	}
	w.nature = nature{draws: w.draws, room: units.Celsius(w.house.airCelsius), altitude: w.house.site.GetAltitudeMeters()}
	w.report.Kitchen = w.house.site.GetDisplayName()
	w.report.House = w.house.counts()
	w.say("%s is set up: %s", w.report.Kitchen, w.report.House)
	return nil
}

// expectTheWeek fills the queue with what does not depend on anything else.
func (w *world) expectTheWeek() {
	w.queue.add(w.start.Add(2*time.Minute), "receive the opening stock", w.receiveOpening)
	w.expectOrders()
	w.queue.add(w.start.Add(25*time.Minute), "plan the week", func(ctx context.Context) error {
		return w.replan(ctx, "first plan of the week")
	})
	for day := range w.opt.Days {
		// New orders are taken in every afternoon, after the cut-offs of the next days are known to the outlets.
		if day > 0 {
			w.queue.add(w.localDay(day, 13, 40), "plan the new orders", w.planNewOrders)
		}
		w.queue.add(w.localDay(day, 7, 0), "receive deliveries", w.receiveDue)
		w.expectDispatches(day)
	}
	w.queue.add(w.localDay(1, 14, 0), "arm the kettle", func(context.Context) error {
		w.twists.kettleArmed = true
		return nil
	})
	w.queue.add(w.localDay(2, 4, 30), "arm the chiller", func(context.Context) error {
		w.twists.chillArmed = true
		return nil
	})
}
