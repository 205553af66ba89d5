package gs1_test

import (
	"testing"

	"pgregory.net/rapid"

	"rondeau.internal/pkg/gs1"
)

// Dates, times and the century rule: dict, lint_yymmdd, lint_yymmd0, lint_hhmi.
func TestDatesOfTheSyntaxDictionary(t *testing.T) {
	t.Parallel()
	for _, s := range []string{"200229", "000229", "960229", "240229", "200131"} {
		for _, ai := range []string{"17", "7006"} {
			if err := (gs1.Element{AI: ai, Value: s}).Check(); err != nil {
				t.Errorf("(%s)%s: %v", ai, s, err)
			}
		}
	}
	for _, s := range []string{"210229", "220229", "200230", "200431", "200010", "201310", "x00131", "20013", "2001311", "200132"} {
		if err := (gs1.Element{AI: "17", Value: s}).Check(); err == nil {
			t.Errorf("(17)%s passes", s)
		}
	}
	for _, ai := range []string{"11", "13", "15", "16", "17"} {
		if err := (gs1.Element{AI: ai, Value: "200600"}).Check(); err != nil {
			t.Errorf("(%s)200600: %v", ai, err)
		}
	}
	for _, e := range []gs1.Element{{"7003", "2006000000"}, {"7006", "200600"}, {"7007", "200600"}, {"8008", "20060000"}} {
		if e.Check() == nil {
			t.Errorf("(%s)%s passes without a day", e.AI, e.Value)
		}
	}
	for value, ok := range map[string]bool{"2006010000": true, "2006012359": true, "2006012400": false, "2006011260": false} {
		if err := (gs1.Element{AI: "7003", Value: value}).Check(); (err == nil) != ok {
			t.Errorf("(7003)%s: %v", value, err)
		}
	}
	for value, ok := range map[string]bool{
		"20060123": true, "2006012359": true, "200601235959": true, "20060124": false, "2006012360": false, "200601": false, "2006012": false,
	} {
		if err := (gs1.Element{AI: "8008", Value: value}).Check(); (err == nil) != ok {
			t.Errorf("(8008)%s: %v", value, err)
		}
	}
}

func TestTheCenturyIsTheOneNextToTheYear(t *testing.T) {
	t.Parallel()
	cases := []struct {
		date     string
		thisYear int
		want     int
	}{
		{"000115", 2026, 2000}, {"760115", 2026, 2076}, {"770115", 2026, 1977}, {"990115", 2026, 1999}, // computed from the rule
		{"260115", 2026, 2026}, {"490115", 2099, 2149}, {"500115", 2099, 2050},
	}
	for _, tc := range cases {
		if d, err := gs1.ParseDate(tc.date, tc.thisYear); err != nil || d.Year != tc.want {
			t.Errorf("%s in %d = %+v, %v, want %d", tc.date, tc.thisYear, d, err, tc.want)
		}
	}
}

func TestDayZeroIsTheLastOfTheMonth(t *testing.T) {
	t.Parallel()
	for s, day := range map[string]int{"260200": 28, "280200": 29, "260400": 30, "261200": 31} {
		d, err := gs1.ParseDate(s, 2026)
		if err != nil || d.Day != day || !d.NoDay {
			t.Errorf("%s = %+v, %v, want day %d", s, d, err, day)
		}
		if back, err := gs1.FormatDate(d); err != nil || back != s {
			t.Errorf("%+v writes %s, %v, want %s", d, back, err, s)
		}
	}
	for _, bad := range []gs1.Date{{Year: 1950, Month: 1, Day: 1}, {Year: 2026, Month: 2, Day: 29}, {Year: 2026, Month: 13, Day: 1}, {Year: 2026, Month: 1}} {
		if s, err := gs1.FormatDate(bad); err == nil {
			t.Errorf("%+v writes %s, want an error", bad, s)
		}
	}
}

func TestWeightsAreExact(t *testing.T) {
	t.Parallel()
	cases := []struct {
		mg   int64
		want string
	}{
		// (3103)001750 = 1.750 kg and (3102)001750 = 17.50 kg: General Specifications by way of the dictionary. We write the
		// fewest decimals that are exact.
		{1_750_000, "(3102)000175"},
		{17_500_000, "(3101)000175"},
		{1_000_000, "(3100)000001"},
		{195_000, "(3103)000195"},
		{10, "(3105)000001"},
		{9_999_990, "(3105)999999"},
		{999_999_000_000, "(3100)999999"},
	}
	for _, tc := range cases {
		e, err := gs1.NetWeight(tc.mg)
		if got := (gs1.Message{e}).String(); err != nil || got != tc.want {
			t.Errorf("%d mg = %s, %v, want %s", tc.mg, got, err, tc.want)
			continue
		}
		if mg, err := gs1.Milligrams(e); err != nil || mg != tc.mg {
			t.Errorf("%s = %d mg, %v, want %d", tc.want, mg, err, tc.mg)
		}
	}
	for _, e := range []gs1.Element{{"3103", "001750"}, {"3302", "000175"}} {
		if mg, err := gs1.Milligrams(e); err != nil || mg != 1_750_000 {
			t.Errorf("%+v = %d mg, %v", e, mg, err)
		}
	}
	for _, mg := range []int64{0, -5, 1, 15, 10_000_010, 1_000_000_000_000} {
		if e, err := gs1.NetWeight(mg); err == nil {
			t.Errorf("%d mg = %+v, want an error", mg, e)
		}
	}
	for _, e := range []gs1.Element{{"3203", "001750"}, {"3103", "1750"}, {"31", "1"}, {"10", "A"}} {
		if mg, err := gs1.Milligrams(e); err == nil {
			t.Errorf("%+v = %d mg, want an error", e, mg)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		mg := rapid.Int64Range(1, 999_999).Draw(t, "ten milligrams") * 10
		e, err := gs1.NetWeight(mg)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := gs1.Milligrams(e); err != nil || back != mg {
			t.Errorf("%d mg comes back as %d, %v", mg, back, err)
		}
	})
}
