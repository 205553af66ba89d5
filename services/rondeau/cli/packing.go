package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"rondeau.internal/pkg/apierr"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/cli/view"
)

// batchStockCommands book what a batch takes from stock and gives to it.
func (a *app) batchStockCommands(batch *cobra.Command) {
	batch.AddCommand(a.batchReserveCommand(), a.batchConsumeCommand(), a.batchProduceCommand(), a.batchCloseBatchCommand(), a.batchBalanceCommand())
}

func (a *app) batchReserveCommand() *cobra.Command {
	return &cobra.Command{
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
				_, err := a.knownBatch(ctx, name, "")
				if err != nil {
					return nil, err
				}
				return c.ReserveStock(ctx, &inventorypb.ReserveStockRequest{Parent: a.siteName(), Batch: name, Items: items, RequestId: a.requestID()})
			})
		},
	}
}

func (a *app) batchConsumeCommand() *cobra.Command {
	return &cobra.Command{
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
			_, err = a.knownBatch(ctx, batchName, run)
			if err != nil {
				return err
			}
			response, err := client.ConsumeStock(ctx, &inventorypb.ConsumeStockRequest{Parent: a.siteName(), Batch: batchName, Run: run, Inputs: inputs, RequestId: a.requestID()})
			if err != nil {
				return rpc.FromStatus(err)
			}
			return answer(ctx, a, response, response.GetTaken(), "item", "lot", "location", "mass_kg", "reservation")
		},
	}
}

func (a *app) batchProduceCommand() *cobra.Command {
	var byProducts []string
	command := &cobra.Command{
		Use: "produce BATCH/RUN ITEM=MASS[,to=PLACE] ...", Short: "Book what a batch gives; each becomes a lot", Args: atLeast(2, "BATCH/RUN ITEM=MASS ..."),
		Long: `Book what a batch gives; each becomes a lot. The batch's own item is its product; an item that its formula names as a
by-product, or that is given with --by-product, is a by-product.`,
		Example:           "  rondeau batch produce b-12/defat chicken-stock=77kg,to=walk-in rendered-fat=1.6kg",
		ValidArgsFunction: a.completeIDs(resourceByWord("run")),
		RunE: func(cmd *cobra.Command, args []string) error {
			batchName, run, err := a.batchAndRun(args[0])
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			batch, err := a.knownBatch(ctx, batchName, run)
			if err != nil {
				return err
			}
			outputs, err := a.outputs(args[1:], func(item string) bool {
				return slices.ContainsFunc(batch.GetByProducts(), func(p *planningpb.BatchByProduct) bool { return p.GetItem() == item })
			})
			if err != nil {
				return err
			}
			more, err := a.outputs(byProducts, func(string) bool { return true })
			if err != nil {
				return err
			}
			client, err := a.inventory()
			if err != nil {
				return err
			}
			response, err := client.RecordProduction(ctx, &inventorypb.RecordProductionRequest{Parent: a.siteName(), Batch: batchName, Run: run, Outputs: append(outputs, more...), RequestId: a.requestID()})
			if err != nil {
				return rpc.FromStatus(err)
			}
			return answer(ctx, a, response, response.GetLots(), "name", "item", "initial_mass_kg", "use_by_date", "release_required")
		},
	}
	command.Flags().StringArrayVar(&byProducts, "by-product", nil, "ITEM=MASS: a by-product that the formula does not name, repeatable")
	return command
}

func (a *app) batchCloseBatchCommand() *cobra.Command {
	return &cobra.Command{
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
				_, err := a.knownBatch(ctx, name, "")
				if err != nil {
					return nil, err
				}
				return c.CloseBatch(ctx, &inventorypb.CloseBatchRequest{Parent: a.siteName(), Batch: name, Losses: losses, RequestId: a.requestID()})
			})
		},
	}
}

