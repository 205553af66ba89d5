package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/cli/view"
)

// batchStockCommands book what a batch takes from stock and gives to it.
func (a *app) batchStockCommands(batch *cobra.Command) {
	reserve := &cobra.Command{
		Use: "reserve BATCH ITEM=MASS ...", Short: "Reserve stock for a batch, first expired first", Args: atLeast(2, "BATCH ITEM=MASS ..."),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("batches/{batch}", args[0])
			if err != nil {
				return err
			}
			var items []*inventorypb.ItemMass
			err = perItem(a, args[1:], "ITEM=MASS", "items/{item}", mass, func(item string, kg float64) {
				items = append(items, &inventorypb.ItemMass{Item: item, MassKg: kg})
			})
			if err != nil {
				return err
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.Reservation, error) {
				return c.ReserveStock(ctx, &inventorypb.ReserveStockRequest{Parent: a.siteName(), Batch: name, Items: items, RequestId: a.requestID()})
			})
		},
	}
	consume := &cobra.Command{
		Use: "consume BATCH/RUN ITEM=MASS[@LOT] ...", Short: "Take stock into a batch", Args: atLeast(2, "BATCH/RUN ITEM=MASS[@LOT] ..."),
		Long: "Take stock into a batch: what was reserved for it first, then the lots that expire first, or the lot that is named.",
		RunE: func(cmd *cobra.Command, args []string) error {
			batchName, run, err := a.batchAndRun(args[0])
			if err != nil {
				return err
			}
			var inputs []*inventorypb.ConsumeStockRequest_Input
			for _, word := range args[1:] {
				id, quantity, err := pair(word, "ITEM=MASS[@LOT]")
				if err != nil {
					return err
				}
				weight, lot, named := strings.Cut(quantity, "@")
				input := &inventorypb.ConsumeStockRequest_Input{}
				if input.Item, err = a.name("items/{item}", id); err != nil {
					return err
				}
				if input.MassKg, err = mass(weight); err != nil {
					return err
				}
				if named {
					if input.Lot, err = a.name("lots/{lot}", lot); err != nil {
						return err
					}
				}
				inputs = append(inputs, input)
			}
			client, err := a.inventory()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			response, err := client.ConsumeStock(ctx, &inventorypb.ConsumeStockRequest{Parent: a.siteName(), Batch: batchName, Run: run, Inputs: inputs, RequestId: a.requestID()})
			if err != nil {
				return rpc.FromStatus(err)
			}
			return table(ctx, a, response.GetTaken(), "item", "lot", "location", "mass_kg", "reservation")
		},
	}
	var byProducts []string
	produce := &cobra.Command{
		Use: "produce BATCH/RUN ITEM=MASS ...", Short: "Book what a batch gives; each becomes a lot", Args: atLeast(2, "BATCH/RUN ITEM=MASS ..."),
		RunE: func(cmd *cobra.Command, args []string) error {
			batchName, run, err := a.batchAndRun(args[0])
			if err != nil {
				return err
			}
			var outputs []*inventorypb.RecordProductionRequest_Output
			add := func(kind inventorypb.RecordProductionRequest_Output_Kind) func(string, float64) {
				return func(item string, kg float64) {
					outputs = append(outputs, &inventorypb.RecordProductionRequest_Output{Item: item, MassKg: kg, Kind: kind})
				}
			}
			err = perItem(a, args[1:], "ITEM=MASS", "items/{item}", mass, add(inventorypb.RecordProductionRequest_Output_PRODUCT))
			if err != nil {
				return err
			}
			err = perItem(a, byProducts, "ITEM=MASS", "items/{item}", mass, add(inventorypb.RecordProductionRequest_Output_BY_PRODUCT))
			if err != nil {
				return err
			}
			client, err := a.inventory()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			response, err := client.RecordProduction(ctx, &inventorypb.RecordProductionRequest{Parent: a.siteName(), Batch: batchName, Run: run, Outputs: outputs, RequestId: a.requestID()})
			if err != nil {
				return rpc.FromStatus(err)
			}
			return table(ctx, a, response.GetLots(), "name", "item", "initial_mass_kg", "use_by_date", "release_required")
		},
	}
	produce.Flags().StringArrayVar(&byProducts, "by-product", nil, "ITEM=MASS: a by-product, repeatable")

	closeBatch := &cobra.Command{
		Use: "close BATCH LOSS=MASS ...", Short: "Account for a batch's losses and close its balance", Args: atLeast(1, "BATCH LOSS=MASS ..."),
		Long: "Close a batch: what went in must equal what came out and what was lost. The losses are " + view.EnumChoices(inventorypb.Loss_EVAPORATION.Descriptor()) + ".",
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("batches/{batch}", args[0])
			if err != nil {
				return err
			}
			var losses []*inventorypb.Loss
			for _, word := range args[1:] {
				kind, text, err := pair(word, "LOSS=MASS")
				if err != nil {
					return err
				}
				number, found := view.EnumValue(inventorypb.Loss_EVAPORATION.Descriptor(), kind)
				if !found {
					return usagef("%q: the losses are %s", kind, view.EnumChoices(inventorypb.Loss_EVAPORATION.Descriptor()))
				}
				kg, err := mass(text)
				if err != nil {
					return err
				}
				losses = append(losses, &inventorypb.Loss{Kind: inventorypb.Loss_Kind(number), MassKg: kg})
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.MassBalance, error) {
				return c.CloseBatch(ctx, &inventorypb.CloseBatchRequest{Parent: a.siteName(), Batch: name, Losses: losses, RequestId: a.requestID()})
			})
		},
	}
	balance := &cobra.Command{
		Use: "balance BATCH", Short: "What went in, what came out, what is missing", Args: exactly(1, "BATCH"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("batches/{batch}", args[0])
			if err != nil {
				return err
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.MassBalance, error) {
				return c.GetMassBalance(ctx, &inventorypb.GetMassBalanceRequest{Name: name})
			})
		},
	}
	batch.AddCommand(reserve, consume, produce, closeBatch, balance)
}

