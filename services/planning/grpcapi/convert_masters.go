package grpcapi

import (
	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/planning"
)

func siteProto(s *planning.Site) *pb.Site {
	return &pb.Site{
		Name: s.Name, Uid: s.UID, DisplayName: s.DisplayName, TimeZone: s.TimeZone, AltitudeMeters: s.AltitudeMeters, Gln: s.GLN, Address: s.Address,
		DefaultCutOffDuration: optionalProto(s.CutOff), DeliveryTimeOfDay: clockProto(s.DeliveryTime), SameDayDuration: optionalProto(s.SameDay),
		DefaultServiceLevel: s.ServiceLevel, CreateTime: timeProto(s.CreateTime), UpdateTime: timeProto(s.UpdateTime), Etag: s.Etag(),
	}
}

func siteDomain(p *pb.Site) *planning.Site {
	return &planning.Site{
		DisplayName: p.GetDisplayName(), TimeZone: p.GetTimeZone(), AltitudeMeters: p.GetAltitudeMeters(), GLN: p.GetGln(), Address: p.GetAddress(),
		CutOff: optionalDomain(p.GetDefaultCutOffDuration()), DeliveryTime: clockDomain(p.GetDeliveryTimeOfDay()),
		SameDay: optionalDomain(p.GetSameDayDuration()), ServiceLevel: p.GetDefaultServiceLevel(),
	}
}

func outletProto(o *planning.Outlet) *pb.Outlet {
	return &pb.Outlet{
		Name: o.Name, Uid: o.UID, DisplayName: o.DisplayName, Gln: o.GLN, Address: o.Address, DispatchWeekdays: weekdaysProto(o.Weekdays),
		DispatchTimeOfDay: clockProto(o.DispatchTime), CutOffDuration: optionalProto(o.CutOff), Active: &o.Active, PriorityWeight: int32(o.Priority),
		CreateTime: timeProto(o.CreateTime), UpdateTime: timeProto(o.UpdateTime), Etag: o.Etag(),
	}
}

func outletDomain(p *pb.Outlet) *planning.Outlet {
	return &planning.Outlet{
		DisplayName: p.GetDisplayName(), GLN: p.GetGln(), Address: p.GetAddress(), Weekdays: weekdaysDomain(p.GetDispatchWeekdays()),
		DispatchTime: clockDomain(p.GetDispatchTimeOfDay()), CutOff: optionalDomain(p.GetCutOffDuration()),
		Active: p.Active == nil || p.GetActive(), Priority: int(p.GetPriorityWeight()),
	}
}

func productProto(p *planning.Product) *pb.Product {
	return &pb.Product{
		Name: p.Name, Uid: p.UID, DisplayName: p.DisplayName, Item: p.Item, SourceItem: p.SourceItem, NetMassKg: p.NetMassKg, Gtin: p.GTIN,
		PackingLossFraction: p.LossFraction, Steps: stepsProto(p.Steps), ShelfLifeDuration: optionalProto(p.ShelfLife), Active: &p.Active,
		MinBatchContainerCount: int32(p.MinBatch), MaxBatchContainerCount: int32(p.MaxBatch), PeriodDays: int32(p.PeriodDays),
		CreateTime: timeProto(p.CreateTime), UpdateTime: timeProto(p.UpdateTime), Etag: p.Etag(),
	}
}

func productDomain(p *pb.Product) *planning.Product {
	return &planning.Product{
		DisplayName: p.GetDisplayName(), Item: p.GetItem(), SourceItem: p.GetSourceItem(), NetMassKg: p.GetNetMassKg(), GTIN: p.GetGtin(),
		LossFraction: p.GetPackingLossFraction(), Steps: stepsDomain(p.GetSteps()), ShelfLife: optionalDomain(p.GetShelfLifeDuration()),
		Active: p.Active == nil || p.GetActive(), MinBatch: int(p.GetMinBatchContainerCount()), MaxBatch: int(p.GetMaxBatchContainerCount()),
		PeriodDays: int(p.GetPeriodDays()),
	}
}

