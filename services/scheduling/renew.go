package scheduling

import (
	"context"
	"time"
)

// renewing asks for a new outlook of the published schedule with every fact that changes it, in the same transaction.
type renewing struct {
	Events
	store Store
}

func (e renewing) after(ctx context.Context, name string, err error) error {
	if err != nil {
		return err
	}
	return e.store.RequestPublishedOutlook(ctx, siteOf(name))
}

// SchedulePublished implements Events.
func (e renewing) SchedulePublished(ctx context.Context, s Schedule, superseded string) error {
	return e.after(ctx, s.Name, e.Events.SchedulePublished(ctx, s, superseded))
}

// RunStarted implements Events.
func (e renewing) RunStarted(ctx context.Context, r Run) error {
	return e.after(ctx, r.Name, e.Events.RunStarted(ctx, r))
}

// RunFinished implements Events.
func (e renewing) RunFinished(ctx context.Context, r Run, batchFinished bool) error {
	return e.after(ctx, r.Name, e.Events.RunFinished(ctx, r, batchFinished))
}

// RunAborted implements Events.
func (e renewing) RunAborted(ctx context.Context, r Run) error {
	return e.after(ctx, r.Name, e.Events.RunAborted(ctx, r))
}

// VesselDown implements Events.
func (e renewing) VesselDown(ctx context.Context, v Vessel, w DownWindow, planned []string) error {
	return e.after(ctx, v.Name, e.Events.VesselDown(ctx, v, w, planned))
}

// VesselUp implements Events.
func (e renewing) VesselUp(ctx context.Context, v Vessel, reporter string, at time.Time) error {
	return e.after(ctx, v.Name, e.Events.VesselUp(ctx, v, reporter, at))
}

// ForecastChanged implements Events.
func (e renewing) ForecastChanged(ctx context.Context, r Run, previous time.Time, delayed []string) error {
	return e.after(ctx, r.Name, e.Events.ForecastChanged(ctx, r, previous, delayed))
}
