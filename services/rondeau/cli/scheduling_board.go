package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/board"
	"rondeau.internal/services/rondeau/cli/view"
)

// showBoard prints a schedule by vessel and time with what is late and why, and draws it into a file when one is given.
func (a *app) showBoard(ctx context.Context, schedule *schedulingpb.Schedule, to *picture) error {
	if a.output == "json" {
		if to != nil {
			if err := a.draw(ctx, schedule, to); err != nil {
				return err
			}
		}
		return a.show(ctx, schedule)
	}
	if len(schedule.GetAssignments()) == 0 {
		if err := a.showConflicts(ctx, schedule); err != nil || to == nil {
			return err
		}
		return nothingDrawn(schedule)
	}
	drawn, err := a.board(ctx, schedule)
	if err != nil {
		return err
	}
	width, _ := terminalWidth(a.out)
	if err := board.Text(a.out, drawn, width); err != nil {
		return err
	}
	if to == nil {
		return nil
	}
	return a.keepPicture(drawn, to)
}

// showConflicts tells why there is nothing to draw.
func (a *app) showConflicts(ctx context.Context, schedule *schedulingpb.Schedule) error {
	style := a.style(ctx)
	fmt.Fprintf(a.out, "Schedule %s, %s, %s\n", style.ID(schedule.GetName()), stateWords(schedule), schedule.GetReport().GetSummary())
	for _, note := range conflictNotes(schedule) {
		fmt.Fprintln(a.out, note)
	}
	_, err := fmt.Fprintln(a.out, schedule.GetReport().GetCaution())
	return err
}

func conflictNotes(schedule *schedulingpb.Schedule) []string {
	var out []string
	for _, reason := range schedule.GetReport().GetBoundReasons() {
		out = append(out, "However it is planned: "+reason)
	}
	for _, conflict := range schedule.GetReport().GetConflicts() {
		note := "Conflict: " + conflict.GetText()
		if conflict.GetMinimal() {
			note = "Proved conflict: " + conflict.GetText()
		}
		if len(conflict.GetRemedies()) == 0 {
			for _, relaxation := range conflict.GetRelaxations() {
				note += " Would help: " + relaxation.GetText()
			}
		}
		out = append(out, note)
		out = append(out, remedyNotes("Makes it possible: ", conflict.GetRemedies())...)
	}
	for _, late := range schedule.GetReport().GetLateBatches() {
		out = append(out, remedyNotes("Would bring "+late.GetDisplayName()+" in time: ", late.GetRemedies())...)
	}
	return out
}

// remedyNotes is a line for each remedy.
func remedyNotes(leads string, remedies []*schedulingpb.Schedule_Remedy) []string {
	var out []string
	for _, r := range remedies {
		note := leads + r.GetText()
		if r.GetLeast() {
			note += "; less is proved not to be enough"
		}
		out = append(out, note+".")
	}
	return out
}

func stateWords(schedule *schedulingpb.Schedule) string {
	return view.EnumWords(schedule.GetState().Descriptor().Values().ByNumber(schedule.GetState().Number()))
}

func nothingDrawn(schedule *schedulingpb.Schedule) error {
	return fmt.Errorf("%s places no step, so there is no picture of it", schedule.GetName())
}

// draw draws a schedule into a file.
func (a *app) draw(ctx context.Context, schedule *schedulingpb.Schedule, to *picture) error {
	if len(schedule.GetAssignments()) == 0 {
		return nothingDrawn(schedule)
	}
	drawn, err := a.board(ctx, schedule)
	if err != nil {
		return err
	}
	return a.keepPicture(drawn, to)
}

func (a *app) keepPicture(drawn board.Board, to *picture) error {
	if err := to.keep(func(w io.Writer) error { return board.SVG(w, drawn) }); err != nil {
		return err
	}
	_, err := fmt.Fprintf(a.err, "drawn into %s\n", to.path)
	return err
}

