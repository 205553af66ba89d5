package microbe

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// HoldRow is a row of the FSIS table for cooked beef, roast beef and corned beef.
type HoldRow struct {
	At units.Fahrenheit
	// For65 and For70 are the times for 6.5 and 7 decimal reductions of Salmonella. 0 means
	// reached at once.
	For65, For70 time.Duration
}

// AppendixASource of AppendixATable.
var AppendixASource = Source{
	"USDA FSIS, Appendix A, compliance guidelines for meeting lethality performance standards, 1999", "rhosey.com/usda_cooking_guideline.htm", Reproduced,
}

// AppendixATable returns the FSIS table of minimum internal temperature and time for
// Salmonella in beef. It is rounded; look it up and do not interpolate. It is not the
// table for poultry.
func AppendixATable() []HoldRow {
	m, s := time.Minute, time.Second
	return []HoldRow{
		{130, 112 * m, 121 * m},
		{131, 89 * m, 97 * m},
		{132, 71 * m, 77 * m},
		{133, 56 * m, 62 * m},
		{134, 45 * m, 47 * m},
		{135, 36 * m, 37 * m},
		{136, 28 * m, 32 * m},
		{137, 23 * m, 24 * m},
		{138, 18 * m, 19 * m},
		{139, 15 * m, 15 * m},
		{140, 12 * m, 12 * m},
		{141, 9 * m, 10 * m},
		{142, 8 * m, 8 * m},
		{143, 6 * m, 6 * m},
		{144, 5 * m, 5 * m},
		{145, 4 * m, 4 * m},
		{146, 169 * s, 182 * s},
		{147, 134 * s, 144 * s},
		{148, 107 * s, 115 * s},
		{149, 85 * s, 91 * s},
		{150, 67 * s, 72 * s},
		{151, 54 * s, 58 * s},
		{152, 43 * s, 46 * s},
		{153, 34 * s, 37 * s},
		{154, 27 * s, 29 * s},
		{155, 22 * s, 23 * s},
		{156, 17 * s, 19 * s},
		{157, 14 * s, 15 * s},
		{158, 0, 0},
	}
}

// AppendixA returns the time that the FSIS table asks for at a temperature held in all
// parts of the food: that of the last row not hotter. sevenLog takes the column for 7
// decimal reductions. It is an error below 130 F.
func AppendixA(at units.Fahrenheit, sevenLog bool) (time.Duration, error) {
	if err := at.Check(); err != nil {
		return 0, err
	}
	rows := AppendixATable()
	if at < rows[0].At {
		return 0, fmt.Errorf("%v is below the table, which starts at %v: cook hotter, or take another validated table", at, rows[0].At)
	}
	row := rows[int(min(math.Floor(float64(at-rows[0].At)+1e-9), float64(len(rows)-1)))]
	if sevenLog {
		return row.For70, nil
	}
	return row.For65, nil
}

// CautionAppendixA belongs beside every look-up of the FSIS table.
const CautionAppendixA = "The FSIS table is for cooked beef, roast beef and corned beef; poultry has its own."

// HoldResult says whether a history held a row of the FSIS table.
type HoldResult struct {
	// Verdict: met when a row was held by the readings less the probe tolerance, not met
	// when none was held by the readings as they are.
	Verdict Verdict
	// Row that was held, the hottest of those; the zero value when none was.
	Row HoldRow
	// Held without a break at or above the row's temperature, on the cautious side.
	Held time.Duration
	// Cautions to be shown with the result.
	Cautions []string
}

// HoldAppendixA looks in a history for a row of the FSIS table: its temperature or more in
// all readings over its time, without a gap longer than Options.MaxGap. A piece between two
// readings counts when both are hot enough.
func HoldAppendixA(history []Reading, sevenLog bool, o Options) (HoldResult, error) {
	o, err := o.filled()
	if err != nil {
		return HoldResult{}, err
	}
	if _, err := Lethality(history, listeria, Options{}); err != nil { // the same checks of the readings
		return HoldResult{}, err
	}
	r := HoldResult{Verdict: NotMet, Cautions: []string{CautionSafety, CautionLimit, CautionSpores, CautionAppendixA}}
	for _, row := range AppendixATable() {
		need := row.For65
		if sevenLog {
			need = row.For70
		}
		reached, held := longestAtOrAbove(history, row.At.Celsius().Add(o.ProbeTolerance), o.MaxGap)
		if reached && held >= need {
			r.Verdict, r.Row, r.Held = Met, row, held
			continue
		}
		if r.Verdict != NotMet {
			continue
		}
		if reached, held = longestAtOrAbove(history, row.At.Celsius(), o.MaxGap); reached && held >= need {
			r.Verdict, r.Row, r.Held = NotDecidable, row, held
		}
	}
	return r, nil
}

// longestAtOrAbove returns whether a temperature was reached at all, and for how long at a stretch.
func longestAtOrAbove(history []Reading, at units.Celsius, maxGap time.Duration) (reached bool, longest time.Duration) {
	var run time.Duration
	at -= 1e-9 // rounding of the conversion from F
	for i, reading := range history {
		hot := reading.Temperature >= at
		reached = reached || hot
		if i == 0 || !hot || history[i-1].Temperature < at {
			run = 0
			continue
		}
		dt := reading.At.Sub(history[i-1].At)
		if dt > maxGap {
			run = 0
			continue
		}
		run += dt
		longest = max(longest, run)
	}
	return reached, longest
}

