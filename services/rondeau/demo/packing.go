package demo

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
)

// pack fills what the batch has kept into packs with serial numbers.
func (w *world) pack(ctx context.Context, j *job) error {
	b := j.batch
	request := &inventorypb.PackContainersRequest{
		Parent: w.site, Batch: b.pb.GetName(), Run: j.run.GetName(), Item: b.pb.GetOutputItem(), Product: b.pb.GetProduct(),
		ContainerCount: b.packs, LotId: idOf(b.pb.GetName()), PackTime: timestamppb.New(w.now),
	}
	for _, l := range b.kept.GetLines() {
		request.Sources = append(request.Sources, &inventorypb.PackContainersRequest_Source{Lot: l.GetLot(), MassKg: l.GetMassKg()})
		b.inKg += l.GetMassKg()
	}
	packed, err := w.here(j.cook).inventory.PackContainers(ctx, request)
	if err != nil {
		return err
	}
	b.lots = []*inventorypb.Lot{packed.GetLot()}
	b.leftKg = packed.GetRemainderMassKg()
	w.report.Packs += len(packed.GetContainers())
	if !w.twists.unreleased {
		w.twists.unreleased = true
		return w.shipUnreleased(ctx, packed.GetContainers()[0])
	}
	return nil
}

// closePacking closes the books of a packing batch once its packs are frozen.
func (w *world) closePacking(ctx context.Context, j *job) error {
	b := j.batch
	d := w.here(j.cook)
	closing := &inventorypb.CloseBatchRequest{Parent: w.site, Batch: b.pb.GetName(), CloseTime: timestamppb.New(w.now)}
	if kg := grams(b.leftKg * w.draws.normal("left in the filler by "+b.pb.GetName(), 0.97, 0.02)); kg > 0 {
		closing.Losses = []*inventorypb.Loss{{Kind: inventorypb.Loss_PACKING, MassKg: min(kg, b.leftKg)}}
	}
	balance, err := d.inventory.CloseBatch(ctx, closing)
	if err != nil {
		return err
	}
	w.noteBatch(b, float64(b.packs)*w.house.items[b.pb.GetOutputItem()].GetNetMassKg(), balance)
	w.queue.add(w.now.Add(20*time.Minute), "release "+idOf(b.pb.GetName()), func(ctx context.Context) error {
		return w.release(ctx, b.lots[0].GetName())
	})
	return nil
}

// shipUnreleased tries to ship a pack that nobody has released.
func (w *world) shipUnreleased(ctx context.Context, c *inventorypb.Container) error {
	_, err := w.here(manager).inventory.CreateShipment(ctx, &inventorypb.CreateShipmentRequest{
		Parent: w.site, Outlet: w.house.outlets[0].GetName(),
		Lines: []*inventorypb.CreateShipmentRequest_Line{{Item: c.GetItem(), Containers: []string{c.GetName()}}},
	})
	return w.refused(fmt.Sprintf("shipment of a pack of %s before its release", w.title(c.GetItem())), "LOT_NOT_RELEASED", err)
}
