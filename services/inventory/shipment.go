package inventory

import (
	"context"
	"fmt"
	"slices"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/gs1"
	"rondeau.internal/pkg/units"
)

// ShipmentState says where a shipment stands.
type ShipmentState string

// The states of a shipment.
const (
	ShipmentDraft      ShipmentState = "DRAFT"
	ShipmentSent       ShipmentState = "DISPATCHED"
	ShipmentReceivedIn ShipmentState = "RECEIVED"
	ShipmentCancelled  ShipmentState = "CANCELLED"
)

// Shipment is containers that go to one outlet in one go.
type Shipment struct {
	Name         string
	Outlet       string
	Order        string
	Lines        []ShipmentLine
	State        ShipmentState
	SSCC         string
	DispatchTime time.Time
	Dispatcher   string
	ReceiveTime  time.Time
	Receiver     string
	Missing      []string
	Note         string
	NetMass      units.Milligrams
	Meta
}

// ShipmentLine is containers of one product.
type ShipmentLine struct {
	Item       string
	Product    string
	Requested  int
	Containers []string
}

// Picking asks for a shipment.
type Picking struct {
	Site         string
	ID           string
	Outlet       string
	Order        string
	Lines        []PickingLine
	AllowPartial bool
	ValidateOnly bool
}

// PickingLine is the wish for one product: a count, or containers by name.
type PickingLine struct {
	Item       string
	Product    string
	Count      int
	Containers []string
}

// CreateShipment picks containers for an outlet: the named ones, or first expired first among released lots without hold.
func (s *Service) CreateShipment(ctx context.Context, p Picking) (*Shipment, error) {
	var out *Shipment
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		b, err := s.open(ctx, p.Site, MoveShip, s.now())
		if err != nil {
			return err
		}
		if err := sameSite(p.Site, p.Outlet, p.Order); err != nil {
			return err
		}
		id := p.ID
		if id == "" {
			id = "s-" + newUID()
		}
		name, err := child(p.Site, "shipments", id)
		if err != nil {
			return err
		}
		sh := &Shipment{Name: name, Outlet: p.Outlet, Order: p.Order, State: ShipmentDraft, Meta: s.newMeta()}
		for i, line := range p.Lines {
			if err := b.pick(sh, line, i, p.AllowPartial); err != nil {
				return err
			}
		}
		if len(b.containers) == 0 {
			return apierr.FailedPrecondition(StockShort, "there is nothing to ship to %s", p.Outlet).With("outlet", p.Outlet).
				WithViolation(p.Outlet, "no container could be picked")
		}
		if sh.SSCC, err = b.sscc(); err != nil {
			return err
		}
		if err := s.store.Shipments().Insert(ctx, sh); err != nil {
			return err
		}
		if err := b.commit(); err != nil {
			return err
		}
		out = sh
		if p.ValidateOnly {
			return errDryRun
		}
		return nil
	})
	if p.ValidateOnly && isDryRun(err) {
		err = nil
	}
	return out, err
}

// pick picks the containers of one line.
func (b *book) pick(sh *Shipment, want PickingLine, i int, partial bool) error {
	at := fmt.Sprintf("lines[%d]", i)
	if err := sameSite(b.site, want.Item, want.Product); err != nil {
		return err
	}
	var cs []*Container
	var err error
	if len(want.Containers) > 0 {
		if want.Count != 0 && want.Count != len(want.Containers) {
			return apierr.InvalidArgument(ShipmentInvalid, "line %d asks for %d containers and names %d; leave one of them out", i+1, want.Count, len(want.Containers)).
				With("line", fmt.Sprint(i+1)).With("count", fmt.Sprint(want.Count)).WithViolation(at+".container_count", "contradicts containers")
		}
		cs, err = b.pickNamed(want)
		if err == nil && want.Item == "" {
			want.Item = cs[0].Item
		}
		want.Count = len(cs)
	} else {
		if want.Item == "" || want.Count < 1 {
			return apierr.InvalidArgument(ShipmentInvalid, "line %d must name an item with a count, or containers", i+1).
				With("line", fmt.Sprint(i+1)).WithViolation(at, "item with container_count, or containers, must be given")
		}
		cs, err = b.pickFirstExpired(want, partial)
	}
	if err != nil {
		return err
	}
	line := ShipmentLine{Item: want.Item, Product: want.Product, Requested: want.Count}
	for _, c := range cs {
		l, err := b.lot(c.Lot)
		if err != nil {
			return err
		}
		l.Reserved += c.NetMass
		b.changed[l.Name] = true
		c.Shipment, c.Outlet = sh.Name, ""
		b.containers = append(b.containers, c)
		sh.NetMass += c.NetMass
		line.Containers = append(line.Containers, c.Name)
	}
	sh.Lines = append(sh.Lines, line)
	return nil
}

