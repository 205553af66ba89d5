package grpcapi

import (
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/planning"
)

// OrderProto converts an order as it stands at a moment.
func OrderProto(o *planning.Order, now time.Time) *pb.Order {
	out := &pb.Order{
		Name: o.Name, Uid: o.UID, DispatchDate: string(o.DispatchDate), State: pb.Order_State(pb.Order_State_value[string(o.StateAt(now))]),
		PlaceTime: timeProto(o.PlaceTime), CutOffTime: timeProto(o.CutOffTime), DispatchTime: timeProto(o.DispatchTime), Note: o.Note,
		CreateTime: timeProto(o.CreateTime), UpdateTime: timeProto(o.UpdateTime), Etag: o.Etag(),
	}
	for _, l := range o.Lines {
		line := &pb.Order_Line{Product: l.Product, ContainerCount: int32(l.Count), ShippedContainerCount: int32(l.Shipped)}
		if l.Planned != nil {
			n := int32(*l.Planned)
			line.PlannedContainerCount = &n
		}
		out.Lines = append(out.Lines, line)
	}
	return out
}

func orderDomain(p *pb.Order) *planning.Order {
	out := &planning.Order{DispatchDate: planning.Date(p.GetDispatchDate()), Note: p.GetNote()}
	for _, l := range p.GetLines() {
		out.Lines = append(out.Lines, planning.OrderLine{Product: l.GetProduct(), Count: int(l.GetContainerCount())})
	}
	return out
}

// PlanProto converts a plan; batches may be nil.
func PlanProto(p *planning.Plan, batches []*planning.Batch) *pb.Plan {
	s := &p.Summary
	out := &pb.Plan{
		Name: p.Name, Uid: p.UID, DisplayName: p.DisplayName, StartDate: string(p.Start), EndDate: string(p.End),
		State: pb.Plan_State(pb.Plan_State_value[string(p.State)]), ServiceLevel: p.ServiceLevel, BasePlan: p.Base, FirmBatches: p.Firm, Notes: p.Notes,
		Releaser: p.Releaser, ReleaseTime: timeProto(p.ReleaseTime), CreateTime: timeProto(p.CreateTime), UpdateTime: timeProto(p.UpdateTime), Etag: p.Etag(),
		Summary: &pb.PlanSummary{
			OrderCount: int32(s.Orders), OrderedContainerCount: int32(s.OrderedContainers), CoveredContainerCount: int32(s.CoveredContainers),
			BatchCount: int32(s.Batches), NominalOutputKg: kg(s.Nominal), PurchaseCount: int32(s.Purchases), PurchasedKg: kg(s.Purchased),
			ShortageCount: int32(s.Shortages), ExpiringKg: kg(s.Expiring),
		},
	}
	for i := range p.Purchases {
		out.Purchases = append(out.Purchases, PurchaseProto(&p.Purchases[i]))
	}
	for _, x := range p.Shortages {
		out.Shortages = append(out.Shortages, &pb.Shortage{
			Order: x.Order, Par: x.Par, Item: x.Item, Product: x.Product, ContainerCount: int32(x.Containers), MassKg: kg(x.Mass),
			NeedDate: string(x.NeedDate), AvailableDate: string(x.Available), RootItem: x.RootItem,
			Cause: pb.Shortage_Cause(pb.Shortage_Cause_value[x.Cause]), Reason: x.Reason,
		})
	}
	for _, b := range batches {
		out.Batches = append(out.Batches, BatchProto(b))
	}
	return out
}

// PurchaseProto converts a purchase.
func PurchaseProto(p *planning.Purchase) *pb.Purchase {
	return &pb.Purchase{
		Name: p.Name, Item: p.Item, Supplier: p.Supplier, MassKg: kg(p.Mass), CaseCount: int32(p.Cases), OrderDate: string(p.OrderDate),
		DeliveryDate: string(p.DeliveryDate), NeedDate: string(p.NeedDate), Pegs: pegsProto(p.Pegs),
	}
}

func pegsProto(pegs []planning.Peg) []*pb.Peg {
	var out []*pb.Peg
	for _, p := range pegs {
		out = append(out, &pb.Peg{
			Order: p.Order, Par: p.Par, Batch: p.Batch, Stock: p.Stock, MassKg: kg(p.Mass), ContainerCount: int32(p.Containers), UseDate: string(p.UseDate),
		})
	}
	return out
}

// BatchProto converts a batch.
func BatchProto(b *planning.Batch) *pb.Batch {
	out := &pb.Batch{
		Name: b.Name, Uid: b.UID, DisplayName: b.DisplayName, Plan: b.Plan, FormulaVersion: b.FormulaVersion, Product: b.Product, OutputItem: b.OutputItem,
		NominalOutputKg: kg(b.Nominal), PlannedOutputKg: kg(b.Planned), ExpectedOutputKg: kg(b.Expected), ContainerCount: int32(b.Containers),
		ServiceLevel: b.ServiceLevel, EarliestStartTime: timeProto(b.EarliestStart), DueTime: timeProto(b.Due), Pegs: pegsProto(b.Pegs),
		State: pb.Batch_State(pb.Batch_State_value[string(b.State)]), PriorityWeight: int32(b.Weight), Late: b.Late,
		OutputShelfLifeDuration: durationProto(b.ShelfLife), StartTime: timeProto(b.StartTime), FinishTime: timeProto(b.FinishTime),
		CancelReason: b.CancelReason, CreateTime: timeProto(b.CreateTime), UpdateTime: timeProto(b.UpdateTime), Etag: b.Etag(),
		FinishedStepIds: b.FinishedSteps, ReadyDate: string(b.ReadyDate), PlannedDuration: durationpb.New(b.Duration),
	}
	for _, in := range b.Inputs {
		input := &pb.BatchInput{Item: in.Item, MassKg: kg(in.Mass), StepId: in.Step}
		for _, s := range in.Sources {
			input.Sources = append(input.Sources, &pb.BatchInputSource{
				Batch: s.Batch, Purchase: s.Purchase, Lot: s.Lot, Delivery: s.Delivery, MassKg: kg(s.Mass), ByProduct: s.ByProduct,
			})
		}
		out.Inputs = append(out.Inputs, input)
	}
	for _, by := range b.ByProducts {
		out.ByProducts = append(out.ByProducts, &pb.BatchByProduct{Item: by.Item, MassKg: kg(by.Mass)})
	}
	for i := range b.Steps {
		s := &b.Steps[i]
		out.Steps = append(out.Steps, &pb.BatchStep{
			Step: stepProto(&s.Step), FillLiters: s.FillLiters, LoadKg: s.LoadKg, OutputKg: s.OutputKg, PlannedDuration: durationpb.New(s.Duration),
			Allergens: s.Allergens,
		})
	}
	return out
}
