package predict

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// HeatQuestion holds the texts of the flags of `predict heat`; empty means not said.
type HeatQuestion struct {
	VesselChoice
	ProductChoice
	Room
	Volume, Mass, Bones string
	Start, To, Lid      string
	Share               string // of the power
	Units               string
}

// HeatFigures are the figures of a bring-up.
type HeatFigures struct {
	TimeMinutes           Minutes `json:"time_minutes"`
	StartMassKg           float64 `json:"start_mass_kg"`
	StartVolumeLitres     float64 `json:"start_volume_litres"`
	EndTemperatureCelsius float64 `json:"end_temperature_celsius"`
	EnergyContentsKWh     float64 `json:"energy_into_contents_kwh"`
	EnergyPurchasedKWh    float64 `json:"energy_purchased_kwh"`
	WaterLostKg           float64 `json:"water_lost_kg"`
	Reached               bool    `json:"reached"`
}

// eightOfTen is the quantile of a normal distribution between whose two sides 8 of 10 cases lie.
const eightOfTen = 1.2815515655446004

// longestHeating is how far a bring-up is looked at.
const longestHeating = 24 * time.Hour

// Heat answers how long a load takes to come up to a temperature.
func Heat(q HeatQuestion) (*Answer, error) {
	r := &reader{}
	system := r.system(q.Units)
	v, p, cond := r.vessel(q.VesselChoice, "stockpot-20"), r.product(q.ProductChoice, "thin-stock"), r.room(q.Room)
	cond.Cover = r.lid(q.Lid)
	r.steam(q.Steam, &v, cond.Altitude)
	boiling, err := thermo.BoilingPoint(cond.Altitude)
	r.check("--altitude", q.Altitude, err)
	if !v.heated() {
		r.fault("--power", "", "is missing: %s has no heat of its own; give a power from 50 W to 500 kW, such as 5kW", v.the())
	}
	temperature := func(flag, text, otherwise, name, kind string) units.Celsius {
		t, _ := r.quantity(flag, text, bound{low: 0, high: float64(boiling), from: "0 C", to: "the boil (" + trimmed(math.Floor(float64(boiling)*10)/10) + " C here)", kind: kind, suchAs: "15C or 60F", dimension: units.DimensionTemperature, otherwise: otherwise, assumeName: name, note: flag + "; " + practice})
		return units.Celsius(t)
	}
	start := temperature("--start", q.Start, "15 C", "start", "the temperature at the start")
	to := temperature("--to", q.To, trimmed(math.Min(95, math.Floor(float64(boiling)-4)))+" C", "goal", "the temperature wanted")
	if len(r.faults) == 0 && to <= start {
		r.fault("--to", q.To, "is not above the %s C at the start; give a warmer one", trimmed(float64(start)))
	}
	load := simmer.Load{Solids: p.Solids(), Start: start}
	if bones, given := r.quantity("--bones", q.Bones, bound{low: 0, high: 5000, from: "0 kg", to: "5000 kg", kind: "the mass of bones", suchAs: "8kg or 20lb", dimension: units.DimensionMass}); given {
		load.Bones = units.Mass(bones)
	}
	if share, given := r.share("--share", q.Share, 0.05, 1, "the share of the power that is on", "60%"); given {
		if v.Power == 0 {
			r.fault("--share", q.Share, "is for a rated power; with --steam give a lower pressure")
		}
		v.Power *= units.Power(share)
	}
	var volume units.Volume
	load.Liquid, volume = r.contents(q.Volume, q.Mass, v, p, start, true)
	if err := r.err(); err != nil {
		return nil, err
	}
	s := &r.style
	s.settle(system)
	typical, err := simmer.TypicalOf(v.Class)
	if err != nil {
		return nil, err
	}
	power := typical.Prior.Power
	var runs [3]simmer.Outcome
	for i, z := range []float64{eightOfTen, 0, -eightOfTen} {
		one := v.Vessel
		one.Efficiency = math.Max(0.05, math.Min(1, v.Efficiency*power.At(z)))
		runs[i], err = simmer.BringUp(one, load, cond, to, simmer.Settings{Horizon: longestHeating})
		if err == nil && i == 1 {
			every := max(runs[i].Time/200, time.Second)
			runs[i], err = simmer.BringUp(one, load, cond, to, simmer.Settings{Horizon: runs[i].Time + every, Every: every})
		}
		if errors.Is(err, simmer.ErrDry) {
			return nil, Faults{{Flag: "--power", Value: quoted(q.Power), Problem: "does not bring it there: the liquid would be gone first; give more power, a --lid or less liquid"}}
		}
		if err != nil {
			return nil, fmt.Errorf("compute the heating: %w", err)
		}
	}
	a := &Answer{Question: "heat", Assumptions: r.told(s), Cautions: unique(runs[1].Cautions)}
	a.Assumptions = append(a.Assumptions,
		v.source(s),
		Assumption{"range", "early to late holds 8 of 10 vessels of the class " + words(string(v.Class)), "--class", typical.Source})
	for _, text := range runs[1].Assumptions {
		a.Assumptions = append(a.Assumptions, Assumption{Name: "model", Value: text})
	}
	heated{v, p, load, volume, to}.fill(a, s, runs)
	return a, nil
}