func (a *app) batchBalanceCommand() *cobra.Command {
	return &cobra.Command{
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

// knownBatch reads a batch and asks whether a run of it exists: inventory books what it is told, also to a name that was
// typed wrong. When planning or scheduling cannot be reached the booking goes on.
func (a *app) knownBatch(ctx context.Context, name, run string) (*planningpb.Batch, error) {
	planning, err := a.planning()
	if err != nil {
		return nil, err
	}
	batch, err := planning.GetBatch(ctx, &planningpb.GetBatchRequest{Name: name})
	if err = rpc.FromStatus(err); apierr.KindOf(err) == apierr.KindNotFound {
		return nil, err
	}
	if run == "" {
		return batch, nil
	}
	scheduling, err := a.scheduling()
	if err != nil {
		return nil, err
	}
	_, err = scheduling.GetRun(ctx, &schedulingpb.GetRunRequest{Name: run})
	if err = rpc.FromStatus(err); apierr.KindOf(err) == apierr.KindNotFound {
		return nil, err
	}
	return batch, nil
}

// outputs reads ITEM=MASS[,to=PLACE] words.
func (a *app) outputs(words []string, byProduct func(item string) bool) ([]*inventorypb.RecordProductionRequest_Output, error) {
	var outputs []*inventorypb.RecordProductionRequest_Output
	for _, word := range words {
		id, text, err := pair(word, "ITEM=MASS[,to=PLACE]")
		if err != nil {
			return nil, err
		}
		item, err := a.name("items/{item}", id)
		if err != nil {
			return nil, err
		}
		weight, place, placed := strings.Cut(text, ",to=")
		output := &inventorypb.RecordProductionRequest_Output{Item: item, Kind: inventorypb.RecordProductionRequest_Output_PRODUCT}
		if byProduct(item) {
			output.Kind = inventorypb.RecordProductionRequest_Output_BY_PRODUCT
		}
		output.MassKg, err = mass(weight)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", id, err)
		}
		if placed {
			output.Location, err = a.name("locations/{location}", place)
			if err != nil {
				return nil, err
			}
		}
		outputs = append(outputs, output)
	}
	return outputs, nil
}

func (a *app) packCommand() *cobra.Command {
	var sources []string
	var useBy, product string
	command := &cobra.Command{
		Use: "pack BATCH[/RUN] ITEM COUNT [--from LOT=MASS ...]", Short: "Fill labelled containers from bulk lots", Args: exactly(3, "BATCH[/RUN] ITEM COUNT"),
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
			planned, err := a.knownBatch(ctx, batch, run)
			if err != nil {
				return err
			}
			if request.GetProduct() == "" && planned.GetOutputItem() == item {
				request.Product = planned.GetProduct()
			}
			if len(request.GetSources()) == 0 {
				request.SourceItem, err = a.sourceItem(ctx, request.GetProduct())
				if err != nil {
					return err
				}
			}
			response, err := client.PackContainers(ctx, request)
			if err != nil {
				return rpc.FromStatus(err)
			}
			err = answer(ctx, a, response, response.GetContainers(), "name", "lot", "product", "serial", "net_mass_kg", "label.use_by_date")
			if left := response.GetRemainderMassKg(); err == nil && left > 0 && a.output != "json" {
				fmt.Fprintf(a.out, "%s kg were taken and are in no pack: book them with batch close\n", view.Number(left))
			}
			return err
		},
	}
	command.Flags().StringArrayVar(&sources, "from", nil, "LOT=MASS: what is taken from a bulk lot, repeatable (what the packs hold, first expired first, when empty)")
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
			request := &inventorypb.ScanContainerRequest{Parent: a.siteName(), Code: args[0]}
			if _, own, found := strings.Cut(a.as, "outlet/"); found && outlet == "" {
				outlet = own
			}
			if outlet != "" {
				name, err := a.name("outlets/{outlet}", outlet)
				if err != nil {
					return err
				}
				request.Outlet = name
			}
			client, err := a.inventory()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			found, err := client.ScanContainer(ctx, request)
			if err != nil {
				return rpc.FromStatus(err)
			}
			return a.showScan(ctx, found)
		},
	}
	command.Flags().StringVar(&outlet, "outlet", "", "outlet that scans")
	return command
}

