package predict

import (
	"math"
	"strconv"
	"strings"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// room reads the conditions around the vessel.
func (r *reader) room(q Room) simmer.Conditions {
	c := simmer.Kitchen()
	t, _ := r.quantity("--room", q.Temperature, bound{low: 5, high: 60, from: "5 C", to: "60 C", kind: "the temperature of the room", suchAs: "25C or 77F", dimension: units.DimensionTemperature, otherwise: "25 C", assumeName: "room", note: "--room, --humidity; half saturated air; " + practice})
	c.Room = units.Celsius(t)
	if h, given := r.share("--humidity", q.Humidity, 0, 1, "the relative humidity of the room", "50%"); given {
		c.Humidity = h
	}
	if z, given := r.quantity("--altitude", q.Altitude, bound{low: 0, high: 5000, from: "0 m", to: "5000 m", kind: "the height above the sea", suchAs: "1600 m or 5280 ft", dimension: units.DimensionLength}); given {
		c.Altitude = z
	}
	switch r.choice("--air", q.Air, "still", "still", "hood", "fan") {
	case "hood":
		c.AirSpeed = 0.2
	case "fan":
		c.AirSpeed = 0.5
	}
	return c
}

// words of a class.
func words(class string) string { return strings.ReplaceAll(class, "_", " ") }

// lid reads how much of the surface is covered.
func (r *reader) lid(text string) float64 {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "", "off", "open", "none":
		return 0
	case "half":
		return 0.5
	case "on", "closed":
		return 1
	}
	v, ok := percentage(text)
	if !ok || v < 0 || v > 1 {
		r.fault("--lid", text, "give off, half, on, or the share that is covered, such as 30%%")
	}
	return v
}

// heat reads the setting: gentle, simmer and boil, a temperature to hold, or a share of the power.
func (r *reader) heat(text string, boiling units.Celsius) simmer.Duty {
	const shape = "give gentle, simmer, boil, a temperature from 30 C to the boil such as 93C or 200F, or a share of the power such as 60%"
	simmering := units.Celsius(math.Min(93, float64(boiling)-6))
	switch t := strings.ToLower(strings.TrimSpace(text)); t {
	case "":
		r.assumeIn("heat", func(s *Style) string { return "simmer, held at " + s.Temperature(simmering) }, "--heat; 93 C (200 F) or 6 C below the local boil: "+practice)
		return simmer.Duty{Hold: simmering}
	case "simmer":
		r.assumeIn("simmer", func(s *Style) string { return s.Temperature(simmering) }, "--heat 91C; 93 C (200 F) or 6 C below the local boil: "+practice)
		return simmer.Duty{Hold: simmering}
	case "gentle":
		quiet := units.Celsius(math.Min(82, float64(boiling)-17))
		r.assumeIn("gentle", func(s *Style) string { return s.Temperature(quiet) }, "--heat 85C; 82 C (180 F) or 17 C below the local boil: "+practice)
		return simmer.Duty{Hold: quiet}
	case "boil":
		return simmer.Duty{}
	}
	if share, ok := percentage(text); ok && strings.HasSuffix(strings.TrimSpace(text), "%") {
		if share < 0.05 || share > 1 {
			r.fault("--heat", text, "is out of range; give a share of the power from 5%% to 100%%, such as 60%%")
		}
		return simmer.Duty{PowerShare: share}
	}
	q, err := units.ParseTemperature(text)
	if err != nil {
		r.fault("--heat", text, "%s", shape)
		return simmer.Duty{}
	}
	c := q.Celsius()
	if c < 30 || c > boiling+0.5 {
		r.fault("--heat", text, "is out of range: it boils at %.1f C here; %s", float64(boiling), shape)
		return simmer.Duty{}
	}
	u, _ := units.BySymbol(q.Scale.String())
	r.style.saw(u)
	return simmer.Duty{Hold: c}
}

var fractionWords = map[string]float64{"half": 0.5, "a half": 0.5, "third": 1.0 / 3, "a third": 1.0 / 3, "quarter": 0.25, "a quarter": 0.25, "fifth": 0.2, "a fifth": 0.2, "tenth": 0.1, "a tenth": 0.1}

