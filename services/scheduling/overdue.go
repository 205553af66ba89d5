package scheduling

import (
	"context"
	"errors"
)

// WatchOverdue renews the forecast of running runs whose announced finish has passed, and tells others: nobody may have
// measured anything, but the clock says that what comes next will be late. It answers how many were told.
func (s *Service) WatchOverdue(ctx context.Context) (int, error) {
	running, err := s.store.RunningRuns(ctx)
	if err != nil {
		return 0, err
	}
	told := 0
	var faults []error
	for _, r := range running {
		if !s.clock.Now().After(r.Announced.Add(forecastNews)) {
			continue
		}
		err := s.store.InTx(ctx, func(ctx context.Context) error {
			current, err := s.store.GetRun(ctx, r.Name)
			if err != nil || current.State != RunRunning || !current.Announced.Equal(r.Announced) {
				return err
			}
			if err := s.renewForecast(ctx, &current); err != nil {
				return err
			}
			current.Meta = s.changed(current.Meta)
			return s.store.UpdateRun(ctx, current, s.exclusive(ctx))
		})
		if err == nil {
			told++
			continue
		}
		faults = append(faults, err)
	}
	return told, errors.Join(faults...)
}