// board reads what surrounds a schedule: names, shifts, cooling limits.
func (a *app) board(ctx context.Context, schedule *schedulingpb.Schedule) (board.Board, error) {
	style := a.style(ctx)
	out := board.Board{
		Plan: style.ID(schedule.GetPlan()), Schedule: style.ID(schedule.GetName()), State: stateWords(schedule),
		Quality: quality(schedule.GetReport()), Zone: style.Zone,
	}
	planning, err := a.planning()
	if err != nil {
		return out, err
	}
	site, err := planning.GetSite(ctx, &planningpb.GetSiteRequest{Name: a.siteName()})
	if err != nil {
		return out, rpc.FromStatus(err)
	}
	out.Site = site.GetDisplayName()
	out.Start, out.End = extent(schedule)
	batches, err := a.boardBatches(ctx, planning, schedule, &out)
	if err != nil {
		return out, err
	}
	limits, err := a.coolingLimits(ctx, batches, &out)
	if err != nil {
		return out, err
	}
	if out.Rows, err = a.boardRows(ctx, schedule, &out, limits); err != nil {
		return out, err
	}
	if out.Staffed, err = a.staffed(ctx, out.Start, out.End); err != nil {
		return out, err
	}
	out.Notes = append(out.Notes, conflictNotes(schedule)...)
	if o := schedule.GetOutlook(); o != nil {
		out.Outlook = outlookHeading(o, style)
	} else if schedule.GetState() != schedulingpb.Schedule_SUPERSEDED {
		out.Notes = append(out.Notes, "How sure it is will be known in a moment: rondeau schedule outlook "+style.ID(schedule.GetName()))
	}
	if caution := schedule.GetReport().GetCaution(); caution != "" {
		out.Notes = append(out.Notes, caution)
	}
	return out, nil
}

// quality says how good a schedule is and how far it may be from the best one.
func quality(r *schedulingpb.Schedule_Report) string {
	if r.GetStatus() == schedulingpb.Schedule_Report_OPTIMAL {
		return r.GetSummary()
	}
	return fmt.Sprintf("%s Gap to the proved bound: %.1f %%.", r.GetSummary(), 100*r.GetGap())
}

// earlier is how much of what began before a schedule is shown.
const earlier = 6 * time.Hour

// extent is the time that a schedule covers, in full hours.
func extent(schedule *schedulingpb.Schedule) (start, end time.Time) {
	start, end = schedule.GetStartTime().AsTime(), schedule.GetEndTime().AsTime()
	first := start
	for _, x := range schedule.GetAssignments() {
		if from := x.GetStartTime().AsTime(); from.Before(first) {
			first = from
		}
		for _, until := range []time.Time{x.GetEndTime().AsTime(), x.GetHeldUntilTime().AsTime()} {
			if until.After(end) {
				end = until
			}
		}
	}
	if first.Before(start.Add(-earlier)) {
		first = start.Add(-earlier)
	}
	return first.Truncate(time.Hour), end.Add(time.Hour - time.Nanosecond).Truncate(time.Hour)
}

