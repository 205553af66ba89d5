package predict

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// ReduceQuestion holds the texts of the flags of `predict reduce`; empty means not said.
type ReduceQuestion struct {
	VesselChoice
	ProductChoice
	Room
	Volume, Mass string // at the start
	Bones        string
	To           string // 0.6 L, 2 kg, 1/5, 50 Brix
	Heat         string // simmer, boil, 95C, 60%
	Start        string // temperature at the start
	Lid          string // off, half, on, or a share
	Seen         []string
	Units        string
}

// Room is what surrounds the vessel.
type Room struct{ Temperature, Humidity, Altitude, Air string }

// ReduceFigures are the figures of a reduction.
type ReduceFigures struct {
	TimeMinutes           Minutes `json:"time_minutes"`
	ScorchMinutes         Minutes `json:"scorch_minutes"` // until solids reach the scorch limit; null when they do not
	StartVolumeLitres     float64 `json:"start_volume_litres"`
	StartMassKg           float64 `json:"start_mass_kg"`
	EndVolumeLitres       float64 `json:"end_volume_litres"`
	EndMassKg             float64 `json:"end_mass_kg"`
	EndSolidsPercent      float64 `json:"end_solids_percent"`
	EndGelatinPercent     float64 `json:"end_gelatin_percent"`
	EndSaltPercent        float64 `json:"end_salt_percent"`
	EndTemperatureCelsius float64 `json:"end_temperature_celsius"`
	WaterLostKg           float64 `json:"water_lost_kg"`
	EvaporationKgPerHour  float64 `json:"evaporation_kg_per_hour"` // mean of the likely course
	EnergyContentsKWh     float64 `json:"energy_into_contents_kwh"`
	EnergyPurchasedKWh    float64 `json:"energy_purchased_kwh"`
	Reached               bool    `json:"reached"`
	// Chance that it is reached within the four days looked at, percent.
	ReachedChancePercent float64 `json:"reached_chance_percent"`
	// Learnt from --seen: the moment of the last look, the time from then on, and the factor of this vessel.
	SeenUntilMinutes *float64 `json:"seen_until_minutes,omitempty"`
	RemainingMinutes *Minutes `json:"remaining_minutes,omitempty"`
	VesselFactor     *float64 `json:"vessel_factor,omitempty"`
}

// reduction is a question after reading.
type reduction struct {
	vessel  Vessel
	product Product
	load    simmer.Load
	duty    simmer.Duty
	cond    simmer.Conditions
	end     simmer.EndPoint
	start   units.Volume
	prior   simmer.Belief
	seen    []simmer.Reading
}

// forecast of a reduction.
type forecast struct {
	simmer.Outcome                    // at the median factors
	early, middle, late time.Duration // of the finish
	sure                float64       // chance to finish within the horizon
	open                bool          // the late end lies beyond the horizon
	factor              float64       // learnt
	doubted             []simmer.Doubt
}

// forecast computes the reduction; a fault of --seen comes back as a fault.
func (d reduction) forecast(seen []string) (forecast, error) {
	if len(d.seen) == 0 {
		got, err := simmer.ReduceBelieving(d.vessel.Vessel, d.load, d.duty, d.cond, d.end, simmer.Settings{}, d.prior, 0)
		if err != nil {
			return forecast{}, err
		}
		f := forecast{Outcome: got.Likely, early: got.Early, middle: got.Likely.Time, late: got.Late, sure: got.Reached}
		f.early, f.late = min(f.early, f.middle), max(f.late, f.middle)
		f.open = got.Reached < (1+got.Coverage)/2
		f.Series, err = d.course(d.prior, f.Time)
		return f, err
	}
	t, err := simmer.NewTracker(simmer.Setup{Vessel: d.vessel.Vessel, Load: d.load, Duty: d.duty, Conditions: d.cond, End: d.end, Prior: d.prior, Seed: 1})
	if err != nil {
		return forecast{}, err
	}
	for i, one := range d.seen {
		err = t.Read(one)
		if err != nil {
			return forecast{}, Faults{{Flag: "--seen", Value: quoted(seen[i]), Problem: err.Error()}}
		}
	}
	finish, err := t.Finish(0)
	if err != nil {
		return forecast{}, Faults{{Flag: "--seen", Value: quoted(strings.Join(seen, ", ")), Problem: err.Error()}}
	}
	vessel, cond, err := finish.Belief.Apply(d.vessel.Vessel, d.cond)
	if err != nil {
		return forecast{}, err
	}
	out, err := simmer.Reduce(vessel, d.load, d.duty, cond, d.end, simmer.Settings{})
	if err != nil {
		return forecast{}, err
	}
	f := forecast{Outcome: out, early: finish.Early, middle: finish.Likely, late: finish.Late, sure: finish.Reached, factor: finish.Belief.Surface.Median(), doubted: finish.Doubted}
	if out.Final.Mode == simmer.Boiling {
		f.factor = finish.Belief.Power.Median()
	}
	f.open = finish.Reached < (1+finish.Coverage)/2
	f.Cautions = append(f.Cautions, finish.Cautions...)
	f.Series, err = d.course(finish.Belief, f.Time)
	return f, err
}

