package cli

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
)

// planningCall makes one call to planning and shows what comes back.
func planningCall[M proto.Message](a *app, cmd *cobra.Command, call func(context.Context, planningpb.PlanningServiceClient) (M, error)) error {
	client, err := a.planning()
	if err != nil {
		return err
	}
	return showCall(a, cmd, func(ctx context.Context) (M, error) { return call(ctx, client) })
}

// inventoryCall makes one call to inventory and shows what comes back.
func inventoryCall[M proto.Message](a *app, cmd *cobra.Command, call func(context.Context, inventorypb.InventoryServiceClient) (M, error)) error {
	client, err := a.inventory()
	if err != nil {
		return err
	}
	return showCall(a, cmd, func(ctx context.Context) (M, error) { return call(ctx, client) })
}

// schedulingCall makes one call to scheduling and shows what comes back.
func schedulingCall[M proto.Message](a *app, cmd *cobra.Command, call func(context.Context, schedulingpb.SchedulingServiceClient) (M, error)) error {
	client, err := a.scheduling()
	if err != nil {
		return err
	}
	return showCall(a, cmd, func(ctx context.Context) (M, error) { return call(ctx, client) })
}

// foodSafetyCall makes one call to foodsafety and shows what comes back.
func foodSafetyCall[M proto.Message](a *app, cmd *cobra.Command, call func(context.Context, foodsafetypb.FoodSafetyServiceClient) (M, error)) error {
	client, err := a.foodSafety()
	if err != nil {
		return err
	}
	return showCall(a, cmd, func(ctx context.Context) (M, error) { return call(ctx, client) })
}

func showCall[M proto.Message](a *app, cmd *cobra.Command, call func(context.Context) (M, error)) error {
	ctx, cancel := a.call(cmd)
	defer cancel()
	message, err := call(ctx)
	if err != nil {
		return rpc.FromStatus(err)
	}
	return a.show(ctx, message)
}
