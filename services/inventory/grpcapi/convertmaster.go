package grpcapi

import (
	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/services/inventory"
)

// ItemProto is an item as a message.
func ItemProto(i *inventory.Item) *pb.Item {
	p := &pb.Item{
		Name: i.Name, Uid: i.UID, DisplayName: i.DisplayName,
		Kind: value[pb.Item_Kind](pb.Item_Kind_value, i.Kind, ""), Storage: value[pb.Storage](pb.Storage_value, i.Storage, "STORAGE_"),
		DensityKgPerLiter: i.Density, ShelfLife: span(i.ShelfLife), MaxReceiptTemperatureCelsius: i.MaxReceipt, NetMassKg: kilograms(i.NetMass), Gtin: i.GTIN,
		ReleaseRule: value[pb.Item_ReleaseRule](pb.Item_ReleaseRule_value, i.ReleaseRule, ""), Active: i.Active,
		CreateTime: stamp(i.CreateTime), UpdateTime: stamp(i.UpdateTime), Etag: i.Etag(),
	}
	for _, a := range i.Allergens {
		p.Allergens = append(p.Allergens, &pb.AllergenContent{Allergen: value[pb.Allergen](pb.Allergen_value, a.Allergen, "ALLERGEN_"), Species: a.Species})
	}
	if t := i.Purchase; t.Supplier != "" || t.Case != 0 || t.LeadDays != 0 || len(t.DeliveryWeekdays) > 0 {
		p.Purchase = &pb.PurchaseTerms{Supplier: t.Supplier, CaseMassKg: kilograms(t.Case), LeadDays: int32(t.LeadDays), DeliveryWeekdays: each(t.DeliveryWeekdays, func(d int) int32 { return int32(d) })}
	}
	return p
}

// itemInto writes the message into an item.
func itemInto(p *pb.Item, i *inventory.Item) error {
	net, err := mass(p.GetNetMassKg(), "item.net_mass_kg")
	if err != nil {
		return err
	}
	caseMass, err := mass(p.GetPurchase().GetCaseMassKg(), "item.purchase.case_mass_kg")
	if err != nil {
		return err
	}
	i.DisplayName, i.Density, i.ShelfLife, i.MaxReceipt = p.GetDisplayName(), p.GetDensityKgPerLiter(), p.GetShelfLife().AsDuration(), p.MaxReceiptTemperatureCelsius
	i.Kind, i.Storage = inventory.ItemKind(word(p.GetKind(), "")), inventory.Storage(word(p.GetStorage(), "STORAGE_"))
	i.NetMass, i.GTIN, i.Active = net, p.GetGtin(), p.GetActive()
	i.ReleaseRule = inventory.ReleaseRule(word(p.GetReleaseRule(), ""))
	i.Allergens = nil
	for _, a := range p.GetAllergens() {
		i.Allergens = append(i.Allergens, inventory.Allergen{Allergen: word(a.GetAllergen(), "ALLERGEN_"), Species: a.GetSpecies()})
	}
	t := p.GetPurchase()
	i.Purchase = inventory.PurchaseTerms{Supplier: t.GetSupplier(), Case: caseMass, LeadDays: int(t.GetLeadDays()), DeliveryWeekdays: each(t.GetDeliveryWeekdays(), func(d int32) int { return int(d) })}
	return nil
}

// SupplierProto is a supplier as a message.
func SupplierProto(s *inventory.Supplier) *pb.Supplier {
	return &pb.Supplier{
		Name: s.Name, Uid: s.UID, DisplayName: s.DisplayName, Gln: s.GLN, Address: s.Address, Contact: s.Contact, Active: s.Active,
		CreateTime: stamp(s.CreateTime), UpdateTime: stamp(s.UpdateTime), Etag: s.Etag(),
	}
}

func supplierInto(p *pb.Supplier, s *inventory.Supplier) error {
	s.DisplayName, s.GLN, s.Address, s.Contact, s.Active = p.GetDisplayName(), p.GetGln(), p.GetAddress(), p.GetContact(), p.GetActive()
	return nil
}

