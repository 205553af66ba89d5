package inventory

import (
	"context"
	"fmt"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// DeliveryState says where a delivery stands.
type DeliveryState string

// The states of a delivery.
const (
	DeliveryExpected   DeliveryState = "EXPECTED"
	DeliveryReceivedIn DeliveryState = "RECEIVED"
	DeliveryCancelled  DeliveryState = "CANCELLED"
)

// Decision says what became of a line.
type Decision string

// The decisions. Undecided is the zero value.
const (
	Undecided Decision = ""
	Accepted  Decision = "ACCEPTED"
	Rejected  Decision = "REJECTED"
	Missing   Decision = "MISSING" // announced but not on the lorry
)

// Condition says how goods looked.
type Condition string

// The conditions. Spoiled goods and thawed frozen goods are never accepted.
const (
	NotLooked        Condition = ""
	Sound            Condition = "SOUND"
	PackagingDamaged Condition = "PACKAGING_DAMAGED"
	Spoiled          Condition = "SPOILED"
	Thawed           Condition = "THAWED"
)

// Delivery is goods that a supplier brings in one go.
type Delivery struct {
	Name           string
	Supplier       string // may be empty when a plan proposed goods without supplier
	ExpectedDate   string
	Lines          []DeliveryLine
	State          DeliveryState
	ReceiveTime    time.Time
	RecordTime     time.Time
	Receiver       string
	DocumentNumber string
	CancelReason   string
	Meta
}

// DeliveryLine is one item of a delivery.
type DeliveryLine struct {
	ID             string
	Item           string
	Expected       units.Milligrams
	Received       units.Milligrams
	SupplierLot    string
	BestBefore     string
	Temperature    *float64 // degrees Celsius; nil when not measured
	Condition      Condition
	ConditionNote  string
	Decision       Decision
	DecisionReason string
	Lot            string
	Purchase       string
}

// CreateDelivery announces a delivery. Only what can be known beforehand is taken from d.
func (s *Service) CreateDelivery(ctx context.Context, site, id string, d *Delivery) (*Delivery, error) {
	var out *Delivery
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		if id == "" {
			id = "d-" + newUID()
		}
		name, err := child(site, "deliveries", id)
		if err != nil {
			return err
		}
		out = &Delivery{Name: name, Supplier: d.Supplier, ExpectedDate: d.ExpectedDate, Lines: announced(d.Lines, nil), State: DeliveryExpected, DocumentNumber: d.DocumentNumber, Meta: s.newMeta()}
		if err := s.checkDelivery(ctx, out); err != nil {
			return err
		}
		return s.store.Deliveries().Insert(ctx, out)
	})
	return out, err
}

// announced keeps of lines what can be known beforehand, gives ids to those without, and keeps the purchases that old lines of the same
// id came from.
func announced(lines, old []DeliveryLine) []DeliveryLine {
	taken := map[string]bool{}
	for _, l := range lines {
		taken[l.ID] = true
	}
	purchases := map[string]string{}
	for _, l := range old {
		purchases[l.ID] = l.Purchase
	}
	out := make([]DeliveryLine, len(lines))
	next := 1
	for i, l := range lines {
		if l.ID == "" {
			for taken[fmt.Sprint(next)] {
				next++
			}
			l.ID = fmt.Sprint(next)
			taken[l.ID] = true
		}
		out[i] = DeliveryLine{ID: l.ID, Item: l.Item, Expected: l.Expected, SupplierLot: l.SupplierLot, BestBefore: l.BestBefore, Purchase: purchases[l.ID]}
	}
	return out
}

