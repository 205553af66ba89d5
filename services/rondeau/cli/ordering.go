package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/cli/view"
)

// orderCommands are what an outlet does: see what can be promised, order, change, cancel.
func (a *app) orderCommands(order *cobra.Command) {
	var note, id string
	place := &cobra.Command{
		Use: "place OUTLET DATE PRODUCT=COUNT ...", Short: "Order packs for a dispatch day", Args: atLeast(3, "OUTLET DATE PRODUCT=COUNT ..."),
		Example: "  rondeau order place corner-bistro 2027-03-03 demi-1kg=6 chicken-stock-2500g=4",
		RunE: func(cmd *cobra.Command, args []string) error {
			outlet, err := a.name("outlets/{outlet}", args[0])
			if err != nil {
				return err
			}
			date, err := day(args[1])
			if err != nil {
				return err
			}
			lines, err := a.orderLines(args[2:])
			if err != nil {
				return err
			}
			return planningCall(a, cmd, func(ctx context.Context, c planningpb.PlanningServiceClient) (*planningpb.Order, error) {
				return c.CreateOrder(ctx, &planningpb.CreateOrderRequest{
					Parent: outlet, OrderId: id, RequestId: a.requestID(),
					Order: &planningpb.Order{DispatchDate: date, Lines: lines, Note: note},
				})
			})
		},
	}
	place.Flags().StringVar(&note, "note", "", "a note for the kitchen")
	place.Flags().StringVar(&id, "id", "", "id of the order (given by the suite when empty)")

	change := &cobra.Command{
		Use: "change OUTLET/ORDER PRODUCT=COUNT ...", Short: "Replace an order's lines before its cut-off", Args: atLeast(2, "OUTLET/ORDER PRODUCT=COUNT ..."),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.changeOrder(cmd, args[0], func(ctx context.Context, client planningpb.PlanningServiceClient, order *planningpb.Order) (*planningpb.Order, error) {
				lines, err := a.orderLines(args[1:])
				if err != nil {
					return nil, err
				}
				order.Lines = lines
				return client.UpdateOrder(ctx, &planningpb.UpdateOrderRequest{Order: order, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"lines"}}, RequestId: a.requestID()})
			})
		},
	}
	cancel := &cobra.Command{
		Use: "cancel OUTLET/ORDER", Short: "Cancel an order before its cut-off", Args: exactly(1, "OUTLET/ORDER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.changeOrder(cmd, args[0], func(ctx context.Context, client planningpb.PlanningServiceClient, order *planningpb.Order) (*planningpb.Order, error) {
				return client.CancelOrder(ctx, &planningpb.CancelOrderRequest{Name: order.GetName(), Etag: order.GetEtag(), RequestId: a.requestID()})
			})
		},
	}
	for _, command := range []*cobra.Command{change, cancel} {
		command.Flags().StringVar(&a.etag, "etag", "", "only when the order still has this etag (see order show); else as it is now")
		command.ValidArgsFunction = a.completeIDs(resourceByWord("order"))
	}
	order.AddCommand(place, change, cancel)
}

func (a *app) orderLines(words []string) ([]*planningpb.Order_Line, error) {
	var lines []*planningpb.Order_Line
	err := perItem(a, words, "PRODUCT=COUNT", "products/{product}", count, func(name string, n int32) {
		lines = append(lines, &planningpb.Order_Line{Product: name, ContainerCount: n})
	})
	return lines, err
}

// changeOrder reads an order and changes it as it was read: when somebody else changed it in between, it is refused.
func (a *app) changeOrder(cmd *cobra.Command, id string, change func(context.Context, planningpb.PlanningServiceClient, *planningpb.Order) (*planningpb.Order, error)) error {
	name, err := a.name("outlets/{outlet}/orders/{order}", id)
	if err != nil {
		return err
	}
	client, err := a.planning()
	if err != nil {
		return err
	}
	ctx, cancel := a.call(cmd)
	defer cancel()
	order, err := client.GetOrder(ctx, &planningpb.GetOrderRequest{Name: name})
	if err != nil {
		return rpc.FromStatus(err)
	}
	if a.etag != "" {
		order.Etag = a.etag
	}
	order, err = change(ctx, client, order)
	if err != nil {
		return rpc.FromStatus(err)
	}
	return a.show(ctx, order)
}

func (a *app) availableCommand() *cobra.Command {
	return &cobra.Command{
		Use: "available OUTLET PRODUCT DATE", Short: "See how many packs can be promised for a dispatch day", Args: exactly(3, "OUTLET PRODUCT DATE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			outlet, err := a.name("outlets/{outlet}", args[0])
			if err != nil {
				return err
			}
			product, err := a.name("products/{product}", args[1])
			if err != nil {
				return err
			}
			date, err := day(args[2])
			if err != nil {
				return err
			}
			client, err := a.planning()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			answer, err := client.CheckAvailability(ctx, &planningpb.CheckAvailabilityRequest{Outlet: outlet, Product: product, DispatchDate: date})
			if err != nil {
				return rpc.FromStatus(err)
			}
			if a.output != "json" {
				fmt.Fprintf(a.out, "promised  %d packs of %s\n", answer.GetPromisedContainerCount(), args[1])
				if p := answer.OnTimeProbability; p != nil {
					fmt.Fprintf(a.out, "in time   with %s\n", percentWords(*p))
				}
			}
			return a.show(ctx, answer)
		},
	}
}

