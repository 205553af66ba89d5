package inventory

import (
	"time"

	"rondeau.internal/pkg/units"
)

// Event is a fact that others may want to know: one of the types below.
type Event interface{ event() }

// DeliveryReceived: a delivery was booked in.
type DeliveryReceived struct{ Delivery *Delivery }

// DeliveryLineRejected: a line of a delivery was sent back.
type DeliveryLineRejected struct {
	Delivery *Delivery
	Line     DeliveryLine
	Limit    *float64 // degrees Celsius, when the temperature was the reason
}

// LotCreated: a lot came into being.
type LotCreated struct {
	Lot           *Lot
	Inputs        []LotMass // lots that had gone into it by then
	MadeAncestors []string  // made lots among all its ancestors by then
	Actor         string
}

// LotMass is a mass of a lot.
type LotMass struct {
	Lot  string
	Mass units.Milligrams
}

// StockMoved: stock went from place to place.
type StockMoved struct{ Move *Move }

// StockConsumed: stock went into a batch.
type StockConsumed struct {
	Move   *Move
	Inputs []LotMass
}

// StockAdjusted: books were corrected or stock was thrown away.
type StockAdjusted struct {
	Move *Move
	Lot  *Lot
}

// BatchClosedEvent: the books of a batch were closed.
type BatchClosedEvent struct {
	Batch   string
	Balance *MassBalance
	Time    time.Time
}

// ContainersPacked: containers were packed.
type ContainersPacked struct {
	Lot        *Lot
	Product    string
	Containers []string
}

// ShipmentDispatched: a shipment left.
type ShipmentDispatched struct{ Shipment *Shipment }

// ShipmentReceived: an outlet got a shipment.
type ShipmentReceived struct{ Shipment *Shipment }

func (DeliveryReceived) event()     {}
func (DeliveryLineRejected) event() {}
func (LotCreated) event()           {}
func (StockMoved) event()           {}
func (StockConsumed) event()        {}
func (StockAdjusted) event()        {}
func (BatchClosedEvent) event()     {}
func (ContainersPacked) event()     {}
func (ShipmentDispatched) event()   {}
func (ShipmentReceived) event()     {}
