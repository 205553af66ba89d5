package cli

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/cli/view"
)

// The service makes the outlook of a new schedule by itself, a second or so later; a person waits for it this long.
const (
	outlookTime = 4 * time.Second
	outlookStep = 200 * time.Millisecond
)

func (a *app) scheduleOutlookCommand() *cobra.Command {
	var samples int32
	var seed int64
	command := &cobra.Command{
		Use: "outlook [SCHEDULE]", Short: "Say how sure a schedule is, and what makes it late (the published one when none is named)", Args: cobra.MaximumNArgs(1),
		Long: `Say how sure a schedule is (the published one when none is named): per batch and order the probability of being in time,
the moments by which it is done in half, 80 % and 95 % of all cases, what made it late, which waits may become too long,
and where some time in hand would help.

The service carries the schedule out many times, in its order and with durations drawn from what is known of vessels and
steps, and keeps the result up to date as runs start and end. With --samples or --seed it is done anew for this call.`,
		ValidArgsFunction: a.completeIDs(resourceByWord("schedule")),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx, cancel := a.call(cmd)
			defer cancel()
			found, err := a.schedule(ctx, args)
			if err != nil {
				return err
			}
			var outlook *schedulingpb.Outlook
			if cmd.Flags().Changed("samples") || cmd.Flags().Changed("seed") {
				outlook, err = a.assess(ctx, &schedulingpb.AssessScheduleRequest{Name: found.GetName(), SampleCount: samples, Seed: seed, Buffers: true})
			} else {
				outlook, err = a.awaitOutlook(ctx, found)
			}
			if err != nil {
				return err
			}
			if outlook == nil {
				return fmt.Errorf("the outlook of %s is not made yet: ask again in a moment, or have it made now with --samples", found.GetName())
			}
			if a.output == "json" {
				return a.show(ctx, outlook)
			}
			return a.showScheduleOutlook(ctx, found, outlook)
		},
	}
	command.Flags().Int32Var(&samples, "samples", 0, "have it made anew with so many samples, 1 to 20000 (the service's own number when 0)")
	command.Flags().Int64Var(&seed, "seed", 0, "have it made anew with this seed of the draws")
	return command
}

func (a *app) assess(ctx context.Context, request *schedulingpb.AssessScheduleRequest) (*schedulingpb.Outlook, error) {
	client, err := a.scheduling()
	if err != nil {
		return nil, err
	}
	outlook, err := client.AssessSchedule(ctx, request)
	if err != nil {
		return nil, rpc.FromStatus(err)
	}
	return outlook, nil
}

// awaitOutlook is the outlook of a schedule; nil when the service does not make one in time.
func (a *app) awaitOutlook(ctx context.Context, schedule *schedulingpb.Schedule) (*schedulingpb.Outlook, error) {
	client, err := a.scheduling()
	if err != nil {
		return nil, err
	}
	for end := time.Now().Add(outlookTime); ; {
		if o := schedule.GetOutlook(); o != nil || time.Now().After(end) || len(schedule.GetAssignments()) == 0 {
			return o, nil
		}
		again, err := client.GetSchedule(ctx, &schedulingpb.GetScheduleRequest{Name: schedule.GetName()})
		if err != nil {
			return nil, rpc.FromStatus(err)
		}
		if schedule = again; schedule.GetOutlook() != nil {
			continue
		}
		pause := time.NewTimer(outlookStep)
		select {
		case <-ctx.Done():
			pause.Stop()
			return nil, nil
		case <-pause.C:
		}
	}
}

// outlookHeading says of which moment an outlook is and what it comes to.
func outlookHeading(o *schedulingpb.Outlook, style view.Style) string {
	if o == nil {
		return ""
	}
	if o.GetRefusal() != "" {
		return style.Text(o.GetSummary())
	}
	out := "Outlook of " + style.Time(o.GetAssessTime().AsTime()) + ": " + style.Text(o.GetSummary())
	if o.GetOutdated() {
		out += " Something has happened since that is not counted in yet."
	}
	return out
}

// sureWords is a probability in a column of a table.
func sureWords(p *float64) string {
	switch {
	case p == nil:
		return ""
	case *p > 0.99:
		return ">99 %"
	case *p < 0.01:
		return "<1 %"
	}
	return fmt.Sprintf("%.0f %%", 100**p)
}

// sureEnough is the probability of being in time above which nobody needs to look (chosen, no source).
const sureEnough = 0.95

