package inventory

import (
	"context"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// ContainerState says where a container stands.
type ContainerState string

// The states of a container.
const (
	ContainerPacked    ContainerState = "PACKED"    // in the kitchen
	ContainerShipped   ContainerState = "SHIPPED"   // on the way to an outlet
	ContainerReceived  ContainerState = "RECEIVED"  // with an outlet
	ContainerDestroyed ContainerState = "DESTROYED" // thrown away
	ContainerUsed      ContainerState = "USED"      // opened and used in another batch
	ContainerMissed    ContainerState = "MISSING"   // sent, but not found by the outlet
)

// Container is one sealed pack with its own serial number. It belongs to exactly one lot.
type Container struct {
	Name     string
	Lot      string
	Item     string
	Product  string
	Serial   string
	GTIN     string
	NetMass  units.Milligrams
	State    ContainerState
	Location string // in the kitchen only
	Shipment string // picked for it, or left with it
	Outlet   string
	Label    Label
	Meta
}

// Container reads a container. When outlet is given, a container of another outlet does not exist for the caller.
func (s *Service) Container(ctx context.Context, name, outlet string) (*Container, error) {
	c, err := s.store.Containers().Get(ctx, name)
	if err != nil {
		return nil, err
	}
	if outlet != "" && c.Outlet != outlet {
		return nil, apierr.NotFound(ContainerMissing, name)
	}
	return c, nil
}

// Containers lists containers.
func (s *Service) Containers(ctx context.Context, q ListQuery) ([]*Container, error) {
	return s.store.Containers().List(ctx, q)
}