// LocationProto is a place as a message.
func LocationProto(l *inventory.Location) *pb.Location {
	return &pb.Location{
		Name: l.Name, Uid: l.UID, DisplayName: l.DisplayName, Kind: value[pb.Location_Kind](pb.Location_Kind_value, l.Kind, ""), Active: l.Active,
		CreateTime: stamp(l.CreateTime), UpdateTime: stamp(l.UpdateTime), Etag: l.Etag(),
	}
}

func locationInto(p *pb.Location, l *inventory.Location) error {
	l.DisplayName, l.Kind, l.Active = p.GetDisplayName(), inventory.LocationKind(word(p.GetKind(), "")), p.GetActive()
	return nil
}

// PolicyProto is a stock policy as a message.
func PolicyProto(p *inventory.Policy) *pb.StockPolicy {
	return &pb.StockPolicy{
		Name: p.Name, TimeZone: p.TimeZone, BalanceToleranceFraction: &p.Tolerance, Gs1CompanyPrefix: p.CompanyPrefix, SsccExtensionDigit: int32(p.SSCCExtension),
		SerialPrefix: p.SerialPrefix, DigitalLinkStem: p.Stem, CreateTime: stamp(p.CreateTime), UpdateTime: stamp(p.UpdateTime), Etag: p.Etag(),
	}
}

func policyInto(m *pb.StockPolicy, p *inventory.Policy) error {
	p.TimeZone, p.CompanyPrefix, p.SSCCExtension, p.SerialPrefix, p.Stem = m.GetTimeZone(), m.GetGs1CompanyPrefix(), int(m.GetSsccExtensionDigit()), m.GetSerialPrefix(), m.GetDigitalLinkStem()
	p.Tolerance = inventory.DefaultTolerance
	if m.BalanceToleranceFraction != nil {
		p.Tolerance = m.GetBalanceToleranceFraction()
	}
	return nil
}

// DeliveryProto is a delivery as a message.
func DeliveryProto(d *inventory.Delivery) *pb.Delivery {
	return &pb.Delivery{
		Name: d.Name, Uid: d.UID, Supplier: d.Supplier, ExpectedDate: d.ExpectedDate, Lines: each(d.Lines, LineProto),
		State: value[pb.Delivery_State](pb.Delivery_State_value, d.State, ""), ReceiveTime: stamp(d.ReceiveTime), RecordTime: stamp(d.RecordTime), Receiver: d.Receiver,
		DocumentNumber: d.DocumentNumber, CancelReason: d.CancelReason, CreateTime: stamp(d.CreateTime), UpdateTime: stamp(d.UpdateTime), Etag: d.Etag(),
	}
}

// LineProto is a line of a delivery as a message.
func LineProto(l inventory.DeliveryLine) *pb.DeliveryLine {
	return &pb.DeliveryLine{
		LineId: l.ID, Item: l.Item, ExpectedMassKg: kilograms(l.Expected), ReceivedMassKg: kilograms(l.Received), SupplierLot: l.SupplierLot, BestBeforeDate: l.BestBefore,
		TemperatureCelsius: l.Temperature, Condition: value[pb.DeliveryLine_Condition](pb.DeliveryLine_Condition_value, l.Condition, ""), ConditionNote: l.ConditionNote,
		Decision: value[pb.DeliveryLine_Decision](pb.DeliveryLine_Decision_value, l.Decision, ""), DecisionReason: l.DecisionReason, Lot: l.Lot, Purchase: l.Purchase,
	}
}

func deliveryInto(p *pb.Delivery, d *inventory.Delivery) error {
	d.Supplier, d.ExpectedDate, d.DocumentNumber, d.Lines = p.GetSupplier(), p.GetExpectedDate(), p.GetDocumentNumber(), nil
	for _, l := range p.GetLines() {
		m, err := mass(l.GetExpectedMassKg(), "delivery.lines.expected_mass_kg")
		if err != nil {
			return err
		}
		d.Lines = append(d.Lines, inventory.DeliveryLine{ID: l.GetLineId(), Item: l.GetItem(), Expected: m, SupplierLot: l.GetSupplierLot(), BestBefore: l.GetBestBeforeDate()})
	}
	return nil
}
