package foodsafety

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"rondeau.internal/pkg/apierr"
)

// GetRelease returns one release.
func (s *Service) GetRelease(ctx context.Context, name string) (*Release, error) {
	var r *Release
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		var err error
		if r, err = s.store.GetRelease(ctx, name); err != nil {
			return err
		}
		return s.markVoided(ctx, r)
	})
	return r, err
}

// ListReleases returns one page of releases and whether more follow.
func (s *Service) ListReleases(ctx context.Context, page Page) (list []Release, more bool, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context) error {
		list, more, err = pageOf(page, func(p Page) ([]Release, error) { return s.store.ListReleases(ctx, p) })
		if err != nil {
			return err
		}
		for i := range list {
			if err := s.markVoided(ctx, &list[i]); err != nil {
				return err
			}
		}
		return nil
	})
	return list, more, err
}

// markVoided says whether a hold on the lot or its batch was placed after the signature.
func (s *Service) markVoided(ctx context.Context, r *Release) error {
	for _, subject := range []string{r.Lot, r.Batch} {
		if subject == "" {
			continue
		}
		holds, err := s.store.HoldsOn(ctx, subject)
		if err != nil {
			return err
		}
		for _, h := range holds {
			r.Voided = r.Voided || h.Sequence > r.Sequence
		}
	}
	return nil
}

// standingRelease is the release of a lot that no later hold made void, nil when there is none.
func (s *Service) standingRelease(ctx context.Context, lot string) (*Release, error) {
	r, err := s.store.LatestRelease(ctx, lot)
	if err != nil || r == nil {
		return nil, err
	}
	if err := s.markVoided(ctx, r); err != nil || r.Voided {
		return nil, err
	}
	return r, nil
}

// ReleaseRequest is what the signer says.
type ReleaseRequest struct {
	Lot           string
	Note          string
	NoChillReason string // why no chill was needed; asked for when none is on record
	ValidateOnly  bool
}

// ReleaseLot signs that a lot may be shipped. Every rule that stands against it is a violation of the error.
func (s *Service) ReleaseLot(ctx context.Context, q ReleaseRequest) (*Release, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	run := s.store.InTx
	if q.ValidateOnly {
		run = s.store.InReadTx
	}
	var r *Release
	err = run(ctx, func(ctx context.Context) error {
		r, err = s.review(ctx, who, q)
		if err != nil || q.ValidateOnly {
			return err
		}
		r.Sequence, err = s.record(ctx, who, r.Name, "lot.released", nil, *r, q.Note)
		if err != nil {
			return err
		}
		if err := s.store.InsertRelease(ctx, r); err != nil {
			return err
		}
		return s.events.Publish(ctx, LotReleased{Release: r})
	})
	if err != nil {
		return nil, err
	}
	return r, nil
}

// review checks every rule of a release.
func (s *Service) review(ctx context.Context, who actor, q ReleaseRequest) (*Release, error) {
	lot, err := s.store.GetLot(ctx, q.Lot)
	if err != nil {
		return nil, err
	}
	if lot == nil {
		return nil, apierr.FailedPrecondition(LotUnknown, "%s is not known to food safety yet; record its production, or wait until the news of it has arrived", q.Lot).
			With("lot", q.Lot).WithViolation(q.Lot, "the lot is not known").WithResource(q.Lot)
	}
	standing, err := s.standingRelease(ctx, q.Lot)
	if err != nil {
		return nil, err
	}
	if standing != nil {
		return nil, apierr.FailedPrecondition(LotAlreadyReleased, "%s was released already by %s (%s)", q.Lot, standing.Signer, standing.Name).
			With("lot", q.Lot).With("release", standing.Name).With("signer", standing.Signer).WithResource(q.Lot)
	}
	now := s.now()
	r := &Release{
		Name: nameOf(SiteOf(q.Lot), releasesCollection, "release-"+randomID()), UID: newUID(), Lot: q.Lot, Batch: lot.Batch,
		Signer: who.subject, SignTime: now, Meaning: releaseMeaning, Note: q.Note,
	}
	refusal := apierr.FailedPrecondition(LotNotReleasable, "%s may not be released; clear what stands against it first", q.Lot).With("lot", q.Lot).WithResource(q.Lot)
	scan := newLotScan(s)
	status, err := scan.status(ctx, q.Lot)
	if err != nil {
		return nil, err
	}
	for _, reason := range status.standing {
		refusal = refusal.WithViolation(reason.subject, "%s", reason.text)
	}
	if err := s.reviewChills(ctx, scan, status, q, r, refusal); err != nil {
		return nil, err
	}
	if err := s.reviewPeople(ctx, status, r); err != nil {
		return nil, err
	}
	if len(refusal.Violations) > 0 {
		return nil, refusal
	}
	if slices.Contains(r.RecordMakers, who.subject) {
		return nil, secondPerson(q.Lot, who.subject, "made one of the records", "to review and release it")
	}
	return r, nil
}

