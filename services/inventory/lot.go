package inventory

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// Lot is a traceable quantity of one item with one history: received or made.
type Lot struct {
	Name            string
	Item            string
	Code            string // traceability lot code
	Delivery        string // received lots
	DeliveryLine    string
	Supplier        string
	Batch           string // made lots
	Run             string
	OriginMove      string    // move that made it
	Packed          bool      // made by a PACKING move: its inputs are those of that move alone
	ByProduct       bool      // made, but not what the batch was for
	ProduceTime     time.Time // received or made
	UseBy           string    // civil day, last day of use; empty means none is set
	Initial         units.Milligrams
	OnHand          units.Milligrams
	Reserved        units.Milligrams // part of OnHand that is promised
	ContainerCount  int              // containers in the kitchen
	Held            bool             // a hold lies on it or on its batch
	Released        bool
	ReleaseTime     time.Time // moment of the latest signature heard of
	ReleaseRequired bool
	Meta
}

// Free is the mass that is not promised.
func (l *Lot) Free() units.Milligrams { return l.OnHand - l.Reserved }

// Expired says whether the last day of use is over on the day given.
func (l *Lot) Expired(today string) bool { return l.UseBy != "" && today > l.UseBy }

// Hold is what was heard of a hold that lies or lay on a lot or a batch.
type Hold struct {
	Name      string
	Subject   string // lot or batch
	PlaceTime time.Time
	Lifted    bool
}

// LotView is a lot with what readers want to know besides.
type LotView struct {
	*Lot
	Places  []Place
	Holds   []string
	Expired bool
}

// Place is the mass of a lot at one place.
type Place struct {
	Location string
	Mass     units.Milligrams
}

// Lot reads a lot with its places and holds.
func (s *Service) Lot(ctx context.Context, name string) (*LotView, error) {
	var v *LotView
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		l, err := s.store.Lots().Get(ctx, name)
		if err != nil {
			return err
		}
		v, err = s.view(ctx, l)
		return err
	})
	return v, err
}

// Lots lists lots, first expired first.
func (s *Service) Lots(ctx context.Context, q ListQuery) ([]*LotView, error) {
	var out []*LotView
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		lots, err := s.store.Lots().List(ctx, q)
		if err != nil {
			return err
		}
		policy, err := s.Policy(ctx, q.Site)
		if err != nil {
			return err
		}
		for _, l := range lots {
			v, err := s.viewOn(ctx, l, policy.day(s.now()))
			if err != nil {
				return err
			}
			out = append(out, v)
		}
		return nil
	})
	return out, err
}

func (s *Service) view(ctx context.Context, l *Lot) (*LotView, error) {
	policy, err := s.Policy(ctx, SiteOf(l.Name))
	if err != nil {
		return nil, err
	}
	return s.viewOn(ctx, l, policy.day(s.now()))
}

// viewOn is the view of a lot on a day.
func (s *Service) viewOn(ctx context.Context, l *Lot, today string) (*LotView, error) {
	v := &LotView{Lot: l, Expired: l.Expired(today)}
	var err error
	if l.OnHand > 0 {
		if v.Places, err = s.store.LotPlaces(ctx, l.Name); err != nil {
			return nil, err
		}
	}
	if l.Held {
		if v.Holds, err = s.activeHolds(ctx, l); err != nil {
			return nil, err
		}
	}
	return v, nil
}

func (s *Service) activeHolds(ctx context.Context, l *Lot) ([]string, error) {
	subjects := []string{l.Name}
	if l.Batch != "" {
		subjects = append(subjects, l.Batch)
	}
	holds, err := s.store.Holds(ctx, subjects...)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, h := range holds {
		if !h.Lifted {
			names = append(names, h.Name)
		}
	}
	slices.Sort(names)
	return names, nil
}

// Use is what somebody wants to do with a lot.
type use uint8

const (
	inBatch  use = iota // consume or pack
	shipping            // leave the kitchen
)

// refusal says why a lot must not be used, or nil. Kinds of reason come in the order of weight: hold, expiry, release.
func (b *book) refusal(l *Lot, item *Item, want use) (*apierr.Error, error) {
	if l.Held {
		holds, err := b.s.activeHolds(b.ctx, l)
		if err != nil {
			return nil, err
		}
		return refused(LotHeld, l, "is on hold (%s); the safety lead must lift the hold first", strings.Join(holds, ", ")).
			With("holds", strings.Join(holds, ", ")), nil
	}
	held, err := b.heldAncestor(l)
	if err != nil {
		return nil, err
	}
	if held != "" {
		return refused(LotHeld, l, "was made with %s, which is on hold; the safety lead must lift that hold first", held).With("held_ancestor", held), nil
	}
	if l.Expired(b.today) {
		return refused(LotExpired, l, "was to be used by %s and today is %s; discard it or take another lot", l.UseBy, b.today).
			With("use_by_date", l.UseBy).With("today", b.today), nil
	}
	if !l.Released && (want == shipping && l.ReleaseRequired || want == inBatch && item.ReleaseRule == BeforeUse) {
		return refused(LotNotReleased, l, "is not released; the safety lead must sign its release first"), nil
	}
	return nil, nil
}

func refused(reason string, l *Lot, format string, args ...any) *apierr.Error {
	text := fmt.Sprintf(format, args...)
	return apierr.FailedPrecondition(reason, "%s (code %s) %s", l.Name, l.Code, text).
		With("lot", l.Name).With("code", l.Code).WithViolation(l.Name, "%s", text)
}
