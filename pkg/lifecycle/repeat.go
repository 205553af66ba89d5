package lifecycle

import (
	"context"
	"log/slog"
	"time"
)

// Repeat calls fn every interval of real time until ctx ends. When fn begins to fail, Repeat logs trouble once, not each
// time, and goes on.
func Repeat(ctx context.Context, interval time.Duration, logger *slog.Logger, trouble string, fn func(ctx context.Context) error) {
	ticker := time.NewTicker(interval)
	defer ticker.Stop()
	healthy := true
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
		err := fn(ctx)
		if err != nil && healthy && ctx.Err() == nil {
			logger.ErrorContext(ctx, trouble, slog.Any("error", err))
		}
		healthy = err == nil
	}
}