func (a *app) showScheduleOutlook(ctx context.Context, schedule *schedulingpb.Schedule, o *schedulingpb.Outlook) error {
	style := a.style(ctx)
	fmt.Fprintf(a.out, "Schedule %s (%s)\n%s\n", style.ID(schedule.GetName()), stateWords(schedule), outlookHeading(o, style))
	if o.GetRefusal() != "" {
		return lines(a.out, o.GetCautions())
	}
	fmt.Fprintf(a.out, "%d samples, seed %d; on average %.2f batches are late\n\n", o.GetSampleCount(), o.GetSeed(), o.GetExpectedLateBatchCount())
	if err := outlookBatches(o, style).Write(a.out); err != nil {
		return err
	}
	orders, note := a.outlookOrders(ctx, schedule, o)
	if len(orders.Lines) > 0 {
		fmt.Fprintln(a.out)
		if err := orders.Write(a.out); err != nil {
			return err
		}
	}
	if note != "" {
		fmt.Fprintln(a.out, note)
	}
	a.section("What makes batches late", outlookCauses(o), style)
	var waits, buffers []string
	for _, w := range o.GetWaits() {
		waits = append(waits, w.GetText())
	}
	for _, b := range o.GetBuffers() {
		buffers = append(buffers, b.GetText())
	}
	a.section("Waits that may become too long", waits, style)
	a.section("Where time in hand helps, one after the other, for the next schedule", buffers, style)
	fmt.Fprintln(a.out, "\nDurations were drawn from (share of the planned time):")
	if err := outlookSpreads(o).Write(a.out); err != nil {
		return err
	}
	fmt.Fprintln(a.out)
	return lines(a.out, o.GetCautions())
}

func (a *app) section(title string, texts []string, style view.Style) {
	if len(texts) == 0 {
		return
	}
	fmt.Fprintf(a.out, "\n%s:\n", title)
	for _, text := range texts {
		fmt.Fprintf(a.out, "  %s\n", style.Text(text))
	}
}

func outlookBatches(o *schedulingpb.Outlook, style view.Style) view.Rows {
	out := view.Rows{
		Header: []string{"IN TIME", "", "BATCH", "DUE", "PLANNED END", "IN HAND", "HALF BY", "80 % BY", "95 % BY"},
		Right:  []bool{true, false, false, false, false, true, false, false, false},
	}
	when := func(t *timestamppb.Timestamp) string {
		if t == nil {
			return ""
		}
		return t.AsTime().In(style.Zone).Format("Mon 2 Jan 15:04")
	}
	for _, b := range o.GetBatches() {
		mark, hand := "", ""
		if b.OnTimeProbability != nil {
			switch {
			case b.GetSlackDuration().AsDuration() < 0:
				mark = "late"
			case b.GetOnTimeProbability() < 0.5:
				mark = "unlikely"
			case b.GetOnTimeProbability() < sureEnough:
				mark = "at risk"
			}
			hand = view.Duration(b.GetSlackDuration().AsDuration())
		}
		out.Lines = append(out.Lines, []string{
			sureWords(b.OnTimeProbability), mark, b.GetDisplayName(), when(b.GetDueTime()), when(b.GetPlannedEndTime()), hand,
			when(b.GetFinishP50Time()), when(b.GetFinishP80Time()), when(b.GetFinishP95Time()),
		})
	}
	return out
}

func outlookCauses(o *schedulingpb.Outlook) []string {
	var out []string
	for _, b := range o.GetBatches() {
		if b.OnTimeProbability == nil || b.GetOnTimeProbability() >= sureEnough {
			continue
		}
		var texts []string
		for _, c := range b.GetCauses() {
			texts = append(texts, c.GetText())
		}
		out = append(out, b.GetDisplayName()+": "+strings.Join(texts, "; "))
	}
	return out
}

func outlookSpreads(o *schedulingpb.Outlook) view.Rows {
	out := view.Rows{Header: []string{"STEP", "VESSEL CLASS", "STEPS", "1 IN 10", "HALF", "9 IN 10", "FROM"}, Right: []bool{false, false, true, true, true, true, false}}
	share := func(f float64) string { return fmt.Sprintf("%.0f %%", 100*f) }
	for _, s := range o.GetSpreads() {
		kind := view.EnumWords(s.GetKind().Descriptor().Values().ByNumber(s.GetKind().Number()))
		out.Lines = append(out.Lines, []string{
			kind, s.GetVesselClass(), fmt.Sprint(s.GetStepCount()), share(s.GetP10Factor()), share(s.GetP50Factor()), share(s.GetP90Factor()), s.GetBasis(),
		})
	}
	return out
}