// course is the likely reduction with a series of about 200 points.
func (d reduction) course(b simmer.Belief, length time.Duration) ([]simmer.State, error) {
	vessel, cond, err := b.Apply(d.vessel.Vessel, d.cond)
	if err != nil {
		return nil, err
	}
	every := max(length/200, time.Second)
	out, err := simmer.Reduce(vessel, d.load, d.duty, cond, d.end, simmer.Settings{Horizon: length + every, Every: every})
	return out.Series, err
}

// Reduce answers how long a reduction takes.
func Reduce(q ReduceQuestion) (*Answer, error) {
	r := &reader{}
	system := r.system(q.Units)
	d := r.reduction(q)
	if err := r.err(); err != nil {
		return nil, err
	}
	s := &r.style
	s.settle(system)
	got, err := d.forecast(q.Seen)
	if errors.Is(err, simmer.ErrDry) {
		return nil, Faults{{Flag: "--to", Value: quoted(q.To), Problem: "the vessel would run dry before: give more to be left"}}
	}
	if err != nil {
		return nil, fmt.Errorf("compute the reduction: %w", err)
	}
	a := &Answer{Question: "reduce", Assumptions: r.told(s), Cautions: unique(got.Cautions)}
	gelatin, said, err := d.gelatin(got)
	if err != nil {
		return nil, fmt.Errorf("compute the gelatin: %w", err)
	}
	d.fill(a, s, got, gelatin)
	for _, text := range said {
		if text == simmer.CautionLongExtraction {
			a.Cautions = append(a.Cautions, text)
			continue
		}
		a.Assumptions = append(a.Assumptions, Assumption{Name: "model", Value: text})
	}
	a.Assumptions = append(a.Assumptions, d.vessel.source(s))
	typical, err := simmer.TypicalOf(d.vessel.Class)
	if err != nil {
		return nil, err
	}
	if len(d.seen) == 0 {
		a.Assumptions = append(a.Assumptions, Assumption{"range", "early to late holds 8 of 10 vessels of the class " + words(string(d.vessel.Class)), "--seen 1h=3.2L narrows it, --class", typical.Source})
	}
	for _, text := range got.Assumptions {
		a.Assumptions = append(a.Assumptions, Assumption{Name: "model", Value: text})
	}
	a.Picture = d.picture(s, got)
	return a, nil
}

// system reads --units.
func (r *reader) system(text string) string { return r.choice("--units", text, "", "metric", "us") }