func (a *app) siteCommand() *cobra.Command {
	site := &cobra.Command{Use: "site", Short: "The kitchens of this suite", Args: cobra.NoArgs, RunE: helpOf}
	site.AddCommand(&cobra.Command{
		Use: "list", Short: "List the kitchens", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			client, err := a.planning()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			sites, err := pages(0, func(token string) ([]*planningpb.Site, string, error) {
				response, err := client.ListSites(ctx, &planningpb.ListSitesRequest{PageToken: token})
				return response.GetSites(), response.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return table(ctx, a, sites, "name", "display_name", "time_zone", "altitude_meters", "address")
		},
	})
	a.singleCommands(site, "site", "the kitchen", true)
	return site
}

func (a *app) planCommands(plan, batch *cobra.Command) {
	var level float64
	var preview bool
	var id string
	make := &cobra.Command{
		Use: "make START DAYS", Short: "Turn orders and pars into batches and purchases", Args: exactly(2, "START (a day) and DAYS"),
		Example: "  rondeau plan make 2027-03-01 7 --service-level 0.9",
		RunE: func(cmd *cobra.Command, args []string) error {
			end, err := dayAfter(args[0], args[1])
			if err != nil {
				return err
			}
			client, err := a.planning()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			made, err := client.CreatePlan(ctx, &planningpb.CreatePlanRequest{
				Parent: a.siteName(), PlanId: id, ValidateOnly: preview, RequestId: a.requestID(),
				Plan: &planningpb.Plan{StartDate: args[0], EndDate: end, ServiceLevel: level},
			})
			if err != nil {
				return rpc.FromStatus(err)
			}
			return a.showPlan(ctx, made)
		},
	}
	make.Flags().Float64Var(&level, "service-level", 0, "probability with which a batch yields what it is planned for, 0.5 to 0.999 (the kitchen's own when 0)")
	make.Flags().BoolVar(&preview, "preview", false, "compute the plan without saving it")
	make.Flags().StringVar(&id, "id", "", "id of the plan (given by the suite when empty)")

	release := &cobra.Command{
		Use: "release PLAN", Short: "Put a plan into force: batches may be cooked, purchases are proposed", Args: exactly(1, "PLAN"),
		ValidArgsFunction: a.completeIDs(resourceByWord("plan")),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("plans/{plan}", args[0])
			if err != nil {
				return err
			}
			client, err := a.planning()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			released, err := client.ReleasePlan(ctx, &planningpb.ReleasePlanRequest{Name: name, ValidateOnly: preview, RequestId: a.requestID()})
			if err != nil {
				return rpc.FromStatus(err)
			}
			return a.showPlan(ctx, released)
		},
	}
	release.Flags().BoolVar(&preview, "preview", false, "check the release without doing it")

	cancelBatch := &cobra.Command{
		Use: "cancel BATCH REASON", Short: "Cancel a batch that has not begun", Args: exactly(2, "BATCH and REASON"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("batches/{batch}", args[0])
			if err != nil {
				return err
			}
			return planningCall(a, cmd, func(ctx context.Context, c planningpb.PlanningServiceClient) (*planningpb.Batch, error) {
				return c.CancelBatch(ctx, &planningpb.CancelBatchRequest{Name: name, Reason: args[1], RequestId: a.requestID()})
			})
		},
	}
	plan.AddCommand(make, release)
	batch.AddCommand(cancelBatch)
}

// showPlan prints a plan as the four lists that a manager reads: numbers, batches, purchases, shortages.
func (a *app) showPlan(ctx context.Context, plan *planningpb.Plan) error {
	if a.output == "json" {
		return a.show(ctx, plan)
	}
	batches := plan.GetBatches()
	client, err := a.planning()
	if err != nil {
		return err
	}
	if len(batches) == 0 && plan.GetName() != "" {
		batches, err = pages(0, func(token string) ([]*planningpb.Batch, string, error) {
			response, err := client.ListBatches(ctx, &planningpb.ListBatchesRequest{
				Parent: a.siteName(), PageToken: token, PageSize: 200, Filter: fmt.Sprintf("plan = %q", plan.GetName()),
			})
			return response.GetBatches(), response.GetNextPageToken(), err
		})
		if err != nil {
			return err
		}
	}
	style := a.style(ctx)
	fmt.Fprintf(a.out, "Plan %s, from %s until before %s, %s\n\n", style.ID(plan.GetName()), plan.GetStartDate(), plan.GetEndDate(), view.EnumWords(plan.GetState().Descriptor().Values().ByNumber(plan.GetState().Number())))
	err = style.Detail(a.out, plan.GetSummary())
	if err != nil {
		return err
	}
	fmt.Fprintf(a.out, "\nBatches\n")
	err = table(ctx, a, batches, "name", "display_name", "planned_output_kg", "container_count", "earliest_start_time", "due_time", "late")
	if err != nil {
		return err
	}
	if len(plan.GetPurchases()) > 0 {
		fmt.Fprintf(a.out, "\nPurchases\n")
		err = table(ctx, a, plan.GetPurchases(), "item", "supplier", "mass_kg", "case_count", "order_date", "delivery_date", "need_date")
		if err != nil {
			return err
		}
	}
	for _, shortage := range plan.GetShortages() {
		fmt.Fprintf(a.out, "\nShort: %s", shortage.GetReason())
	}
	for _, note := range plan.GetNotes() {
		fmt.Fprintf(a.out, "\nNote: %s", note)
	}
	_, err = fmt.Fprintln(a.out)
	return err
}