type heated struct {
	vessel  Vessel
	product Product
	load    simmer.Load
	volume  units.Volume
	to      units.Celsius
}

func (h heated) fill(a *Answer, s *Style, runs [3]simmer.Outcome) {
	run := runs[1]
	end := run.Final
	purchased := units.Energy(float64(end.EnergyIn) / h.vessel.paid())
	a.Figures = HeatFigures{
		TimeMinutes: Minutes{Early: minutesIf(runs[0].Reached, runs[0].Time), Likely: minutesIf(run.Reached, run.Time), Late: minutesIf(runs[2].Reached, runs[2].Time)},
		StartMassKg: *rounded(float64(h.load.Liquid), 3), StartVolumeLitres: *rounded(h.volume.Litres(), 3), EndTemperatureCelsius: *rounded(float64(end.Temperature), 1),
		EnergyContentsKWh: *rounded(end.EnergyIn.KilowattHours(), 2), EnergyPurchasedKWh: *rounded(purchased.KilowattHours(), 2),
		WaterLostKg: *rounded(float64(run.Evaporated), 3), Reached: run.Reached,
	}
	at := func(o simmer.Outcome) string {
		if !o.Reached {
			return "never"
		}
		return about(o.Time)
	}
	switch {
	case !run.Reached:
		a.Sentence = fmt.Sprintf("It will not come to %s: it settles at about %s; more power, a lid or a smaller load is needed.", s.Temperature(h.to), s.Temperature(end.Temperature))
	case !runs[2].Reached:
		a.Sentence = fmt.Sprintf("About %s (from %s; at the late end perhaps never) until it is at %s.", at(run), at(runs[0]), s.Temperature(h.to))
	default:
		a.Sentence = fmt.Sprintf("About %s (%s to %s) until it is at %s.", at(run), at(runs[0]), at(runs[2]), s.Temperature(h.to))
	}
	t := &a.Table
	t.Header, t.Right = []string{"", "LIKELY", "EARLY", "LATE"}, make([]bool, 4)
	t.add("time to "+s.Temperature(h.to), at(run), at(runs[0]), at(runs[2]))
	t.add("in the vessel", s.Volume(h.volume)+", "+s.Mass(h.load.Liquid))
	if h.load.Bones > 0 {
		t.add("bones", s.Mass(h.load.Bones))
	}
	t.add("energy into the pot", s.Energy(end.EnergyIn))
	t.add("energy paid for", s.Energy(purchased))
	t.add("water lost", s.Mass(run.Evaporated))
	c := Curve{Words: "likely", Colour: blue}
	for _, st := range run.Series {
		a.Series = append(a.Series, Point{ElapsedMinutes: *rounded(st.Elapsed.Minutes(), 2), TemperatureCelsius: rounded(float64(st.Temperature), 2), VolumeLitres: rounded(st.Volume.Litres(), 4)})
		c.Hours, c.Y = append(c.Hours, st.Elapsed.Hours()), append(c.Y, s.degrees(st.Temperature))
	}
	if len(c.Hours) < 2 {
		return
	}
	p := &Picture{Title: "Heating: " + h.product.Title + " in " + h.vessel.the(), Subtitle: a.Sentence, Y: "temperature (" + s.degreeUnit() + ")", Curves: []Curve{c}}
	p.Limits = []Limit{{Words: "wanted: " + s.Temperature(h.to), Y: s.degrees(h.to)}}
	if run.Reached {
		for _, one := range []struct {
			o     simmer.Outcome
			words string
		}{{runs[0], "early"}, {runs[2], "late"}} {
			if !one.o.Reached {
				continue
			}
			other := Curve{Words: one.words, Colour: blue, Dashed: true, Y: c.Y}
			for _, x := range c.Hours {
				other.Hours = append(other.Hours, x*float64(one.o.Time)/float64(max(run.Time, 1)))
			}
			p.Curves = append(p.Curves, other)
		}
	}
	a.Picture = p
}