// boardBatches fills in the batches in the order in which they begin.
func (a *app) boardBatches(ctx context.Context, client planningpb.PlanningServiceClient, schedule *schedulingpb.Schedule, out *board.Board) (map[string]*planningpb.Batch, error) {
	style := a.style(ctx)
	known := map[string]*planningpb.Batch{}
	done := map[string]time.Time{}
	var order []string
	assignments := slices.Clone(schedule.GetAssignments())
	slices.SortStableFunc(assignments, func(x, y *schedulingpb.Schedule_Assignment) int {
		return x.GetStartTime().AsTime().Compare(y.GetStartTime().AsTime())
	})
	for _, x := range assignments {
		name := x.GetBatch()
		if end := x.GetEndTime().AsTime(); end.After(done[name]) {
			done[name] = end
		}
		if known[name] != nil {
			continue
		}
		batch, err := client.GetBatch(ctx, &planningpb.GetBatchRequest{Name: name})
		if status.Code(err) == codes.NotFound { // a schedule outlives what it placed
			batch, err = &planningpb.Batch{Name: name, DisplayName: style.ID(name), OutputItem: name}, nil
		}
		if err != nil {
			return nil, rpc.FromStatus(err)
		}
		known[name] = batch
		order = append(order, name)
	}
	late := map[string]*schedulingpb.Schedule_LateBatch{}
	for _, l := range schedule.GetReport().GetLateBatches() {
		late[l.GetBatch()] = l
	}
	sure := map[string]*schedulingpb.Outlook_BatchOutlook{}
	for _, o := range schedule.GetOutlook().GetBatches() {
		sure[o.GetBatch()] = o
	}
	families := familyNames(known)
	for _, name := range order {
		b := known[name]
		x := board.Batch{Name: b.GetDisplayName(), Family: families[familyItem(b)], Done: done[name]}
		if b.GetDueTime() != nil {
			x.Due = b.GetDueTime().AsTime()
		}
		if l := late[name]; l != nil {
			x.Late, x.Due, x.Done, x.Reasons = true, l.GetDueTime().AsTime(), l.GetEndTime().AsTime(), l.GetReasons()
		}
		if o := sure[name]; o != nil {
			x.Sure = o.OnTimeProbability
			if len(o.GetCauses()) > 0 {
				x.Risk = style.Text(o.GetCauses()[0].GetText())
			}
		}
		out.Batches = append(out.Batches, x)
	}
	return known, nil
}

// familyItem is what a batch makes; packs belong to what is in them.
func familyItem(b *planningpb.Batch) string {
	item, most := b.GetOutputItem(), 0.0
	if b.GetProduct() == "" {
		return item
	}
	for _, input := range b.GetInputs() {
		if input.GetMassKg() > most {
			item, most = input.GetItem(), input.GetMassKg()
		}
	}
	return item
}

// familyNames names families after what is cooked, or else after the packs.
func familyNames(batches map[string]*planningpb.Batch) map[string]string {
	out := map[string]string{}
	for _, cooked := range []bool{false, true} {
		for _, name := range slices.Sorted(maps.Keys(batches)) {
			if b := batches[name]; (b.GetProduct() == "") == cooked {
				out[familyItem(b)], _, _ = strings.Cut(b.GetDisplayName(), ",")
			}
		}
	}
	return out
}

// coolingLimits gives the time that a step may take, by batch and step, and says which limits these are. A profile that
// cannot be read, because a formula names one that the kitchen lacks or foodsafety is away, is told and not marked.
func (a *app) coolingLimits(ctx context.Context, batches map[string]*planningpb.Batch, out *board.Board) (map[[2]string]time.Duration, error) {
	client, err := a.foodSafety()
	if err != nil {
		return nil, err
	}
	limits, within := map[[2]string]time.Duration{}, map[string]time.Duration{}
	var known, missing []string
	for _, name := range slices.Sorted(maps.Keys(batches)) {
		for _, s := range batches[name].GetSteps() {
			profile := s.GetStep().GetLimitsProfile()
			if profile == "" {
				continue
			}
			if _, read := within[profile]; !read {
				within[profile] = 0
				found, err := client.GetLimitsProfile(ctx, &foodsafetypb.GetLimitsProfileRequest{Name: profile})
				if err != nil {
					missing = append(missing, a.style(ctx).ID(profile)+" ("+a.says(rpc.FromStatus(err).Error())+")")
					continue
				}
				known = append(known, found.GetDisplayName())
				for _, stage := range found.GetStages() {
					within[profile] = max(within[profile], stage.GetWithinDuration().AsDuration())
				}
			}
			if within[profile] > 0 {
				limits[[2]string{name, s.GetStep().GetStepId()}] = within[profile]
			}
		}
	}
	if len(known) > 0 {
		out.Limits = "Cooling must have ended by the last limit of " + strings.Join(known, ", ") +
			", counted from the start of the step; the clock of a real chill starts when the food falls below the temperature that the profile names."
	}
	if len(missing) > 0 {
		out.Limits = strings.TrimSpace(out.Limits + " Not marked, because the limits could not be read: " + strings.Join(missing, ", ") + ".")
	}
	return limits, nil
}