// batchAndRun reads BATCH/RUN, or BATCH alone.
func (a *app) batchAndRun(id string) (batch, run string, err error) {
	if !strings.Contains(id, "/") {
		batch, err = a.name("batches/{batch}", id)
		return batch, "", err
	}
	run, err = a.name("batches/{batch}/runs/{run}", id)
	if err != nil {
		return "", "", err
	}
	return run[:strings.LastIndex(run[:strings.LastIndex(run, "/")], "/")], run, nil
}

func (a *app) packCommand() *cobra.Command {
	var sources []string
	var useBy, product string
	command := &cobra.Command{
		Use: "pack BATCH[/RUN] ITEM COUNT --from LOT=MASS", Short: "Fill labelled containers from bulk lots", Args: exactly(3, "BATCH[/RUN] ITEM COUNT"),
		Example: "  rondeau pack p-31/portion demi-1kg 40 --from l-204=40.6kg",
		RunE: func(cmd *cobra.Command, args []string) error {
			batch, run, err := a.batchAndRun(args[0])
			if err != nil {
				return err
			}
			item, err := a.name("items/{item}", args[1])
			if err != nil {
				return err
			}
			n, err := count(args[2])
			if err != nil {
				return err
			}
			request := &inventorypb.PackContainersRequest{Parent: a.siteName(), Batch: batch, Run: run, Item: item, ContainerCount: n, UseByDate: useBy, RequestId: a.requestID()}
			if product != "" {
				if request.Product, err = a.name("products/{product}", product); err != nil {
					return err
				}
			}
			err = perItem(a, sources, "LOT=MASS", "lots/{lot}", mass, func(lot string, kg float64) {
				request.Sources = append(request.Sources, &inventorypb.PackContainersRequest_Source{Lot: lot, MassKg: kg})
			})
			if err != nil {
				return err
			}
			client, err := a.inventory()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			response, err := client.PackContainers(ctx, request)
			if err != nil {
				return rpc.FromStatus(err)
			}
			return table(ctx, a, response.GetContainers(), "name", "lot", "serial", "net_mass_kg", "label.use_by_date", "label.element_string")
		},
	}
	command.Flags().StringArrayVar(&sources, "from", nil, "LOT=MASS: what is taken from a bulk lot, repeatable")
	command.Flags().StringVar(&useBy, "use-by", "", "use-by day (from the item's shelf life when empty)")
	command.Flags().StringVar(&product, "product", "", "product, when its id is not the item's")
	return command
}

func (a *app) scanCommand() *cobra.Command {
	var outlet string
	command := &cobra.Command{
		Use: "scan CODE", Short: "Read a label: what is this container, and may it move?", Args: exactly(1, "CODE"),
		Long: "Read a label. The code is what a scanner gives: a GS1 element string, with or without brackets, a GS1 Digital Link, or a serial.",
		RunE: func(cmd *cobra.Command, args []string) error {
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.ScanContainerResponse, error) {
				request := &inventorypb.ScanContainerRequest{Parent: a.siteName(), Code: args[0]}
				if outlet != "" {
					name, err := a.name("outlets/{outlet}", outlet)
					if err != nil {
						return nil, err
					}
					request.Outlet = name
				}
				return c.ScanContainer(ctx, request)
			})
		},
	}
	command.Flags().StringVar(&outlet, "outlet", "", "outlet that scans")
	return command
}