func (b *book) pickNamed(want PickingLine) ([]*Container, error) {
	var cs []*Container
	taken := map[string]int{}
	for _, name := range want.Containers {
		if err := sameSite(b.site, name); err != nil {
			return nil, err
		}
		c, err := b.s.store.Containers().Get(b.ctx, name)
		if err != nil {
			return nil, err
		}
		if c.State != ContainerPacked || c.Shipment != "" {
			return nil, notAvailable(c, "")
		}
		same := func(o *Container) bool { return o.Name == name }
		if slices.ContainsFunc(cs, same) || slices.ContainsFunc(b.containers, same) {
			return nil, apierr.InvalidArgument(ShipmentInvalid, "%s is named twice", name).With("container", name).WithViolation("lines", "%s is named twice", name)
		}
		if want.Item != "" && c.Item != want.Item {
			return nil, apierr.FailedPrecondition(LotWrongItem, "%s holds %s, not %s", name, c.Item, want.Item).
				With("container", name).With("lot_item", c.Item).With("item", want.Item).WithViolation(name, "holds %s", c.Item)
		}
		l, err := b.lot(c.Lot)
		if err != nil {
			return nil, err
		}
		item, err := b.item(c.Item)
		if err != nil {
			return nil, err
		}
		why, err := b.refusal(l, item, shipping)
		if err != nil {
			return nil, err
		}
		if why != nil {
			return nil, why
		}
		taken[l.Name]++
		if units.Milligrams(taken[l.Name])*item.NetMass > l.Free() {
			return nil, apierr.FailedPrecondition(ContainerNotAvailable, "%s: the rest of its lot %s is promised to a batch; release that reservation first", name, l.Name).
				With("container", name).With("state", string(c.State)).With("lot", l.Name).WithViolation(name, "its lot is promised to a batch")
		}
		cs = append(cs, c)
	}
	return cs, nil
}

func (b *book) pickFirstExpired(want PickingLine, partial bool) ([]*Container, error) {
	item, err := b.item(want.Item)
	if err != nil {
		return nil, err
	}
	if item.Kind != Pack {
		return nil, apierr.FailedPrecondition(ItemKindWrong, "%s is not packed; only sealed containers ship", item.Name).
			With("item", item.Name).With("kind", string(item.Kind)).WithViolation(item.Name, "item is of kind %s", item.Kind)
	}
	c, err := b.candidates(item, "", shipping)
	if err != nil {
		return nil, err
	}
	var cs []*Container
	for _, l := range c.usable {
		n := min(want.Count-len(cs), int(l.Free()/item.NetMass))
		if n <= 0 {
			continue
		}
		some, err := b.choose(l, "", n)
		if err != nil {
			return nil, err
		}
		cs = append(cs, some...)
	}
	if len(cs) < want.Count && !partial {
		mass := func(n int) units.Milligrams { return item.NetMass * units.Milligrams(n) }
		return nil, (&lack{item: item, want: mass(want.Count), have: mass(len(cs)), refused: c.refused, promised: c.promised()}).err()
	}
	return cs, nil
}

// sscc is the next serial shipping container code, or empty when the kitchen has no company prefix.
func (b *book) sscc() (string, error) {
	if b.policy.CompanyPrefix == "" {
		return "", nil
	}
	n, err := b.s.store.Next(b.ctx, b.site, "sscc", 1)
	if err != nil {
		return "", err
	}
	code, err := gs1.NewSSCC(b.policy.SSCCExtension, b.policy.CompanyPrefix, uint64(n))
	if err != nil {
		return "", apierr.FailedPrecondition(StockPolicyInvalid, "no SSCC can be made with the company prefix %s; correct the stock policy: %v", b.policy.CompanyPrefix, err).
			With("gs1_company_prefix", b.policy.CompanyPrefix).WithViolation(b.policy.Name, "%v", err)
	}
	return code, nil
}

// CancelShipment calls a shipment off before it leaves; its containers are free again. Doing it again changes nothing.
func (s *Service) CancelShipment(ctx context.Context, name, etag string) (*Shipment, error) {
	var out *Shipment
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		sh, err := s.store.Shipments().Get(ctx, name)
		if err != nil {
			return err
		}
		out = sh
		if sh.State == ShipmentCancelled {
			return nil
		}
		if err := draft(sh, etag); err != nil {
			return err
		}
		b, err := s.open(ctx, SiteOf(name), MoveShip, s.now())
		if err != nil {
			return err
		}
		cs, err := s.store.ShipmentContainers(ctx, name)
		if err != nil {
			return err
		}
		for _, c := range cs {
			l, err := b.lot(c.Lot)
			if err != nil {
				return err
			}
			l.Reserved -= c.NetMass
			b.changed[l.Name] = true
			c.Shipment = ""
			b.containers = append(b.containers, c)
		}
		sh.State = ShipmentCancelled
		s.touch(&sh.Meta)
		if err := s.store.Shipments().Update(ctx, sh); err != nil {
			return err
		}
		return b.commit()
	})
	return out, err
}

func draft(sh *Shipment, etag string) error {
	if err := checkEtag(etag, sh.Etag(), sh.Name); err != nil {
		return err
	}
	if sh.State != ShipmentDraft {
		return apierr.FailedPrecondition(ShipmentNotDraft, "%s is %s already; create another shipment for other containers", sh.Name, sh.State).
			With("shipment", sh.Name).With("state", string(sh.State)).WithViolation(sh.Name, "is %s", sh.State)
	}
	return nil
}

// Shipment reads a shipment. When outlet is given, a shipment of another outlet does not exist for the caller.
func (s *Service) Shipment(ctx context.Context, name, outlet string) (*Shipment, error) {
	sh, err := s.store.Shipments().Get(ctx, name)
	if err != nil {
		return nil, err
	}
	if outlet != "" && sh.Outlet != outlet {
		return nil, apierr.NotFound(ShipmentMissing, name)
	}
	return sh, nil
}

// Shipments lists shipments, newest first.
func (s *Service) Shipments(ctx context.Context, q ListQuery) ([]*Shipment, error) {
	return s.store.Shipments().List(ctx, q)
}
