package foodsafety

import (
	"context"
	"fmt"
	"time"

	"rondeau.internal/pkg/microbe"
)

// Growth is how much bacteria may have grown in a chill, by the probe with the most growth.
type Growth struct {
	microbe.Result
	Probe string // empty for readings by hand
	At    time.Time
}

// EstimateGrowth estimates the growth of Clostridium perfringens in a chill from its readings. It informs whoever
// decides about the food; the judgement of the chill does not depend on it.
func (s *Service) EstimateGrowth(ctx context.Context, name string, food microbe.Product) (*Growth, error) {
	if err := food.Check(); err != nil {
		return nil, invalidField(FieldInvalid, "acidity_ph", "%s", err)
	}
	var g *Growth
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		c, err := s.store.GetChill(ctx, name)
		if err != nil {
			return err
		}
		readings, err := s.store.Readings(ctx, name)
		if err != nil {
			return err
		}
		g, err = estimateGrowth(c, c.samples(readings), food, s.now())
		return err
	})
	return g, err
}

// estimateGrowth takes the probe with the largest upper value. The temperatures are those that the chill is judged by.
func estimateGrowth(c *Chill, samples []Sample, food microbe.Product, now time.Time) (*Growth, error) {
	var worst *Growth
	for _, list := range series(samples) {
		history := historyOf(list)
		options := microbe.Options{MaxGap: c.Limits.MaxGap}
		if !c.StartTime.After(history[0].At) {
			options.Began = c.StartTime
		}
		r, err := microbe.Growth(history, food, options)
		if err != nil {
			return nil, fmt.Errorf("growth in %s: %w", c.Name, err)
		}
		if worst == nil || r.Upper > worst.Upper {
			worst = &Growth{Result: r, Probe: probeOf(list), At: now}
		}
	}
	if worst == nil {
		worst = &Growth{At: now}
		worst.Limit, worst.Reason = 1, "there are no readings"
		worst.Cautions = []string{microbe.CautionFewReadings, microbe.CautionSafety}
	}
	return worst, nil
}

// historyOf keeps the warmer of two samples of one moment.
func historyOf(list []Sample) []microbe.Reading {
	var history []microbe.Reading
	for _, x := range list {
		if n := len(history); n > 0 && !x.At.After(history[n-1].At) {
			history[n-1].Temperature = max(history[n-1].Temperature, x.Temperature)
			continue
		}
		history = append(history, microbe.Reading{At: x.At, Temperature: x.Temperature})
	}
	return history
}

// probeOf is the probe of a series, in which readings by hand may be mixed.
func probeOf(list []Sample) string {
	for _, x := range list {
		if x.Probe != "" {
			return x.Probe
		}
	}
	return ""
}