// shipmentCommands bring containers to an outlet.
func (a *app) shipmentCommands(shipment *cobra.Command) {
	var order, id string
	var partial bool
	make := &cobra.Command{
		Use: "make OUTLET [ITEM=COUNT ...]", Short: "Pick released containers for an outlet, first expired first", Args: atLeast(1, "OUTLET"),
		Example: "  rondeau shipment make corner-bistro --order corner-bistro/o-17",
		RunE: func(cmd *cobra.Command, args []string) error {
			outlet, err := a.name("outlets/{outlet}", args[0])
			if err != nil {
				return err
			}
			request := &inventorypb.CreateShipmentRequest{Parent: a.siteName(), ShipmentId: id, Outlet: outlet, AllowPartial: partial, RequestId: a.requestID()}
			words := args[1:]
			if order != "" {
				request.Order, err = a.name("outlets/{outlet}/orders/{order}", order)
				if err != nil {
					return err
				}
				if len(words) == 0 {
					words, err = a.orderAsItems(cmd, request.GetOrder())
					if err != nil {
						return err
					}
				}
			}
			err = perItem(a, words, "ITEM=COUNT", "items/{item}", count, func(item string, n int32) {
				request.Lines = append(request.Lines, &inventorypb.CreateShipmentRequest_Line{Item: item, ContainerCount: n})
			})
			if err != nil {
				return err
			}
			if len(request.GetLines()) == 0 {
				return usagef("name an order with --order, or what to ship as ITEM=COUNT")
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.Shipment, error) {
				return c.CreateShipment(ctx, request)
			})
		},
	}
	make.Flags().StringVar(&order, "order", "", "OUTLET/ORDER that it fulfils")
	make.Flags().StringVar(&id, "id", "", "id of the shipment (given by the suite when empty)")
	make.Flags().BoolVar(&partial, "partial", false, "ship what there is when not all can be picked")

	dispatch := &cobra.Command{
		Use: "dispatch SHIPMENT", Short: "Send a shipment; held and unreleased lots are refused", Args: exactly(1, "SHIPMENT"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("shipments/{shipment}", args[0])
			if err != nil {
				return err
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.Shipment, error) {
				return c.DispatchShipment(ctx, &inventorypb.DispatchShipmentRequest{Name: name, RequestId: a.requestID()})
			})
		},
	}
	var missing []string
	receive := &cobra.Command{
		Use: "receive SHIPMENT", Short: "Confirm at the outlet that a shipment arrived", Args: exactly(1, "SHIPMENT"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("shipments/{shipment}", args[0])
			if err != nil {
				return err
			}
			client, err := a.inventory()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			sent, err := client.GetShipment(ctx, &inventorypb.GetShipmentRequest{Name: name})
			if err != nil {
				return rpc.FromStatus(err)
			}
			request := &inventorypb.ReceiveShipmentRequest{Name: name, Outlet: sent.GetOutlet(), RequestId: a.requestID()}
			for _, one := range missing {
				container, err := a.name("containers/{container}", one)
				if err != nil {
					return err
				}
				request.MissingContainers = append(request.MissingContainers, container)
			}
			received, err := client.ReceiveShipment(ctx, request)
			if err != nil {
				return rpc.FromStatus(err)
			}
			return a.show(ctx, received)
		},
	}
	receive.Flags().StringSliceVar(&missing, "missing", nil, "containers that did not arrive")

	cancel := &cobra.Command{
		Use: "cancel SHIPMENT", Short: "Give a shipment's containers back to stock before dispatch", Args: exactly(1, "SHIPMENT"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("shipments/{shipment}", args[0])
			if err != nil {
				return err
			}
			return inventoryCall(a, cmd, func(ctx context.Context, c inventorypb.InventoryServiceClient) (*inventorypb.Shipment, error) {
				return c.CancelShipment(ctx, &inventorypb.CancelShipmentRequest{Name: name, RequestId: a.requestID()})
			})
		},
	}
	shipment.AddCommand(make, dispatch, receive, cancel)
}

// orderAsItems gives an order's lines as ITEM=COUNT words, by the pack item of each product.
func (a *app) orderAsItems(cmd *cobra.Command, order string) ([]string, error) {
	ctx, cancel := a.call(cmd)
	defer cancel()
	lines, err := orderItems(ctx, a, order)
	if err != nil {
		return nil, err
	}
	words := make([]string, len(lines))
	for i, line := range lines {
		words[i] = fmt.Sprintf("%s=%d", view.Style{Site: a.siteName()}.ID(line.item), line.count)
	}
	return words, nil
}
