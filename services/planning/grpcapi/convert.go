package grpcapi

import (
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/planning"
)

func timeProto(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func timeDomain(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime()
}

// durationProto leaves zero unset.
func durationProto(d time.Duration) *durationpb.Duration {
	if d == 0 {
		return nil
	}
	return durationpb.New(d)
}

// optionalProto keeps zero apart from unset.
func optionalProto(d *time.Duration) *durationpb.Duration {
	if d == nil {
		return nil
	}
	return durationpb.New(*d)
}

func optionalDomain(d *durationpb.Duration) *time.Duration {
	if d == nil {
		return nil
	}
	out := d.AsDuration()
	return &out
}

func clockProto(t *planning.TimeOfDay) string {
	if t == nil {
		return ""
	}
	return t.String()
}

// clockDomain reads HH:MM; the shape was checked by the rules of the proto file.
func clockDomain(text string) *planning.TimeOfDay {
	t, err := planning.ParseTimeOfDay(text)
	if err != nil {
		return nil
	}
	return &t
}

func kg(m units.Milligrams) float64 { return float64(m.Mass()) }

func weekdaysProto(w planning.Weekdays) []pb.Weekday {
	var out []pb.Weekday
	for _, d := range w.Days() {
		n := pb.Weekday(d)
		if d == time.Sunday {
			n = pb.Weekday_WEEKDAY_SUNDAY
		}
		out = append(out, n)
	}
	return out
}

func weekdaysDomain(days []pb.Weekday) planning.Weekdays {
	var w planning.Weekdays
	for _, d := range days {
		w |= 1 << (int(d) % 7) // Sunday is 7 here and 0 there
	}
	return w
}