// reviewChills checks the chills of the lot's batch and of the batches of its made ancestors.
func (s *Service) reviewChills(ctx context.Context, scan *lotScan, status *scanStatus, q ReleaseRequest, r *Release, refusal *apierr.Error) error {
	makers := map[string]bool{}
	reviewed := map[string]bool{}
	for _, member := range status.family {
		lot := scan.lots[member]
		if lot == nil || lot.Batch == "" {
			continue
		}
		chills, err := scan.chills(ctx, lot.Batch)
		if err != nil {
			return err
		}
		for i := range chills {
			c := &chills[i]
			if c.State == ChillAbandoned || !c.covers(member) || reviewed[c.Name] {
				continue
			}
			reviewed[c.Name] = true
			r.ReviewedChills = append(r.ReviewedChills, c.Name)
			for _, person := range c.Recorders {
				makers[person] = true
			}
			objection, err := s.objection(ctx, c, chills, r)
			if err != nil {
				return err
			}
			if objection != "" {
				refusal = refusal.WithViolation(c.Name, "%s", objection)
			}
		}
	}
	if len(reviewed) == 0 {
		if q.NoChillReason == "" {
			refusal.WithViolation(q.Lot, "no chill of %s or of a batch it was made from is on record; record it, or state why the food needed none", r.Batch)
		}
		r.NoChillReason = q.NoChillReason
	}
	slices.Sort(r.ReviewedChills)
	slices.Sort(r.ReviewedDeviations)
	delete(makers, system.subject)
	for person := range makers {
		r.RecordMakers = append(r.RecordMakers, person)
	}
	slices.Sort(r.RecordMakers)
	return nil
}

// objection says why a chill stands against a release, "" when it does not. chills are those of the same batch.
func (s *Service) objection(ctx context.Context, c *Chill, chills []Chill, r *Release) (string, error) {
	switch c.State {
	case ChillPassed:
		return "", nil
	case ChillInProgress:
		return "the chill is in progress; finish it first", nil
	}
	d, err := s.store.GetDeviation(ctx, c.Deviation)
	if errors.Is(err, apierr.Reason(DeviationMissing)) {
		return "the chill failed and its deviation is missing", nil
	}
	if err != nil {
		return "", err
	}
	if d.State != DeviationClosed {
		return fmt.Sprintf("the chill failed and %s is not closed", d.Name), nil
	}
	r.ReviewedDeviations = append(r.ReviewedDeviations, d.Name)
	switch d.Decision() {
	case DecisionAccept:
		return "", nil
	case DecisionReheat:
		for i := range chills {
			if again := &chills[i]; again.State == ChillPassed && again.StartTime.After(c.StartTime) {
				return "", nil
			}
		}
		return fmt.Sprintf("%s decided to reheat and chill again, and no later chill of %s passed", d.Name, c.Batch), nil
	}
	return fmt.Sprintf("the chill failed and %s decided %s", d.Name, d.Decision()), nil
}

// reviewPeople adds the people who worked at the runs of the lot's batch.
func (s *Service) reviewPeople(ctx context.Context, status *scanStatus, r *Release) error {
	if r.Batch == "" {
		return nil
	}
	people, err := s.store.BatchPeople(ctx, r.Batch)
	if err != nil {
		return err
	}
	r.RecordMakers = append(r.RecordMakers, people...)
	slices.Sort(r.RecordMakers)
	r.RecordMakers = slices.Compact(r.RecordMakers)
	return nil
}

// CheckLots says for each lot of a site whether it may be shipped now, and the moment of the check.
func (s *Service) CheckLots(ctx context.Context, site string, lots []string) ([]LotStatus, time.Time, error) {
	for i, name := range lots {
		if err := sameSite(site, fmt.Sprintf("lots[%d]", i), name); err != nil {
			return nil, time.Time{}, err
		}
	}
	at := s.now()
	list := make([]LotStatus, 0, len(lots))
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		list = list[:0]
		scan := newLotScan(s)
		for _, name := range lots {
			status, err := scan.status(ctx, name)
			if err != nil {
				return err
			}
			st := status.LotStatus
			if st.Known && st.Made {
				r, err := s.standingRelease(ctx, name)
				if err != nil {
					return err
				}
				st.Released = r != nil
				if !st.Released {
					st.Reasons = append(st.Reasons, name+" is not released; have its records reviewed and signed")
				}
			}
			st.Shippable = st.Known && st.Clear && (st.Released || !st.Made)
			list = append(list, st)
		}
		return nil
	})
	return list, at, err
}
