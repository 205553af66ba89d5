package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/cli/view"
)

// deliveryCommands are what a receiver does at the dock.
func (a *app) deliveryCommands(delivery *cobra.Command) {
	delivery.AddCommand(a.deliveryExpectCommand(), a.deliveryReceiveCommand(), a.deliveryCancelCommand())
}

func (a *app) deliveryExpectCommand() *cobra.Command {
	var document, id string
	command := &cobra.Command{
		Use: "expect SUPPLIER DATE ITEM=MASS ...", Short: "Book a delivery that is to come", Args: atLeast(3, "SUPPLIER DATE ITEM=MASS ..."),
		Example: "  rondeau delivery expect hollin-vale 2027-03-01 veal-bones=60kg chicken-bones=30kg",
		RunE: func(cmd *cobra.Command, args []string) error {
			supplier, err := a.name("suppliers/{supplier}", args[0])
			if err != nil {
				return err
			}
			date, err := day(args[1])
			if err != nil {
				return err
			}
			var lines []*inventorypb.DeliveryLine
			err = perItem(a, args[2:], "ITEM=MASS", "items/{item}", mass, func(name string, kg float64) {
				lines = append(lines, &inventorypb.DeliveryLine{Item: name, ExpectedMassKg: kg})
			})
			if err != nil {
				return err
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.Delivery, error) {
				return c.CreateDelivery(ctx, &inventorypb.CreateDeliveryRequest{
					Parent: a.siteName(), DeliveryId: id, RequestId: a.requestID(),
					Delivery: &inventorypb.Delivery{Supplier: supplier, ExpectedDate: date, Lines: lines, DocumentNumber: document},
				})
			})
		},
	}
	command.Flags().StringVar(&document, "document", "", "number of the supplier's document")
	command.Flags().StringVar(&id, "id", "", "id of the delivery (given by the suite when empty)")
	return command
}

func (a *app) deliveryReceiveCommand() *cobra.Command {
	var document, at string
	var rejects, absent []string
	var extra bool
	command := &cobra.Command{
		Use: "receive DELIVERY ITEM=MASS[@TEMPERATURE][,lot=CODE][,best-before=DAY][,to=PLACE] ...", Short: "Receive a delivery: weigh, take temperatures, accept or reject",
		Args: atLeast(1, "DELIVERY ITEM=MASS@TEMPERATURE ..."), ValidArgsFunction: a.completeIDs(resourceByWord("delivery")),
		Long: `Receive a delivery. Each line is an item with its weight and, where the item has a limit, the temperature at
receipt; then, where they stand on the goods, the supplier's lot code and the last day of use. A line above its item's limit
is always rejected; --reject rejects one for another reason. Every line that was expected is named, or named with --missing.
The same item a second time is another lot of it. Lots exist from that moment for what was accepted.`,
		Example: "  rondeau delivery receive d-0107 veal-bones=59.4kg@3.1C,lot=HV-77 onions=20kg --reject 'onions=wet and soft'",
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("deliveries/{delivery}", args[0])
			if err != nil {
				return err
			}
			lines, err := a.receiptLines(args[1:], rejects)
			if err != nil {
				return err
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.Delivery, error) {
				when, err := moment(at, a.style(ctx).Zone)
				if err != nil {
					return nil, err
				}
				announced, err := c.GetDelivery(ctx, &inventorypb.GetDeliveryRequest{Name: name})
				if err != nil {
					return nil, err
				}
				if announced.GetState() == inventorypb.Delivery_EXPECTED {
					lines, err = a.matchReceipt(announced, lines, absent, extra)
					if err != nil {
						return nil, err
					}
				}
				return c.ReceiveDelivery(ctx, &inventorypb.ReceiveDeliveryRequest{Name: name, Lines: lines, ReceiveTime: when, DocumentNumber: document, RequestId: a.requestID()})
			})
		},
	}
	command.Flags().StringVar(&document, "document", "", "number of the supplier's document")
	command.Flags().StringVar(&at, "at", "", "when it was received (now when empty)")
	command.Flags().StringArrayVar(&rejects, "reject", nil, "ITEM=REASON: reject a line, repeatable")
	command.Flags().StringArrayVar(&absent, "missing", nil, "expected ITEM that did not come, repeatable")
	command.Flags().BoolVar(&extra, "extra", false, "goods may come that were not expected")
	return command
}