func formulaProto(f *planning.Formula) *pb.Formula {
	return &pb.Formula{
		Name: f.Name, Uid: f.UID, DisplayName: f.DisplayName, OutputItem: f.OutputItem, State: pb.Formula_State(pb.Formula_State_value[string(f.State)]),
		ApprovedVersion: f.Approved, LatestVersion: f.Latest, CreateTime: timeProto(f.CreateTime), UpdateTime: timeProto(f.UpdateTime), Etag: f.Etag(),
	}
}

func formulaDomain(p *pb.Formula) *planning.Formula {
	return &planning.Formula{DisplayName: p.GetDisplayName(), OutputItem: p.GetOutputItem()}
}

func versionProto(v *planning.FormulaVersion) *pb.FormulaVersion {
	out := &pb.FormulaVersion{
		Name: v.Name, Uid: v.UID, State: pb.FormulaVersion_State(pb.FormulaVersion_State_value[string(v.State)]), OutputItem: v.OutputItem,
		BaseOutputKg: v.BaseOutputKg, YieldMeanFraction: v.YieldMean, YieldStandardDeviationFraction: v.YieldSD, Steps: stepsProto(v.Steps),
		MinBatchKg: v.MinBatchKg, MaxBatchKg: v.MaxBatchKg, ServiceLevel: v.ServiceLevel, PeriodDays: int32(v.PeriodDays), ChangeNote: v.ChangeNote,
		Approver: v.Approver, ApproveTime: timeProto(v.ApproveTime), CreateTime: timeProto(v.CreateTime), UpdateTime: timeProto(v.UpdateTime), Etag: v.Etag(),
	}
	for _, in := range v.Ingredients {
		out.Ingredients = append(out.Ingredients, &pb.Ingredient{Item: in.Item, MassKg: in.MassKg, StepId: in.Step})
	}
	for _, by := range v.ByProducts {
		out.ByProducts = append(out.ByProducts, &pb.ByProduct{Item: by.Item, MassKg: by.MassKg})
	}
	return out
}

func versionDomain(p *pb.FormulaVersion) *planning.FormulaVersion {
	out := &planning.FormulaVersion{
		BaseOutputKg: p.GetBaseOutputKg(), YieldMean: p.GetYieldMeanFraction(), YieldSD: p.GetYieldStandardDeviationFraction(),
		Steps: stepsDomain(p.GetSteps()), MinBatchKg: p.GetMinBatchKg(), MaxBatchKg: p.GetMaxBatchKg(), ServiceLevel: p.GetServiceLevel(),
		PeriodDays: int(p.GetPeriodDays()), ChangeNote: p.GetChangeNote(),
	}
	for _, in := range p.GetIngredients() {
		out.Ingredients = append(out.Ingredients, planning.Ingredient{Item: in.GetItem(), MassKg: in.GetMassKg(), Step: in.GetStepId()})
	}
	for _, by := range p.GetByProducts() {
		out.ByProducts = append(out.ByProducts, planning.ByProduct{Item: by.GetItem(), MassKg: by.GetMassKg()})
	}
	return out
}

func parProto(p *planning.Par) *pb.Par {
	out := &pb.Par{
		Name: p.Name, Uid: p.UID, Outlet: p.Outlet, Product: p.Product, ContainerCount: int32(p.Count), CountTime: timeProto(p.CountTime),
		CreateTime: timeProto(p.CreateTime), UpdateTime: timeProto(p.UpdateTime), Etag: p.Etag(),
	}
	if p.Counted != nil {
		n := int32(*p.Counted)
		out.CountedContainerCount = &n
	}
	return out
}

func parDomain(p *pb.Par) *planning.Par {
	out := &planning.Par{Outlet: p.GetOutlet(), Product: p.GetProduct(), Count: int(p.GetContainerCount()), CountTime: timeDomain(p.GetCountTime())}
	if p.CountedContainerCount != nil {
		n := int(p.GetCountedContainerCount())
		out.Counted = &n
	}
	return out
}
