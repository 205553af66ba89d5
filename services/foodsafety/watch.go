package foodsafety

import (
	"context"
	"errors"
	"fmt"
)

// WatchClock judges every chill in progress as of now and fails those whose time is over. It returns the number of
// chills that failed. One chill that cannot be judged does not keep the others from it.
func (s *Service) WatchClock(ctx context.Context) (int, error) {
	chills, err := s.store.ChillsInProgress(ctx)
	if err != nil {
		return 0, err
	}
	count := 0
	var faults []error
	for i := range chills {
		failed, err := s.watchOne(ctx, chills[i].Name)
		if err != nil {
			faults = append(faults, fmt.Errorf("watch %s: %w", chills[i].Name, err))
			continue
		}
		if failed {
			count++
		}
	}
	return count, errors.Join(faults...)
}

func (s *Service) watchOne(ctx context.Context, name string) (failed bool, err error) {
	// Look first without the write lock: most of the time nothing has changed.
	seen, err := s.GetChill(ctx, name)
	if err != nil {
		return false, err
	}
	stored, err := s.store.GetChill(ctx, name)
	if err != nil {
		return false, err
	}
	if seen.State != ChillInProgress || !seen.Judgement.Missed() && seen.AtRisk == stored.AtRisk {
		return false, nil
	}
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		failed = false
		c, err := s.store.GetChill(ctx, name)
		if err != nil || c.State != ChillInProgress {
			return err
		}
		before := *c
		if err := s.saveJudged(ctx, system, c, &before, "", ""); err != nil {
			return err
		}
		failed = c.State == ChillFailed
		return nil
	})
	return failed, err
}