func (a *app) deliveryCancelCommand() *cobra.Command {
	return &cobra.Command{
		Use: "cancel DELIVERY REASON", Short: "Cancel a delivery that will not come", Args: exactly(2, "DELIVERY and REASON"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("deliveries/{delivery}", args[0])
			if err != nil {
				return err
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.Delivery, error) {
				return c.CancelDelivery(ctx, &inventorypb.CancelDeliveryRequest{Name: name, Reason: args[1], RequestId: a.requestID()})
			})
		},
	}
}

// receiptLines reads ITEM=MASS[@TEMPERATURE][,KEY=VALUE ...] words and the rejections.
func (a *app) receiptLines(words, rejects []string) ([]*inventorypb.ReceiveDeliveryRequest_Line, error) {
	refused := map[string]string{}
	for _, word := range rejects {
		item, reason, err := pair(word, "ITEM=REASON")
		if err != nil {
			return nil, err
		}
		refused[item] = reason
	}
	var lines []*inventorypb.ReceiveDeliveryRequest_Line
	for _, word := range words {
		item, found, err := pair(word, "ITEM=MASS@TEMPERATURE")
		if err != nil {
			return nil, err
		}
		line, err := a.receiptLine(item, found)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", item, err)
		}
		if reason, ok := refused[item]; ok {
			line.Decision, line.DecisionReason = inventorypb.DeliveryLine_REJECTED, reason
		}
		lines = append(lines, line)
	}
	for item := range refused {
		if !slices.ContainsFunc(words, func(word string) bool { return strings.HasPrefix(word, item+"=") }) {
			return nil, usagef("--reject %s: name that item among the lines with its weight", item)
		}
	}
	return lines, nil
}

// receiptLine reads MASS[@TEMPERATURE][,lot=CODE][,best-before=DAY][,to=PLACE].
func (a *app) receiptLine(item, found string) (*inventorypb.ReceiveDeliveryRequest_Line, error) {
	name, err := a.name("items/{item}", item)
	if err != nil {
		return nil, err
	}
	parts := strings.Split(found, ",")
	weight, warmth, measured := strings.Cut(parts[0], "@")
	line := &inventorypb.ReceiveDeliveryRequest_Line{Item: name}
	line.ReceivedMassKg, err = mass(weight)
	if err != nil {
		return nil, err
	}
	if measured {
		degrees, err := temperature(warmth)
		if err != nil {
			return nil, err
		}
		line.TemperatureCelsius = &degrees
	}
	for _, part := range parts[1:] {
		key, value, err := pair(part, "lot=CODE, best-before=DAY or to=PLACE")
		if err != nil {
			return nil, err
		}
		switch key {
		case "lot":
			line.SupplierLot = value
		case "best-before":
			line.BestBeforeDate, err = day(value)
		case "to":
			line.Location, err = a.name("locations/{location}", value)
		default:
			err = usagef("%q: after the mass stand lot=CODE, best-before=DAY or to=PLACE", part)
		}
		if err != nil {
			return nil, err
		}
	}
	return line, nil
}

// matchReceipt gives each line that was found its line of the delivery. A line that is neither found nor said to be
// missing, and goods that nobody expected, are more often a slip of the hand than the truth, and a receipt cannot be undone.
func (a *app) matchReceipt(announced *inventorypb.Delivery, found []*inventorypb.ReceiveDeliveryRequest_Line, absent []string, extra bool) ([]*inventorypb.ReceiveDeliveryRequest_Line, error) {
	open := slices.Clone(announced.GetLines())
	take := func(item string) string {
		i := slices.IndexFunc(open, func(l *inventorypb.DeliveryLine) bool { return l.GetItem() == item })
		if i < 0 {
			return ""
		}
		id := open[i].GetLineId()
		open = slices.Delete(open, i, i+1)
		return id
	}
	style := view.Style{Site: a.siteName()}
	expected := func(item string) bool {
		return slices.ContainsFunc(announced.GetLines(), func(l *inventorypb.DeliveryLine) bool { return l.GetItem() == item })
	}
	for _, line := range found {
		line.LineId = take(line.GetItem())
		if line.GetLineId() == "" && !extra && !expected(line.GetItem()) {
			return nil, usagef("%s is not expected with this delivery; correct the item, or allow it with --extra", style.ID(line.GetItem()))
		}
	}
	for _, item := range absent {
		name, err := a.name("items/{item}", item)
		if err != nil {
			return nil, err
		}
		id := take(name)
		if id == "" {
			return nil, usagef("--missing %s: no other line of it is expected", item)
		}
		found = append(found, &inventorypb.ReceiveDeliveryRequest_Line{LineId: id, Item: name})
	}
	var rest []string
	for _, line := range open {
		rest = append(rest, style.ID(line.GetItem()))
	}
	if len(rest) > 0 {
		return nil, usagef("expected too: %s; give what was weighed, or name each that did not come with --missing ITEM", strings.Join(rest, ", "))
	}
	return found, nil
}