func (d reduction) fill(a *Answer, s *Style, got forecast, gelatin simmer.GelatinRange) {
	final := got.Final
	salt := d.product.Salt / 100 * (1 - d.load.Solids) * float64(d.load.Liquid) / math.Max(1e-9, (1-final.Solids)*float64(final.Liquid))
	purchased := units.Energy(float64(final.EnergyIn) / d.vessel.paid())
	figures := ReduceFigures{
		TimeMinutes:       Minutes{Early: minutesOf(got.early), Likely: minutesIf(got.Reached, got.middle), Late: minutesIf(!got.open, got.late)},
		StartVolumeLitres: *rounded(d.start.Litres(), 3), StartMassKg: *rounded(float64(d.load.Liquid), 3),
		EndVolumeLitres: *rounded(final.Volume.Litres(), 3), EndMassKg: *rounded(float64(final.Liquid), 3),
		EndSolidsPercent: *rounded(100*final.Solids, 1), EndGelatinPercent: *rounded(100*gelatin.Likely, 1), EndSaltPercent: *rounded(100*salt, 2),
		EndTemperatureCelsius: *rounded(float64(final.Temperature), 1), WaterLostKg: *rounded(float64(got.Evaporated), 3),
		EvaporationKgPerHour: *rounded(float64(got.Evaporated)/math.Max(got.Time.Hours(), 1e-6), 2),
		EnergyContentsKWh:    *rounded(final.EnergyIn.KilowattHours(), 2), EnergyPurchasedKWh: *rounded(purchased.KilowattHours(), 2),
		Reached: got.Reached, ReachedChancePercent: *rounded(100*got.sure, 0),
	}
	scorch, scorches := d.scorch(got)
	if scorches {
		figures.ScorchMinutes = Minutes{Early: minutesOf(got.scaled(scorch, got.early)), Likely: minutesOf(got.scaled(scorch, got.middle)), Late: minutesIf(!got.open, got.scaled(scorch, got.late))}
	}
	now := time.Duration(0)
	if n := len(d.seen); n > 0 {
		now = d.seen[n-1].Elapsed
		figures.VesselFactor, figures.SeenUntilMinutes = rounded(got.factor, 2), minutesOf(now)
		figures.RemainingMinutes = &Minutes{Early: minutesOf(max(0, got.early-now)), Likely: minutesIf(got.Reached, max(0, got.middle-now)), Late: minutesIf(!got.open, max(0, got.late-now))}
	}
	a.Figures = figures
	d.series(a, got)
	a.Sentence = d.sentence(s, got, now)
	t := &a.Table
	t.Header, t.Right = []string{"", "LIKELY", "EARLY", "LATE"}, make([]bool, 4)
	if !got.Reached {
		t.add("time", "not within "+span(got.Time), about(got.early), "")
	} else {
		t.add("time", about(got.middle), about(got.early), lateWords(got))
	}
	if scorches {
		t.add(fmt.Sprintf("can scorch from %s solids on", percent(d.product.Scorch)), about(got.scaled(scorch, got.middle)), about(got.scaled(scorch, got.early)), about(got.scaled(scorch, got.late)))
	}
	t.add("at the start", s.Volume(d.start)+", "+s.Mass(d.load.Liquid))
	t.add("left, hot", s.Volume(final.Volume)+", "+s.Mass(final.Liquid))
	t.add("temperature at the end", s.Temperature(final.Temperature))
	t.add("solids at the end", trimmed(100*final.Solids)+" Brix")
	t.add("gelatin at the end", gelWords(gelatin))
	t.add("salt at the end", percent(salt)+" of the water")
	t.add("water lost", s.Mass(got.Evaporated))
	t.add("loses per hour", s.Mass(units.Mass(figures.EvaporationKgPerHour)))
	t.add("energy into the pot", s.Energy(final.EnergyIn))
	t.add("energy paid for", s.Energy(purchased))
	if len(d.seen) > 0 {
		t.add("this vessel", trimmed(got.factor)+" times as fast as computed")
	}
	for _, one := range got.doubted {
		a.Cautions = append(a.Cautions, fmt.Sprintf("The look at %s does not fit the others and is not believed: look again.", span(one.Reading.Elapsed)))
	}
	if scorches {
		a.Cautions = append(a.Cautions, fmt.Sprintf("From about %s on (%s solids) the bottom can scorch: lower the heat, stir, change to a smaller pan.", about(got.scaled(scorch, got.middle)), percent(d.product.Scorch)))
	}
}

// scaled moves a moment of the course to a course that ends at another time.
func (f forecast) scaled(at, end time.Duration) time.Duration {
	return time.Duration(float64(at) * float64(end) / math.Max(1, float64(f.Time)))
}

func lateWords(f forecast) string {
	if f.open {
		return "perhaps never"
	}
	return about(f.late)
}

func (d reduction) sentence(s *Style, got forecast, now time.Duration) string {
	left := d.left(s, got.Outcome)
	final := got.Final
	switch {
	case !got.Reached:
		return fmt.Sprintf("Not within %s: after that, %s (%s solids) would still be left at %s.", span(got.Time), s.Volume(final.Volume), percent(final.Solids), s.Temperature(final.Temperature))
	case now > 0:
		return fmt.Sprintf("About %s more after the last look (%s to %s), so %s in all, until %s left.", about(max(0, got.middle-now)), about(max(0, got.early-now)), about(max(0, got.late-now)), about(got.middle), left)
	case got.open:
		return fmt.Sprintf("About %s (from %s; at the late end perhaps never) until %s left.", about(got.middle), about(got.early), left)
	default:
		return fmt.Sprintf("About %s (%s to %s) until %s left.", about(got.middle), about(got.early), about(got.late), left)
	}
}

// left says what is left in the words of the goal.
func (d reduction) left(s *Style, o simmer.Outcome) string {
	switch o.By {
	case simmer.MassTarget:
		return s.Mass(o.Final.Liquid) + " are"
	case simmer.SolidsTarget:
		return fmt.Sprintf("it stands at %s Brix with %s", trimmed(100*o.Final.Solids), s.Volume(o.Final.Volume))
	}
	return s.Volume(o.Final.Volume) + " are"
}

