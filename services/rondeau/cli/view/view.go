// Package view renders protos for a person at a terminal: lists as tables, one resource as labelled lines, and either
// as JSON. It works from field names alone: units come from a name's last words, resource names lose the part that
// every name of the site shares, times are shown in the site's own zone.
package view

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// Style says how values are written.
type Style struct {
	Site string         // resource name of the site, cut off other names; may be empty
	Zone *time.Location // nil means UTC
}

// unitSuffixes maps the last words of a field name to the unit that a person reads.
var unitSuffixes = []struct{ suffix, unit string }{
	{"_kg_per_hour", "kg/h"},
	{"_kg_per_liter", "kg/L"},
	{"_liters_per_kg", "L/kg"},
	{"_liters_per_hour", "L/h"},
	{"_meters_per_second", "m/s"},
	{"_kilowatt_hours", "kWh"},
	{"_watts_per_square_meter_kelvin", "W/m2K"},
	{"_kg", "kg"},
	{"_liters", "L"},
	{"_celsius", "°C"},
	{"_fahrenheit", "°F"},
	{"_kilowatts", "kW"},
	{"_watts", "W"},
	{"_meters", "m"},
	{"_seconds", "s"},
	{"_minutes", "min"},
	{"_hours", "h"},
	{"_fraction", ""},
	{"_percent", "%"},
	{"_brix", "°Brix"},
}

// splitUnit cuts the unit off a field name: `mass_kg` is `mass` and `kg`.
func splitUnit(field string) (stem, unit string) {
	for _, s := range unitSuffixes {
		if s.unit != "" && strings.HasSuffix(field, s.suffix) {
			return strings.TrimSuffix(field, s.suffix), s.unit
		}
	}
	return field, ""
}

// label is the field name as words: `planned_output_kg` is "planned output".
func label(field string) string {
	stem, _ := splitUnit(field)
	return strings.ReplaceAll(stem, "_", " ")
}

// Label is the field name as words without its unit.
func Label(field string) string { return label(field) }

// header is the heading of a table column, with its unit.
func header(field string) string {
	parts := strings.Split(field, ".")
	last := parts[len(parts)-1]
	if last == "name" && len(parts) > 1 {
		last = parts[len(parts)-2]
	}
	_, unit := splitUnit(last)
	text := strings.ToUpper(label(last))
	if unit != "" {
		text += " " + unit
	}
	return text
}

func (s Style) zone() *time.Location {
	if s.Zone == nil {
		return time.UTC
	}
	return s.Zone
}

// Time writes a moment to the minute in the site's zone.
func (s Style) Time(t time.Time) string {
	return t.In(s.zone()).Format("Mon 2006-01-02 15:04")
}

// mixed names the fields that refer to things of several kinds; their names keep the kind.
var mixed = map[protoreflect.Name]bool{"subject": true, "subjects": true, "resource": true, "source": true, "target": true}

// seconds names the moments whose seconds matter to a person: those at which something was measured or written down.
var seconds = map[protoreflect.Name]bool{"observe_time": true, "record_time": true}

// Name cuts the site off a resource name.
func (s Style) Name(name string) string {
	if s.Site != "" {
		if short, ok := strings.CutPrefix(name, s.Site+"/"); ok {
			return short
		}
	}
	return name
}

// resourceName tells a resource name from a text that begins with one.
var resourceName = regexp.MustCompile(`^[a-zA-Z0-9/-]+$`)

// moments finds moments in UTC inside a text.
var moments = regexp.MustCompile(`\b\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z`)

// HasMoment reports whether a text tells a moment in UTC.
func HasMoment(text string) bool { return moments.MatchString(text) }

// Text writes a text of a service for a person of the site: names without the site, moments in its zone.
func (s Style) Text(text string) string {
	if s.Site != "" {
		text = strings.ReplaceAll(text, s.Site+"/", "")
	}
	text = strings.Map(visible, text)
	return moments.ReplaceAllStringFunc(text, func(found string) string {
		t, err := time.Parse(time.RFC3339, found)
		if err != nil {
			return found
		}
		return s.Time(t)
	})
}

// visible replaces signs that steer a terminal; the separator of GS1 element strings shows as a picture of itself.
func visible(r rune) rune {
	switch {
	case r == '\n' || r == '\t' || !unicode.IsControl(r):
		return r
	case r < 0x20:
		return 0x2400 + r // Unicode, Control Pictures
	default:
		return unicode.ReplacementChar
	}
}