func (a *app) stockCommand() *cobra.Command {
	return &cobra.Command{
		Use: "stock [ITEM ...]", Short: "See what is on hand, free, reserved, held and expected",
		RunE: func(cmd *cobra.Command, args []string) error {
			request := &inventorypb.SummarizeStockRequest{Parent: a.siteName()}
			for _, id := range args {
				name, err := a.name("items/{item}", id)
				if err != nil {
					return err
				}
				request.Items = append(request.Items, name)
			}
			client, err := a.inventory()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			summary, err := client.SummarizeStock(ctx, request)
			if err != nil {
				return rpc.FromStatus(err)
			}
			return answer(ctx, a, summary, summary.GetItems(), "item", "on_hand_mass_kg", "free_mass_kg", "reserved_mass_kg", "held_mass_kg", "expired_mass_kg", "in_process_mass_kg", "free_container_count", "expected")
		},
	}
}

// lotCommands move, count and discard stock.
func (a *app) lotCommands(lot *cobra.Command) {
	transfer := &cobra.Command{
		Use: "transfer LOT FROM TO MASS", Short: "Move stock to another place", Args: exactly(4, "LOT FROM TO MASS"),
		RunE: func(cmd *cobra.Command, args []string) error {
			names, err := a.lotAndPlaces(args[:3])
			if err != nil {
				return err
			}
			kg, err := mass(args[3])
			if err != nil {
				return err
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.StockChange, error) {
				return c.TransferStock(ctx, &inventorypb.TransferStockRequest{Lot: names[0], SourceLocation: names[1], TargetLocation: names[2], MassKg: kg, RequestId: a.requestID()})
			})
		},
	}
	adjust := &cobra.Command{
		Use: "adjust LOT PLACE COUNTED-MASS REASON", Short: "Book what a count found", Args: exactly(4, "LOT PLACE COUNTED-MASS REASON"),
		RunE: func(cmd *cobra.Command, args []string) error {
			names, err := a.lotAndPlaces(args[:2])
			if err != nil {
				return err
			}
			kg, err := mass(args[2])
			if err != nil {
				return err
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.StockChange, error) {
				return c.AdjustStock(ctx, &inventorypb.AdjustStockRequest{Lot: names[0], Location: names[1], CountedMassKg: kg, Reason: args[3], RequestId: a.requestID()})
			})
		},
	}
	discard := &cobra.Command{
		Use: "discard LOT REASON", Short: "Destroy all that is on hand of a lot", Args: exactly(2, "LOT and REASON"),
		RunE: func(cmd *cobra.Command, args []string) error {
			names, err := a.lotAndPlaces(args[:1])
			if err != nil {
				return err
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.StockChange, error) {
				return c.DiscardLot(ctx, &inventorypb.DiscardLotRequest{Name: names[0], Reason: args[1], RequestId: a.requestID()})
			})
		},
	}
	lot.AddCommand(transfer, adjust, discard)
}

func (a *app) lotAndPlaces(ids []string) ([]string, error) {
	names := make([]string, len(ids))
	for i, id := range ids {
		pattern := "locations/{location}"
		if i == 0 {
			pattern = "lots/{lot}"
		}
		name, err := a.name(pattern, id)
		if err != nil {
			return nil, err
		}
		names[i] = name
	}
	return names, nil
}