// goal reads --to. start is the volume at the temperature at which it reduces.
func (r *reader) goal(text string, start units.Volume) simmer.EndPoint {
	const shape = "give what is to be left: a volume (0.6 L, 2 qt), a mass (2 kg), a fraction of the volume (1/5, half), or solids (50 Brix)"
	t := strings.TrimSpace(text)
	if t == "" {
		r.fault("--to", "", "is missing; %s", shape)
		return simmer.EndPoint{}
	}
	if f, ok := fractionWords[strings.ToLower(t)]; ok {
		return simmer.EndPoint{Volume: units.Volume(f) * start}
	}
	if above, below, found := strings.Cut(t, "/"); found {
		a, errA := strconv.ParseFloat(strings.TrimSpace(above), 64)
		b, errB := strconv.ParseFloat(strings.TrimSpace(below), 64)
		if errA == nil && errB == nil {
			if f := a / b; f > 0.005 && f < 1 {
				return simmer.EndPoint{Volume: units.Volume(f) * start}
			}
			r.fault("--to", text, "is not a part that is left; give a fraction below 1, such as 1/5")
			return simmer.EndPoint{}
		}
	}
	if v, ok := percentage(t); ok {
		if strings.HasSuffix(t, "%") {
			r.fault("--to", text, "may mean a part of the volume or solids; write 1/2 for half of the volume, 50Brix for solids")
		} else if v <= 0 || v > simmer.MaxSolids {
			r.fault("--to", text, "is out of range; give solids from 1 Brix to %.0f Brix, such as 50Brix", 100*simmer.MaxSolids)
		}
		return simmer.EndPoint{Solids: v}
	}
	q, err := units.ParseQuantity(t)
	if err != nil {
		r.fault("--to", text, "%s; %s", trimmedCause(err, t), shape)
		return simmer.EndPoint{}
	}
	r.style.saw(q.Unit)
	switch q.Unit.Dimension {
	case units.DimensionVolume:
		return simmer.EndPoint{Volume: units.Volume(toSI(q))}
	case units.DimensionMass:
		return simmer.EndPoint{Mass: units.Mass(toSI(q))}
	}
	r.fault("--to", text, "this is a %v; %s", q.Unit.Dimension, shape)
	return simmer.EndPoint{}
}

// contents reads --volume or --mass; the volume is the one at a temperature.
func (r *reader) contents(volume, mass string, v Vessel, p Product, at units.Celsius, fill bool) (units.Mass, units.Volume) {
	brim := v.Brimful()
	b := bound{low: 0.05e-3, high: 20, from: "0.05 L", to: "20000 L", kind: "a volume", suchAs: "3.8L or 1gal", dimension: units.DimensionVolume}
	m := bound{low: 0.05, high: 20000, from: "0.05 kg", to: "20000 kg", kind: "a mass", suchAs: "4kg or 9lb", dimension: units.DimensionMass}
	litres, byVolume := r.quantity("--volume", volume, b)
	kilograms, byMass := r.quantity("--mass", mass, m)
	local := r.style
	local.settle("")
	switch {
	case byVolume && byMass:
		r.fault("--volume", volume, "give --volume or --mass, not both")
	case !byVolume && !byMass && !fill:
		r.fault("--volume", "", "is missing: how much is in the vessel; give a volume from 0.05 L to %s, such as 3.8L or 1gal (or --mass)", local.Volume(brim))
	}
	if len(r.faults) > 0 {
		return 0, 0
	}
	if byMass {
		vol, err := simmer.LiquidVolume(units.Mass(kilograms), p.Solids(), at)
		r.check("--mass", mass, err)
		litres = float64(vol)
	}
	if !byVolume && !byMass {
		litres = float64(v.Fill)
		r.assumeIn("fill", func(s *Style) string { return s.Volume(v.Fill) }, "--volume, --depth; usual fill of the vessel: "+practice)
	}
	if units.Volume(litres) > brim*1.0001 {
		flag, text := "--volume", volume
		if byMass {
			flag, text = "--mass", mass
		}
		r.fault(flag, text, "does not fit: %s holds %s to the brim; give less or another --vessel", v.the(), local.Volume(brim))
		return 0, 0
	}
	if !byMass {
		got, err := simmer.LiquidMass(units.Volume(litres), p.Solids(), at)
		r.check("--volume", volume, err)
		kilograms = float64(got)
	}
	return units.Mass(kilograms), units.Volume(litres)
}

// check turns an error of the physics into a fault of a flag.
func (r *reader) check(flag, text string, err error) {
	if err != nil {
		r.fault(flag, text, "%v", err)
	}
}

