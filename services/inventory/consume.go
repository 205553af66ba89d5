package inventory

import (
	"context"
	"fmt"
	"time"

	"rondeau.internal/pkg/units"
)

// Consumption is stock that goes into a batch.
type Consumption struct {
	Site   string
	Batch  string
	Run    string
	Time   time.Time // zero means now
	Inputs []ConsumptionInput
}

// ConsumptionInput is one item of it.
type ConsumptionInput struct {
	Item     string
	Mass     units.Milligrams
	Lot      string // empty means first expired first
	Location string // empty means wherever it lies
}

// ConsumeStock puts stock into a batch: what the batch has reserved first, else first expired first. Lots that are on hold, expired or, where
// the item asks for it, not released are refused by name. Utilities come from the mains. All or nothing.
func (s *Service) ConsumeStock(ctx context.Context, c Consumption) (*Move, []Taken, error) {
	when, err := s.moment(c.Time, "move_time")
	if err != nil {
		return nil, nil, err
	}
	var move *Move
	var taken []Taken
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		taken = nil
		b, err := s.open(ctx, c.Site, MoveConsume, when)
		if err != nil {
			return err
		}
		if _, err := b.openAccount(c.Batch, c.Run); err != nil {
			return err
		}
		for i, in := range c.Inputs {
			t, err := b.consume(in, fmt.Sprintf("inputs[%d].mass_kg", i))
			if err != nil {
				return err
			}
			taken = append(taken, t...)
		}
		if err := b.commit(); err != nil {
			return err
		}
		move = b.move
		return s.events.Append(ctx, StockConsumed{Move: move, Inputs: lotMasses(taken)})
	})
	return move, taken, err
}

func (b *book) consume(in ConsumptionInput, field string) ([]Taken, error) {
	if err := sameSite(b.site, in.Item); err != nil {
		return nil, err
	}
	item, err := b.item(in.Item)
	if err != nil {
		return nil, err
	}
	if item.Kind != Utility {
		return b.intoBatch(item, in.Mass, in.Lot, in.Location, field)
	}
	if err := positive(in.Mass, field); err != nil {
		return nil, err
	}
	b.move.Entries = append(b.move.Entries,
		Entry{Account: Mains, Item: item.Name, Mass: -in.Mass},
		Entry{Account: InProcess, Reference: b.move.Batch, Item: item.Name, Mass: in.Mass})
	b.account.Input += in.Mass
	return []Taken{{Item: item.Name, Mass: in.Mass}}, nil
}

// lotMasses adds up what was taken from each lot, in the order of first appearance. Utilities have no lot and are left out.
func lotMasses(taken []Taken) []LotMass {
	var out []LotMass
	at := map[string]int{}
	for _, t := range taken {
		if t.Lot == "" {
			continue
		}
		i, ok := at[t.Lot]
		if !ok {
			i = len(out)
			at[t.Lot] = i
			out = append(out, LotMass{Lot: t.Lot})
		}
		out[i].Mass += t.Mass
	}
	return out
}
