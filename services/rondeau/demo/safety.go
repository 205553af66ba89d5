package demo

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
)

// release signs a lot off, once the news of it has come to food safety, and waits until inventory knows.
func (w *world) release(ctx context.Context, lot string) error {
	return w.releaseBy(ctx, firstSafety, lot)
}

func (w *world) releaseBy(ctx context.Context, signer auth.Principal, lot string) error {
	d := w.here(signer)
	refused := ""
	err := arrive(ctx, "the news of "+lot, func(ctx context.Context) (string, error) {
		_, err := d.foodsafety.ReleaseLot(ctx, &foodsafetypb.ReleaseLotRequest{Lot: lot, Note: "Chill records, batch record and labels reviewed."})
		known, ok := apierr.As(err)
		switch {
		case err == nil || ok && known.Reason == "LOT_ALREADY_RELEASED":
			return "", nil
		case ok && known.Reason == "LOT_UNKNOWN":
			return known.Message, nil
		case ok && known.Reason == "LOT_NOT_RELEASABLE":
			refused = known.Message
			for _, v := range known.Violations {
				refused += "; " + v.Description
			}
			return "", nil
		}
		return "", err
	})
	if err != nil {
		return err
	}
	if refused != "" {
		w.report.Unreleased = append(w.report.Unreleased, refused)
		w.say("not released: %s", refused)
		return nil
	}
	w.report.Releases++
	return w.inventoryHears(ctx, lot)
}

// inventoryHears waits until inventory takes a lot for released and free of holds.
func (w *world) inventoryHears(ctx context.Context, lot string) error {
	return arrive(ctx, "the release of "+lot, func(ctx context.Context) (string, error) {
		l, err := w.here(manager).inventory.GetLot(ctx, &inventorypb.GetLotRequest{Name: lot})
		if err != nil {
			return "", err
		}
		if l.GetHeld() || !l.GetReleased() {
			return fmt.Sprintf("inventory has held %v, released %v", l.GetHeld(), l.GetReleased()), nil
		}
		return "", nil
	})
}

func (w *world) deviations(ctx context.Context, filter string) ([]*foodsafetypb.Deviation, error) {
	d := w.here(auditor)
	return all(func(token string) ([]*foodsafetypb.Deviation, string, error) {
		page, err := d.foodsafety.ListDeviations(ctx, &foodsafetypb.ListDeviationsRequest{Parent: w.site, PageSize: fullPage, PageToken: token, Filter: filter})
		return page.GetDeviations(), page.GetNextPageToken(), err
	})
}

// settleDeviation records what was done, and lets another person review and close. The same person is refused first.
func (w *world) settleDeviation(ctx context.Context, dev *foodsafetypb.Deviation, decision foodsafetypb.CorrectiveAction_Decision, text string) error {
	first, other := w.here(firstSafety), w.here(otherSafety)
	_, err := first.foodsafety.RecordCorrectiveAction(ctx, &foodsafetypb.RecordCorrectiveActionRequest{
		Name: dev.GetName(), CorrectiveAction: &foodsafetypb.CorrectiveAction{Text: text, Decision: decision},
	})
	if err != nil {
		return err
	}
	_, err = first.foodsafety.CloseDeviation(ctx, &foodsafetypb.CloseDeviationRequest{Name: dev.GetName(), Note: "Done."})
	err = w.refused("closing of a deviation by the person who took the action", "SECOND_PERSON_REQUIRED", err)
	if err != nil {
		return err
	}
	closed, err := other.foodsafety.CloseDeviation(ctx, &foodsafetypb.CloseDeviationRequest{Name: dev.GetName(), Note: "Records reviewed, cause understood."})
	if err != nil {
		return err
	}
	w.report.Deviations = append(w.report.Deviations, DeviationClosed{
		Name: closed.GetName(), Kind: closed.GetKind().String(), Opened: closed.GetOpenTime().AsTime(), Closed: closed.GetCloseTime().AsTime(),
		Text: closed.GetDescription(), Decision: decision.String(), ActionBy: firstSafety.Subject, ClosedBy: closed.GetCloser(),
	})
	return nil
}

// discard decides that failed food is thrown away, and the manager plans again without it.
func (w *world) discard(ctx context.Context, deviation string, b *batch) error {
	d := w.here(firstSafety)
	dev, err := d.foodsafety.GetDeviation(ctx, &foodsafetypb.GetDeviationRequest{Name: deviation})
	if err != nil {
		return err
	}
	err = w.settleDeviation(ctx, dev, foodsafetypb.CorrectiveAction_DISCARD, "Too long between the limits; not reheated. Chiller checked before the next load.")
	if err != nil {
		return err
	}
	lot := b.lots[0].GetName()
	change, err := d.inventory.DiscardLot(ctx, &inventorypb.DiscardLotRequest{Name: lot, Reason: "Missed cooling limit, see " + idOf(deviation), MoveTime: timestamppb.New(w.now)})
	if err != nil {
		return err
	}
	w.report.Discarded = append(w.report.Discarded, fmt.Sprintf("%s, %.1f kg", title(b), change.GetLot().GetInitialMassKg()))
	w.say("%s is thrown away", title(b))
	w.queue.add(w.now.Add(15*time.Minute), "plan without the discarded batch", func(ctx context.Context) error {
		return w.replan(ctx, "discarded: "+title(b))
	})
	return nil
}