// outlookOrders says for orders of outlets how sure it is that the batches made for them are done by their dispatch. Only
// the published schedule speaks for orders. What cannot be read is told and left out.
func (a *app) outlookOrders(ctx context.Context, schedule *schedulingpb.Schedule, o *schedulingpb.Outlook) (view.Rows, string) {
	style := a.style(ctx)
	out := view.Rows{Header: []string{"IN TIME", "", "ORDER", "DISPATCH", "BATCHES"}, Right: []bool{true, false, false, false, true}}
	if schedule.GetState() != schedulingpb.Schedule_PUBLISHED {
		return out, ""
	}
	asked, dispatch, err := a.orderedBatches(ctx, o)
	if err == nil && len(asked) > 0 {
		var sure map[string]float64
		if sure, err = a.orderChances(ctx, asked); err == nil {
			names := make([]string, 0, len(dispatch))
			for name := range dispatch {
				names = append(names, name)
			}
			sort.Slice(names, func(i, j int) bool {
				if x, y := sure[names[i]], sure[names[j]]; x != y {
					return x < y
				}
				return names[i] < names[j]
			})
			count := map[string]int{}
			for _, q := range asked {
				count[q.order]++
			}
			for _, name := range names {
				p, known := sure[name]
				if !known {
					continue
				}
				mark := ""
				switch {
				case p < 0.5:
					mark = "unlikely"
				case p < sureEnough:
					mark = "at risk"
				}
				out.Lines = append(out.Lines, []string{sureWords(&p), mark, style.Name(name), style.Time(dispatch[name]), fmt.Sprint(count[name])})
			}
		}
	}
	if err != nil {
		return out, "Orders of outlets are left out, because they could not be read: " + a.says(rpc.FromStatus(err).Error())
	}
	return out, ""
}

// ordered is a batch that an order takes from.
type ordered struct {
	order, batch string
	by           time.Time
}

// orderedBatches lists the batches of an outlook that orders take from, with the moment of dispatch.
func (a *app) orderedBatches(ctx context.Context, o *schedulingpb.Outlook) ([]ordered, map[string]time.Time, error) {
	client, err := a.planning()
	if err != nil {
		return nil, nil, err
	}
	var out []ordered
	dispatch := map[string]time.Time{}
	for _, b := range o.GetBatches() {
		batch, err := client.GetBatch(ctx, &planningpb.GetBatchRequest{Name: b.GetBatch()})
		if status.Code(err) == codes.NotFound { // a schedule outlives what it placed
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		for _, peg := range batch.GetPegs() {
			name := peg.GetOrder()
			if name == "" || slices.ContainsFunc(out, func(x ordered) bool { return x.order == name && x.batch == b.GetBatch() }) {
				continue
			}
			if _, known := dispatch[name]; !known {
				order, err := client.GetOrder(ctx, &planningpb.GetOrderRequest{Name: name})
				if err != nil {
					return nil, nil, err
				}
				dispatch[name] = order.GetDispatchTime().AsTime()
			}
			out = append(out, ordered{order: name, batch: b.GetBatch(), by: dispatch[name]})
		}
	}
	return out, dispatch, nil
}

// orderChances multiplies the probabilities of the batches of each order: batches go wrong together rather, so that this
// is on the cautious side. An order with a batch of which nothing is known is left out.
func (a *app) orderChances(ctx context.Context, asked []ordered) (map[string]float64, error) {
	client, err := a.scheduling()
	if err != nil {
		return nil, err
	}
	out, unknown := map[string]float64{}, map[string]bool{}
	for part := range slices.Chunk(asked, 500) {
		request := &schedulingpb.EstimateFinishesRequest{Parent: a.siteName()}
		for _, q := range part {
			request.Questions = append(request.Questions, &schedulingpb.EstimateFinishesRequest_Question{Batch: q.batch, FinishByTime: timestamppb.New(q.by)})
		}
		answer, err := client.EstimateFinishes(ctx, request)
		if err != nil {
			return nil, err
		}
		for i, f := range answer.GetFinishes() {
			name := part[i].order
			if f.DoneProbability == nil {
				unknown[name] = true
				continue
			}
			if _, seen := out[name]; !seen {
				out[name] = 1
			}
			out[name] *= f.GetDoneProbability()
		}
	}
	for name := range unknown {
		delete(out, name)
	}
	return out, nil
}