// ID is the last word of a resource name, or for a name with two collections below the site the two ids.
func (s Style) ID(name string) string {
	parts := strings.Split(s.Name(name), "/")
	if len(parts) < 2 || len(parts)%2 != 0 {
		return name
	}
	ids := make([]string, 0, len(parts)/2)
	for i := 1; i < len(parts); i += 2 {
		ids = append(ids, parts[i])
	}
	return strings.Join(ids, "/")
}

// Number writes a measured value with as many digits as a kitchen reads.
func Number(v float64) string {
	switch size := math.Abs(v); {
	case size >= 1000:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case size >= 100:
		return trimZeros(strconv.FormatFloat(v, 'f', 1, 64))
	case size >= 1 || size == 0:
		return trimZeros(strconv.FormatFloat(v, 'f', 2, 64))
	default:
		return trimZeros(strconv.FormatFloat(v, 'f', 4, 64))
	}
}

func trimZeros(text string) string {
	if !strings.Contains(text, ".") {
		return text
	}
	return strings.TrimRight(strings.TrimRight(text, "0"), ".")
}

// Duration writes hours and minutes: "6h 10m", "45m", "30s".
func Duration(d time.Duration) string {
	if d < 0 {
		return "-" + Duration(-d)
	}
	d = d.Round(time.Second)
	hours, minutes, seconds := int(d.Hours()), int(d.Minutes())%60, int(d.Seconds())%60
	switch {
	case hours >= 48 && hours%24 == 0:
		return fmt.Sprintf("%d days", hours/24)
	case hours >= 48:
		return fmt.Sprintf("%d days %dh", hours/24, hours%24)
	case hours > 0 && minutes == 0:
		return fmt.Sprintf("%dh", hours)
	case hours > 0:
		return fmt.Sprintf("%dh %02dm", hours, minutes)
	case minutes > 0 && seconds == 0:
		return fmt.Sprintf("%dm", minutes)
	case minutes > 0:
		return fmt.Sprintf("%dm %02ds", minutes, seconds)
	default:
		return fmt.Sprintf("%ds", seconds)
	}
}

// scalar writes one value of a field; lists and messages other than moments and durations are left to the callers.
func (s Style) scalar(field protoreflect.FieldDescriptor, value protoreflect.Value) string {
	switch field.Kind() {
	case protoreflect.BoolKind:
		if value.Bool() {
			return "yes"
		}
		return "no"
	case protoreflect.EnumKind:
		number := field.Enum().Values().ByNumber(value.Enum())
		if number == nil {
			return strconv.Itoa(int(value.Enum()))
		}
		if number.Number() == 0 {
			return ""
		}
		return EnumWords(number)
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		return Number(value.Float())
	case protoreflect.StringKind:
		return s.Text(value.String())
	case protoreflect.MessageKind:
		if t, ok := value.Message().Interface().(*timestamppb.Timestamp); ok && seconds[field.Name()] && t.AsTime().Second() != 0 {
			return t.AsTime().In(s.zone()).Format("Mon 2006-01-02 15:04:05")
		}
		return s.message(value.Message())
	default:
		return value.String()
	}
}

func (s Style) message(m protoreflect.Message) string {
	switch v := m.Interface().(type) {
	case *timestamppb.Timestamp:
		return s.Time(v.AsTime())
	case *durationpb.Duration:
		return Duration(v.AsDuration())
	default:
		return s.inline(m)
	}
}

// inline writes a small message on one line: "item stock, mass 12 kg".
func (s Style) inline(m protoreflect.Message) string {
	var parts []string
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		if !m.Has(field) {
			continue
		}
		_, unit := splitUnit(string(field.Name()))
		text := s.field(field, m.Get(field))
		if text == "" {
			continue
		}
		if unit != "" {
			text += " " + unit
		}
		parts = append(parts, label(string(field.Name()))+" "+text)
	}
	return strings.Join(parts, ", ")
}

func (s Style) field(field protoreflect.FieldDescriptor, value protoreflect.Value) string {
	switch {
	case field.IsMap():
		return fmt.Sprintf("%d entries", value.Map().Len())
	case field.IsList():
		list := value.List()
		parts := make([]string, list.Len())
		for i := range list.Len() {
			parts[i] = s.scalar(field, list.Get(i))
			if field.Kind() == protoreflect.StringKind && s.Site != "" && resourceName.MatchString(list.Get(i).String()) && strings.HasPrefix(list.Get(i).String(), s.Site+"/") && !mixed[field.Name()] {
				parts[i] = s.ID(list.Get(i).String())
			}
		}
		return strings.Join(parts, "; ")
	default:
		return s.scalar(field, value)
	}
}