// Equivalent is a time at a temperature.
type Equivalent struct {
	At   units.Celsius
	Time time.Duration
}

// UKEquivalentsSource of UKEquivalents.
var UKEquivalentsSource = Source{"UK Food Standards Agency, cooking safely: core temperatures and times", "safeworkers.co.uk/workplace-training/safe-cooking-temperatures", Reproduced}

// UKEquivalents returns the core temperatures and times of UK practice.
func UKEquivalents() []Equivalent {
	return []Equivalent{{60, 45 * time.Minute}, {65, 10 * time.Minute}, {70, 2 * time.Minute}, {75, 30 * time.Second}, {80, 6 * time.Second}}
}

// BotulinumEquivalents returns the UK table of equivalent times against non-proteolytic
// Clostridium botulinum; its source is that of the target "botulinum-np-6d-table".
func BotulinumEquivalents() []Equivalent {
	minutes := []float64{129, 100, 77, 60, 46, 36, 28, 22, 17, 13, 10, 7.9, 6.3, 5.0, 4.0, 3.2, 2.5, 2.0, 1.6, 1.3, 1.0}
	out := make([]Equivalent, len(minutes))
	for i, m := range minutes {
		out[i] = Equivalent{units.Celsius(80 + i), time.Duration(m * float64(time.Minute))}
	}
	return out
}

// Stabilization is a criterion or a schedule for cooling cooked meat, as data.
type Stabilization struct {
	ID, Name string
	// Points of the slowest cooling that the schedule allows, straight between them; the
	// first is at 0. Nil for the performance standard.
	Points []SchedulePoint
	Source
	Remark string
}

// SchedulePoint is a temperature that must be reached within a time from the first one.
type SchedulePoint struct {
	Within time.Duration
	At     units.Fahrenheit
}

// Stabilizations returns the performance standard of FSIS and its schedules. The
// standard is at most 1 log10 multiplication of Clostridium perfringens and none of
// Clostridium botulinum; this package does not cover the second.
func Stabilizations() []Stabilization {
	h := time.Hour
	news := "food-safety.com articles 6057 and 8819, and a reproduction of the 1999 Appendix B"
	return []Stabilization{
		{
			ID: "fsis-standard", Name: "at most 1 log10 of Clostridium perfringens, no multiplication of Clostridium botulinum",
			Source: Source{"USDA FSIS, 9 CFR 318.17 and 381.150 (1999); Stabilization Guideline FSIS-GD-2021-13", news, Reproduced},
		},
		{
			ID: "fsis-1", Name: "option 1: 130 to 80 F within 1.5 h, 80 to 40 F within 5 h",
			Points: []SchedulePoint{{0, 130}, {h + h/2, 80}, {6*h + h/2, 40}},
			Source: Source{"USDA FSIS Appendix B, option 1", news, Reproduced},
		},
		{
			ID: "fsis-2", Name: "option 2: 120 to 80 F within 1 h, 120 to 55 F within 6 h, then on to 40 F",
			Points: []SchedulePoint{{0, 120}, {h, 80}, {6 * h, 55}, {11 * h, 40}},
			Source: Source{"USDA FSIS Appendix B, option 2 with the limit of 2017 and 2021; phases of Glass and others 2022 after 55 F", "iastatedigitalpress.com/mmb/article/id/17650", Reproduced},
			Remark: "The guideline asks for continuous chilling to 40 F without a time; the 5 h are those of the experiment.",
		},
		{
			ID: "fsis-cured", Name: "cured: 130 to 80 F within 5 h, 80 to 45 F within 10 h",
			Points: []SchedulePoint{{0, 130}, {5 * h, 80}, {15 * h, 45}},
			Source: Source{"USDA FSIS Appendix B, cured products with at least 100 ppm nitrite; schedule as in King and others 2015, J Food Prot 78:946, abstract", "iifiir.org/en/fridoc/138423", Reproduced},
			Remark: "Not for stock: it rests on nitrite.",
		},
	}
}

// History returns the slowest cooling that a schedule allows, as readings at an interval of
// 1 s to 1 h. It is an error for the performance standard, which has no schedule.
func (s Stabilization) History(start time.Time, every time.Duration) ([]Reading, error) {
	if len(s.Points) < 2 {
		return nil, fmt.Errorf("%s has no schedule", s.ID)
	}
	if every < time.Second || every > time.Hour {
		return nil, fmt.Errorf("interval of %v is outside 1 s to 1 h", every)
	}
	out := []Reading{{start, s.Points[0].At.Celsius()}}
	for i, p := range s.Points[1:] {
		before := s.Points[i]
		for at := before.Within + every; at < p.Within; at += every {
			share := float64(at-before.Within) / float64(p.Within-before.Within)
			t := before.At + units.Fahrenheit(share*float64(p.At-before.At))
			out = append(out, Reading{start.Add(at), t.Celsius()})
		}
		out = append(out, Reading{start.Add(p.Within), p.At.Celsius()})
	}
	return out, nil
}