// gelatin at the end: what the product holds, and what bones in the pot give meanwhile.
func (d reduction) gelatin(got forecast) (simmer.GelatinRange, []string, error) {
	own := d.product.Gelatin * float64(d.load.Liquid) / float64(got.Final.Liquid)
	r := simmer.GelatinRange{Low: own, Likely: own, High: own}
	if d.load.Bones == 0 || len(got.Series) < 2 {
		return r, nil, nil
	}
	freed, err := simmer.Extraction{}.ExtractOver(d.load.Bones, got.Series)
	if err != nil {
		return r, nil, err
	}
	in, err := freed.In(got.Final.Liquid)
	if err != nil {
		return r, nil, err
	}
	r = simmer.GelatinRange{Low: min(1, own+in.Low), Likely: min(1, own+in.Likely), High: min(1, own+in.High)}
	return r, append(append([]string{}, freed.Assumptions...), freed.Cautions...), nil
}

// gelWords say what a gelatin content does when cold.
func gelWords(g simmer.GelatinRange) string {
	strength, err := simmer.GelStrengthOf(g.Likely)
	if err != nil {
		return percent(g.Likely)
	}
	text := percent(g.Likely) + ", " + strength.String() + " when cold"
	if g.High > g.Low*1.01 {
		text += fmt.Sprintf(" (%s to %s)", percent(g.Low), percent(g.High))
	}
	return text
}

// scorch finds when the likely course passes the scorch limit; false when it does not, or was above it from the start.
func (d reduction) scorch(course forecast) (time.Duration, bool) {
	for i, st := range course.Series {
		if st.Solids >= d.product.Scorch {
			if i == 0 {
				return 0, true
			}
			before := course.Series[i-1]
			f := (d.product.Scorch - before.Solids) / math.Max(1e-12, st.Solids-before.Solids)
			return before.Elapsed + time.Duration(f*float64(st.Elapsed-before.Elapsed)), true
		}
	}
	return 0, false
}

func (d reduction) series(a *Answer, course forecast) {
	for _, st := range course.Series {
		a.Series = append(a.Series, Point{
			ElapsedMinutes: *rounded(st.Elapsed.Minutes(), 2), TemperatureCelsius: rounded(float64(st.Temperature), 2),
			VolumeLitres: rounded(st.Volume.Litres(), 4), SolidsPercent: rounded(100*st.Solids, 2),
		})
	}
}

// picture shows the volume that is left over time.
func (d reduction) picture(s *Style, got forecast) *Picture {
	if len(got.Series) < 2 {
		return nil
	}
	u, _ := units.BySymbol(s.volume) // a symbol of that package
	p := &Picture{Title: "Reduction: " + d.product.Title + " in " + d.vessel.the(), Y: "left in the vessel, hot (" + u.Symbol + ")"}
	p.Subtitle = d.sentence(s, got, 0)
	c := Curve{Words: "likely", Colour: blue}
	for _, st := range got.Series {
		c.Hours, c.Y = append(c.Hours, got.scaled(st.Elapsed, got.middle).Hours()), append(c.Y, float64(st.Volume)/u.Factor())
	}
	p.High = 1.08 * c.Y[0]
	p.Curves = []Curve{c}
	stretched := func(end time.Duration, words string) {
		side := Curve{Words: words, Colour: blue, Dashed: true, Y: c.Y}
		for _, h := range c.Hours {
			side.Hours = append(side.Hours, h*float64(end)/float64(max(got.middle, 1)))
		}
		p.Curves = append(p.Curves, side)
	}
	if got.Reached {
		stretched(got.early, "early")
		if !got.open {
			stretched(got.late, "late")
		}
		end := float64(got.Final.Volume) / u.Factor()
		words := "wanted: " + trimmed(end) + " " + u.Symbol
		if got.By == simmer.SolidsTarget {
			words = fmt.Sprintf("wanted: %s Brix, %s %s", trimmed(100*got.Final.Solids), trimmed(end), u.Symbol)
		}
		p.Limits = append(p.Limits, Limit{Words: words, Y: end})
	}
	if at, ok := d.scorch(got); ok {
		for i, st := range got.Series {
			if st.Elapsed >= at {
				p.Marks = append(p.Marks, Mark{Words: fmt.Sprintf("can scorch from here: %s solids", percent(d.product.Scorch)), Hours: c.Hours[i], Y: c.Y[i], Cross: true})
				break
			}
		}
	}
	for _, one := range d.seen {
		if one.Volume > 0 {
			p.Marks = append(p.Marks, Mark{Words: "seen", Hours: one.Elapsed.Hours(), Y: float64(one.Volume) / u.Factor()})
		}
	}
	return p
}