func (s *Service) checkDelivery(ctx context.Context, d *Delivery) error {
	site := SiteOf(d.Name)
	if err := checkDay(d.ExpectedDate, "delivery.expected_date"); err != nil {
		return err
	}
	if err := sameSite(site, d.Supplier); err != nil {
		return err
	}
	if d.Supplier != "" {
		if _, err := s.store.Suppliers().Get(ctx, d.Supplier); err != nil {
			return err
		}
	}
	bad := apierr.InvalidArgument(DeliveryInvalid, "%s cannot be saved: correct the fields named below", d.Name).With("delivery", d.Name)
	n := 0
	fault := func(field, format string, args ...any) { n++; bad = bad.WithViolation(field, format, args...) }
	if d.ExpectedDate == "" {
		fault("delivery.expected_date", "must be given")
	}
	if len(d.Lines) == 0 {
		fault("delivery.lines", "at least one line is needed")
	}
	seen := map[string]bool{}
	for i, l := range d.Lines {
		at := fmt.Sprintf("delivery.lines[%d]", i)
		if seen[l.ID] {
			fault(at+".line_id", "line %q is there twice", l.ID)
		}
		seen[l.ID] = true
		if err := checkDay(l.BestBefore, at+".best_before_date"); err != nil {
			return err
		}
		if err := sameSite(site, l.Item); err != nil {
			return err
		}
		if l.Expected < 0 {
			fault(at+".expected_mass_kg", "must not be negative")
		}
		if !codeOK(l.SupplierLot) {
			fault(at+".supplier_lot", "may only hold the letters, digits and signs of GS1's set 82, at most 20")
		}
		if _, err := s.activeItem(ctx, l.Item, Purchased); err != nil {
			return err
		}
	}
	if n > 0 {
		return bad
	}
	return nil
}

// UpdateDelivery changes an expected delivery by fn.
func (s *Service) UpdateDelivery(ctx context.Context, name, etag string, fn func(*Delivery) error) (*Delivery, error) {
	var out *Delivery
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		d, err := s.expected(ctx, name, etag, "changed")
		if err != nil {
			return err
		}
		old := *d
		if err := fn(d); err != nil {
			return err
		}
		out = &old
		out.Supplier, out.ExpectedDate, out.DocumentNumber = d.Supplier, d.ExpectedDate, d.DocumentNumber
		out.Lines = announced(d.Lines, old.Lines)
		if err := s.checkDelivery(ctx, out); err != nil {
			return err
		}
		s.touch(&out.Meta)
		return s.store.Deliveries().Update(ctx, out)
	})
	return out, err
}

// expected reads a delivery that must still be expected.
func (s *Service) expected(ctx context.Context, name, etag, deed string) (*Delivery, error) {
	d, err := s.store.Deliveries().Get(ctx, name)
	if err != nil {
		return nil, err
	}
	if err := checkEtag(etag, d.Etag(), name); err != nil {
		return nil, err
	}
	if d.State != DeliveryExpected {
		return nil, apierr.FailedPrecondition(DeliveryNotExpected, "%s is %s already and cannot be %s; announce another delivery for other goods", name, stateWord(d.State), deed).
			With("delivery", name).With("state", string(d.State)).WithViolation(name, "is %s", stateWord(d.State))
	}
	return d, nil
}

func stateWord(st DeliveryState) string {
	switch st {
	case DeliveryReceivedIn:
		return "received"
	case DeliveryCancelled:
		return "cancelled"
	}
	return "expected"
}

// CancelDelivery calls an expected delivery off. Doing it again changes nothing.
func (s *Service) CancelDelivery(ctx context.Context, name, etag, reason string) (*Delivery, error) {
	var out *Delivery
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		d, err := s.store.Deliveries().Get(ctx, name)
		if err != nil {
			return err
		}
		if d.State == DeliveryCancelled {
			out = d
			return nil
		}
		if d, err = s.expected(ctx, name, etag, "cancelled"); err != nil {
			return err
		}
		d.State, d.CancelReason = DeliveryCancelled, reason
		s.touch(&d.Meta)
		out = d
		return s.store.Deliveries().Update(ctx, d)
	})
	return out, err
}

// Delivery reads a delivery.
func (s *Service) Delivery(ctx context.Context, name string) (*Delivery, error) {
	return s.store.Deliveries().Get(ctx, name)
}

// Deliveries lists deliveries by expected day.
func (s *Service) Deliveries(ctx context.Context, q ListQuery) ([]*Delivery, error) {
	return s.store.Deliveries().List(ctx, q)
}