func (r *reader) reduction(q ReduceQuestion) reduction {
	d := reduction{vessel: r.vessel(q.VesselChoice, "household"), product: r.product(q.ProductChoice, "thin-stock"), cond: r.room(q.Room)}
	r.steam(q.Steam, &d.vessel, d.cond.Altitude)
	d.cond.Cover = r.lid(q.Lid)
	boiling, err := thermo.BoilingPoint(d.cond.Altitude)
	r.check("--altitude", q.Altitude, err)
	if d.cond.Altitude == 0 {
		r.assume("altitude", "sea level", "--altitude")
	}
	d.duty = r.heat(q.Heat, boiling)
	hot := d.duty.Hold
	if hot == 0 || hot > boiling {
		hot = boiling
	}
	d.load.Start = hot
	if t, given := r.quantity("--start", q.Start, bound{low: 0, high: float64(boiling), from: "0 C", to: "the boil", kind: "the temperature at the start", suchAs: "15C or 60F", dimension: units.DimensionTemperature}); given {
		d.load.Start = units.Celsius(t)
	} else {
		r.assume("start", "already hot: the clock starts at the simmer", "--start 15C counts the heating too")
	}
	if !d.vessel.heated() {
		r.fault("--power", "", "is missing: %s has no heat of its own; give a power from 50 W to 500 kW, such as 5kW", d.vessel.the())
	}
	if bones, given := r.quantity("--bones", q.Bones, bound{low: 0, high: 5000, from: "0 kg", to: "5000 kg", kind: "the mass of bones", suchAs: "8kg or 20lb", dimension: units.DimensionMass}); given {
		d.load.Bones = units.Mass(bones)
	}
	d.load.Solids = d.product.Solids()
	d.load.Liquid, d.start = r.contents(q.Volume, q.Mass, d.vessel, d.product, d.load.Start, false)
	if len(r.faults) > 0 {
		if strings.TrimSpace(q.To) == "" {
			r.goal("", 0)
		}
		return d
	}
	there, err := simmer.LiquidVolume(d.load.Liquid, d.load.Solids, hot)
	r.check("--volume", q.Volume, err)
	d.end = r.goal(q.To, there)
	r.possible(q.To, &d, hot)
	r.look(q.Seen, &d)
	return d
}

// possible reports goals that are above what is there, or thicker than the models cover.
func (r *reader) possible(text string, d *reduction, hot units.Celsius) {
	if len(r.faults) > 0 {
		return
	}
	local := r.style
	local.settle("")
	dry := d.load.Liquid * units.Mass(d.load.Solids/simmer.MaxSolids)
	least, err := simmer.LiquidVolume(max(dry, 1e-6), simmer.MaxSolids, hot)
	r.check("--to", text, err)
	switch e := d.end; {
	case e.Volume > 0 && e.Volume >= d.start, e.Mass > 0 && e.Mass >= d.load.Liquid:
		r.fault("--to", text, "is not less than there is: %s (%s) at the start; give less", local.Volume(d.start), local.Mass(d.load.Liquid))
	case e.Solids > 0 && e.Solids <= d.load.Solids:
		r.fault("--to", text, "is not thicker than the start: %s; give more, or tell --brix of the start", percent(d.load.Solids))
	case e.Solids > 0 && d.load.Solids == 0:
		r.fault("--to", text, "cannot be reached: there are no solids in it; tell --brix of the start")
	case e.Volume > 0 && d.load.Solids > 0 && e.Volume < least, e.Mass > 0 && e.Mass < dry:
		r.fault("--to", text, "would leave more than %.0f %% solids, where a glaze burns; at %s solids at the start the least is %s (%s)", 100*simmer.MaxSolids, percent(d.load.Solids), local.Volume(least*1.01), local.Mass(dry*1.01))
	case e.Volume > 0 && e.Volume < 20e-6, e.Mass > 0 && e.Mass < 0.02:
		r.fault("--to", text, "is too little for a forecast; give at least 0.02 L")
	}
}

// look reads --seen, such as "1h30min=3.2L".
func (r *reader) look(seen []string, d *reduction) {
	typical, err := simmer.TypicalOf(d.vessel.Class)
	r.check("--class", "", err)
	d.prior = typical.Prior
	if len(seen) == 0 || len(r.faults) > 0 {
		return
	}
	const shape = "give what was left after how long, in order, such as 1h30min=3.2L, 2h=3kg or 45min=8Brix"
	for _, text := range seen {
		when, what, found := strings.Cut(text, "=")
		after, err := units.ParseDuration(when)
		if !found || err != nil || after <= 0 {
			r.fault("--seen", text, "%s", shape)
			return
		}
		o := simmer.Reading{Elapsed: after}
		q, err := units.ParseQuantity(what)
		solids, ok := percentage(what)
		switch {
		case ok:
			o.Solids = solids
		case err == nil && q.Unit.Dimension == units.DimensionVolume && q.Value() > 0:
			o.Volume = units.Volume(toSI(q))
		case err == nil && q.Unit.Dimension == units.DimensionMass && q.Value() > 0:
			o.Mass = units.Mass(toSI(q))
		default:
			r.fault("--seen", text, "%s", shape)
			return
		}
		d.seen = append(d.seen, o)
	}
}
