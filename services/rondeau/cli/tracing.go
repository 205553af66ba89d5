package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/cli/view"
)

type itemCount struct {
	item  string
	count int32
}

func orderItems(ctx context.Context, a *app, order string) ([]itemCount, error) {
	client, err := a.planning()
	if err != nil {
		return nil, err
	}
	found, err := client.GetOrder(ctx, &planningpb.GetOrderRequest{Name: order})
	if err != nil {
		return nil, rpc.FromStatus(err)
	}
	var lines []itemCount
	for _, line := range found.GetLines() {
		product, err := client.GetProduct(ctx, &planningpb.GetProductRequest{Name: line.GetProduct()})
		if err != nil {
			return nil, rpc.FromStatus(err)
		}
		if open := line.GetContainerCount() - line.GetShippedContainerCount(); open > 0 {
			lines = append(lines, itemCount{product.GetItem(), open})
		}
	}
	return lines, nil
}

func (a *app) traceCommand() *cobra.Command {
	var forward bool
	command := &cobra.Command{
		Use: "trace CONTAINER|LOT|DELIVERY", Short: "From one container back to its deliveries, or from a delivery to every container", Args: exactly(1, "containers/ID, lots/ID or deliveries/ID"),
		Long: `Trace a container or lot back to the deliveries behind it, with the batches, vessels, people and chills on the way; or
with --forward a lot or delivery to every container made from it and where that went. An id alone is taken as a
container's.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.traceable(args[0])
			if err != nil {
				return err
			}
			client, err := a.inventory()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			var trace *inventorypb.Trace
			if forward || strings.Contains(name, "/deliveries/") {
				trace, err = client.TraceForward(ctx, &inventorypb.TraceForwardRequest{Name: name})
			} else {
				trace, err = client.TraceBackward(ctx, &inventorypb.TraceBackwardRequest{Name: name})
			}
			if err != nil {
				return rpc.FromStatus(err)
			}
			if a.output == "json" {
				return a.show(ctx, trace)
			}
			return a.writeTrace(ctx, trace)
		},
	}
	command.Flags().BoolVar(&forward, "forward", false, "trace forward")
	return command
}

func (a *app) traceable(id string) (string, error) {
	switch {
	case strings.HasPrefix(id, "sites/"):
		return id, nil
	case strings.HasPrefix(id, "lots/"):
		return a.name("lots/{lot}", id)
	case strings.HasPrefix(id, "deliveries/"):
		return a.name("deliveries/{delivery}", id)
	default:
		return a.name("containers/{container}", id)
	}
}

// writeTrace prints the graph as lines indented by their distance from the root, then what the other services know of
// each batch on the way.
func (a *app) writeTrace(ctx context.Context, trace *inventorypb.Trace) error {
	style := a.style(ctx)
	masses := map[string]float64{}
	for _, edge := range trace.GetEdges() {
		masses[edge.GetSource()] += edge.GetMassKg()
	}
	nodes := slices.Clone(trace.GetNodes())
	slices.SortStableFunc(nodes, func(x, y *inventorypb.TraceNode) int { return int(x.GetDepth() - y.GetDepth()) })
	batches := []string{}
	for i := 0; i < len(nodes); {
		node, last := nodes[i], i+1
		if node.GetKind() == inventorypb.TraceNode_CONTAINER {
			for last < len(nodes) && nodes[last].GetKind() == node.GetKind() && nodes[last].GetDepth() == node.GetDepth() && nodes[last].GetDisplayName() == node.GetDisplayName() && nodes[last].GetHeld() == node.GetHeld() {
				last++
			}
		}
		fmt.Fprintln(a.out, traceLine(style, nodes[i:last]))
		if node.GetBatch() != "" && !slices.Contains(batches, node.GetBatch()) {
			batches = append(batches, node.GetBatch())
		}
		i = last
	}
	fmt.Fprintln(a.out)
	err := style.Detail(a.out, trace.GetSummary())
	if err != nil {
		return err
	}
	for _, batch := range batches {
		err = a.writeBatchStory(ctx, style, batch)
		if err != nil {
			return err
		}
	}
	return nil
}

// traceLine is the line of a node, or of several containers of the same kind, which are named by the first and the last.
func traceLine(style view.Style, nodes []*inventorypb.TraceNode) string {
	node := nodes[0]
	id := style.ID(node.GetName())
	line := strings.Repeat("  ", int(node.GetDepth())) + view.EnumWords(node.GetKind().Descriptor().Values().ByNumber(node.GetKind().Number())) + " " + id
	kg := 0.0
	for _, one := range nodes {
		kg += one.GetMassKg()
	}
	if len(nodes) > 1 {
		line += fmt.Sprintf(" to %s, %d of", style.ID(nodes[len(nodes)-1].GetName()), len(nodes))
	}
	if title := node.GetDisplayName(); title != "" && title != id {
		if len(nodes) == 1 {
			line += ","
		}
		line += " " + title
	}
	if kg > 0 {
		line += ", " + view.Number(kg) + " kg"
	}
	if node.GetEventTime() != nil {
		line += ", " + style.Time(node.GetEventTime().AsTime())
	}
	if node.GetHeld() {
		line += ", ON HOLD"
	}
	return line
}

// writeBatchStory prints the runs and chills of one batch.
func (a *app) writeBatchStory(ctx context.Context, style view.Style, batch string) error {
	scheduling, err := a.scheduling()
	if err != nil {
		return err
	}
	runs, err := scheduling.ListRuns(ctx, &schedulingpb.ListRunsRequest{Parent: batch, PageSize: 100})
	if err != nil {
		return rpc.FromStatus(err)
	}
	fmt.Fprintf(a.out, "\nBatch %s\n", style.ID(batch))
	if len(runs.GetRuns()) > 0 {
		err = table(ctx, a, runs.GetRuns(), "step_id", "state", "vessel", "start_time", "finish_time", "operator")
		if err != nil {
			return err
		}
	}
	safety, err := a.foodSafety()
	if err != nil {
		return err
	}
	chills, err := safety.ListChills(ctx, &foodsafetypb.ListChillsRequest{Parent: a.siteName(), Filter: fmt.Sprintf("batch = %q", batch)})
	if err != nil {
		return rpc.FromStatus(err)
	}
	for _, chill := range chills.GetChills() {
		fmt.Fprintf(a.out, "chill %s: %s. %s\n", style.ID(chill.GetName()), strings.ToLower(chill.GetState().String()), chill.GetJudgement().GetSummary())
	}
	return nil
}
