package gs1

import (
	"fmt"
	"strconv"
)

// Date is a calendar day of an element.
type Date struct {
	Year, Month, Day int
	// NoDay: the element gave no day (DD=00); Day is then the last of the month.
	NoDay bool
}

// ParseDate reads YYMMDD. DD=00 stands for the last day of the month; the AIs 11 to 17 allow it, others
// do not. The century is the one that puts the year next to thisYear: with d = YY - thisYear mod 100, d ≥ 51 is the
// century before and d ≤ -50 the one after (GS1 General Specifications, "Determination of century in dates").
func ParseDate(s string, thisYear int) (Date, error) {
	if len(s) != 6 || notDigit(s) >= 0 {
		return Date{}, fmt.Errorf("date %q; give six digits YYMMDD", s)
	}
	yy, month, day := pair(s, 0), pair(s, 2), pair(s, 4)
	year := thisYear - thisYear%100 + yy
	switch d := yy - thisYear%100; {
	case d >= 51:
		year -= 100
	case d <= -50:
		year += 100
	}
	if month < 1 || month > 12 {
		return Date{}, fmt.Errorf("date %q has month %02d; give 01 to 12", s, month)
	}
	last := monthDays(year, month)
	if day > last {
		return Date{}, fmt.Errorf("date %q has day %02d; that month has %d days", s, day, last)
	}
	if day == 0 {
		return Date{year, month, last, true}, nil
	}
	return Date{year, month, day, false}, nil
}

// pair reads two digits of s.
func pair(s string, at int) int { return int(s[at]-'0')*10 + int(s[at+1]-'0') }

func monthDays(year, month int) int {
	switch month {
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

// checkDate checks a date whose century does not matter. 2000 stands for it: YY=00 is a leap year in every
// reading from 1951 to 2049.
func checkDate(s string, day0 bool) error {
	d, err := ParseDate(s, 2000)
	if err != nil {
		return err
	}
	if d.NoDay && !day0 {
		return fmt.Errorf("date %q has day 00; here the day must be given", s)
	}
	return nil
}

// FormatDate writes YYMMDD, with DD=00 when the date has NoDay. The year must be 1951 to 2099.
func FormatDate(d Date) (string, error) {
	if d.Year < 1951 || d.Year > 2099 {
		return "", fmt.Errorf("year %d; GS1 dates of this century have years 1951 to 2099", d.Year)
	}
	if d.Month < 1 || d.Month > 12 || d.Day < 1 || d.Day > monthDays(d.Year, d.Month) {
		return "", fmt.Errorf("%04d-%02d-%02d is no day of the calendar", d.Year, d.Month, d.Day)
	}
	day := d.Day
	if d.NoDay {
		day = 0
	}
	return fmt.Sprintf("%02d%02d%02d", d.Year%100, d.Month, day), nil
}

// NetWeight returns the element (310n) of an exact mass in milligrams, with the fewest decimals n that hold
// it. An error says when six digits cannot: below 10 mg resolution or above 999,999 kg.
func NetWeight(milligrams int64) (Element, error) {
	if milligrams <= 0 {
		return Element{}, fmt.Errorf("net weight %d mg; give more than 0", milligrams)
	}
	step := int64(1_000_000) // milligrams per unit of the last digit
	for n := range 6 {
		if milligrams%step == 0 {
			if v := milligrams / step; v <= 999_999 {
				return Element{"310" + strconv.Itoa(n), fmt.Sprintf("%06d", v)}, nil
			}
			break
		}
		step /= 10
	}
	return Element{}, fmt.Errorf("net weight %d mg needs more than the six digits, five of them decimals of a kilogram, "+
		"of (310n); round it to what the scale shows", milligrams)
}

// Milligrams returns the exact mass of a (310n) or (330n) element.
func Milligrams(e Element) (int64, error) {
	if len(e.AI) != 4 || e.AI[:3] != "310" && e.AI[:3] != "330" {
		return 0, fmt.Errorf("(%s) is no weight in kilograms; (310n) and (330n) are", e.AI)
	}
	if err := e.Check(); err != nil {
		return 0, err
	}
	v, err := strconv.ParseInt(e.Value, 10, 64)
	if err != nil {
		return 0, fmt.Errorf("read (%s)%s: %w", e.AI, e.Value, err)
	}
	v *= 1_000_000
	for range e.AI[3] - '0' {
		v /= 10
	}
	return v, nil
}