// tables is the row of work without a vessel.
const tables = "At a table"

// boardRows fills in the vessels, by class and name, each with its steps, cleanings and times out of service.
func (a *app) boardRows(ctx context.Context, schedule *schedulingpb.Schedule, out *board.Board, limits map[[2]string]time.Duration) ([]board.Row, error) {
	client, err := a.scheduling()
	if err != nil {
		return nil, err
	}
	vessels, err := pages(0, func(token string) ([]*schedulingpb.Vessel, string, error) {
		page, err := client.ListVessels(ctx, &schedulingpb.ListVesselsRequest{Parent: a.siteName(), PageSize: 200, PageToken: token})
		return page.GetVessels(), page.GetNextPageToken(), err
	})
	if err != nil {
		return nil, err
	}
	rows := map[string]*board.Row{}
	for _, v := range vessels {
		row := &board.Row{Name: v.GetDisplayName(), Class: v.GetVesselClass()}
		for _, d := range v.GetDownWindows() {
			down := board.Down{Span: board.Span{Start: d.GetStartTime().AsTime()}, Reason: d.GetReason()}
			if d.GetEndTime() != nil { // unset while unknown
				down.End = d.GetEndTime().AsTime()
			}
			row.Down = append(row.Down, down)
		}
		rows[v.GetName()] = row
	}
	fillRows(rows, schedule, out, limits)
	var list []board.Row
	for _, row := range rows {
		list = append(list, *row)
	}
	slices.SortFunc(list, func(x, y board.Row) int {
		return cmp.Or(cmp.Compare(last(x.Class), last(y.Class)), cmp.Compare(x.Class, y.Class), cmp.Compare(x.Name, y.Name))
	})
	if len(list) == 0 {
		return nil, errors.New("the kitchen has no vessels; add them with: rondeau vessel add")
	}
	return list, nil
}

// last puts the tables behind the vessels.
func last(class string) int {
	if class == "" {
		return 1
	}
	return 0
}

// fillRows puts the steps into their vessels.
func fillRows(rows map[string]*board.Row, schedule *schedulingpb.Schedule, out *board.Board, limits map[[2]string]time.Duration) {
	at := func(vessel string) *board.Row {
		if rows[vessel] == nil {
			rows[vessel] = &board.Row{Name: vessel[strings.LastIndexByte(vessel, '/')+1:], Class: "not in use any more"}
			if vessel == "" {
				*rows[vessel] = board.Row{Name: tables}
			}
		}
		return rows[vessel]
	}
	index := map[string]int{}
	assignments := slices.Clone(schedule.GetAssignments())
	slices.SortStableFunc(assignments, func(x, y *schedulingpb.Schedule_Assignment) int {
		return x.GetStartTime().AsTime().Compare(y.GetStartTime().AsTime())
	})
	for _, x := range assignments {
		if _, seen := index[x.GetBatch()]; !seen {
			index[x.GetBatch()] = len(index)
		}
		block := board.Block{
			Span:  board.Span{Start: x.GetStartTime().AsTime(), End: x.GetEndTime().AsTime()},
			Batch: index[x.GetBatch()], Step: x.GetDisplayName(), HeldUntil: x.GetHeldUntilTime().AsTime(),
		}
		if within := limits[[2]string{x.GetBatch(), x.GetStepId()}]; within > 0 {
			block.Limit = block.Start.Add(within)
		}
		for _, vessel := range append([]string{x.GetVessel()}, x.GetAdditionalVessels()...) {
			row := at(vessel)
			row.Blocks = append(row.Blocks, block)
			block.Limit = time.Time{} // once
		}
		for _, c := range x.GetCleanings() {
			row := at(c.GetVessel())
			row.Cleanings = append(row.Cleanings, board.Span{Start: c.GetStartTime().AsTime(), End: c.GetEndTime().AsTime()})
		}
	}
}