// showScan prints what a person with a scanner must know: what it is, and whether it may move.
func (a *app) showScan(ctx context.Context, found *inventorypb.ScanContainerResponse) error {
	if a.output == "json" {
		return a.show(ctx, found)
	}
	var err error
	if found.GetContainer() != nil {
		err = table(ctx, a, []*inventorypb.Container{found.GetContainer()}, "name", "label.title", "lot", "label.use_by_date", "net_mass_kg", "state", "location", "shipment")
	} else if found.GetShipment() != nil {
		err = table(ctx, a, []*inventorypb.Shipment{found.GetShipment()}, "name", "outlet", "order", "state", "net_mass_kg", "dispatch_time")
	}
	style := a.style(ctx)
	for _, warning := range found.GetWarnings() {
		fmt.Fprintf(a.out, "STOP: %s\n", plain(style.Text(warning), a.siteName()))
	}
	if err == nil && len(found.GetWarnings()) == 0 {
		fmt.Fprintln(a.out, "nothing is known against it")
	}
	return err
}

// sourceItem is the bulk item of a product.
func (a *app) sourceItem(ctx context.Context, product string) (string, error) {
	if product == "" {
		return "", usagef("say from which bulk lot it is packed: --from LOT=MASS")
	}
	client, err := a.planning()
	if err != nil {
		return "", err
	}
	found, err := client.GetProduct(ctx, &planningpb.GetProductRequest{Name: product})
	return found.GetSourceItem(), rpc.FromStatus(err)
}

// knownOutlet refuses an outlet that does not exist: inventory ships to any name. When planning cannot be reached the
// shipment is made all the same.
func (a *app) knownOutlet(ctx context.Context, name string) error {
	client, err := a.planning()
	if err != nil {
		return err
	}
	_, err = client.GetOutlet(ctx, &planningpb.GetOutletRequest{Name: name})
	if err = rpc.FromStatus(err); apierr.KindOf(err) == apierr.KindNotFound {
		return err
	}
	return nil
}

// shipmentCommands bring containers to an outlet.
func (a *app) shipmentCommands(shipment *cobra.Command) {
	shipment.AddCommand(a.shipmentMakeCommand(), a.shipmentDispatchCommand(), a.shipmentReceiveCommand(), a.shipmentCancelCommand())
}

func (a *app) shipmentMakeCommand() *cobra.Command {
	var order, id string
	var partial bool
	command := &cobra.Command{
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
				err := a.knownOutlet(ctx, request.GetOutlet())
				if err != nil {
					return nil, err
				}
				return c.CreateShipment(ctx, request)
			})
		},
	}
	command.Flags().StringVar(&order, "order", "", "OUTLET/ORDER that it fulfils")
	command.Flags().StringVar(&id, "id", "", "id of the shipment (given by the suite when empty)")
	command.Flags().BoolVar(&partial, "partial", false, "ship what there is when not all can be picked")
	return command
}

func (a *app) shipmentDispatchCommand() *cobra.Command {
	return &cobra.Command{
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
}

func (a *app) shipmentReceiveCommand() *cobra.Command {
	var missing []string
	command := &cobra.Command{
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
			request := &inventorypb.ReceiveShipmentRequest{Name: name, RequestId: a.requestID()}
			if id, own := strings.CutPrefix(a.as, "outlet/"); own {
				request.Outlet = a.siteName() + "/outlets/" + id
			} else {
				sent, err := client.GetShipment(ctx, &inventorypb.GetShipmentRequest{Name: name})
				if err != nil {
					return rpc.FromStatus(err)
				}
				request.Outlet = sent.GetOutlet()
			}
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
	command.Flags().StringSliceVar(&missing, "missing", nil, "containers that did not arrive")
	return command
}

func (a *app) shipmentCancelCommand() *cobra.Command {
	return &cobra.Command{
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
