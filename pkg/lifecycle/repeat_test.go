package lifecycle_test

import (
	"bytes"
	"context"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"rondeau.internal/pkg/lifecycle"
)

func TestRepeatLogsTroubleWhenItBegins(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 65*time.Second)
		defer cancel()
		var log bytes.Buffer
		calls := 0
		lifecycle.Repeat(ctx, 10*time.Second, slog.New(slog.NewTextHandler(&log, nil)), "the clock cannot be watched", func(context.Context) error {
			calls++
			if calls == 2 || calls == 3 || calls == 5 { // down twice
				return errBroken
			}
			return nil
		})
		if calls != 6 {
			t.Errorf("called %d times in 65 s", calls)
		}
		if n := strings.Count(log.String(), "the clock cannot be watched"); n != 2 || !strings.Contains(log.String(), errBroken.Error()) {
			t.Errorf("logged %d times: %s", n, log.String())
		}
	})
}
