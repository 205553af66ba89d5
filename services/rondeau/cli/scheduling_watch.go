package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"golang.org/x/term"

	"rondeau.internal/pkg/apierr"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/cli/view"
)

// How long a search is watched beyond what it takes, in real time.
const (
	cancelTime    = 30 * time.Second // for a cancelled search to end
	reconnectTime = time.Minute      // for a service that went away to come back
	reconnectStep = 500 * time.Millisecond
	plainPace     = 5 * time.Second // between two lines where there is no terminal
)

// solve asks for a schedule and shows how the search goes on. When the person interrupts it, the search is cancelled and
// its best schedule is the result.
func (a *app) solve(ctx context.Context, request *schedulingpb.SolveScheduleRequest) (*schedulingpb.Schedule, error) {
	client, err := a.scheduling()
	if err != nil {
		return nil, err
	}
	operation, err := client.SolveSchedule(ctx, request)
	if err != nil {
		return nil, rpc.FromStatus(err)
	}
	p := &progressLine{to: a.err, silent: a.output == "json", terminal: a.onTerminal()}
	last, err := a.watch(ctx, client, operation.GetName(), p)
	interrupted := err != nil && ctx.Err() != nil
	if interrupted {
		after, cancel := context.WithTimeout(context.WithoutCancel(ctx), cancelTime)
		defer cancel()
		p.say("stopping the search; its best schedule is kept")
		_, err = client.CancelOperation(after, &longrunningpb.CancelOperationRequest{Name: operation.GetName()})
		if err != nil {
			return nil, rpc.FromStatus(err)
		}
		ctx = after
		last, err = a.watch(ctx, client, operation.GetName(), p)
	}
	p.end()
	if err != nil {
		return nil, fmt.Errorf("watch %s, whose result `rondeau schedule list` will show: %w", operation.GetName(), err)
	}
	if last.GetMetadata().GetSchedule() == "" {
		return nil, errors.New(last.GetError().GetMessage())
	}
	solved, err := client.GetSchedule(ctx, &schedulingpb.GetScheduleRequest{Name: last.GetMetadata().GetSchedule()})
	if err != nil {
		return nil, rpc.FromStatus(err)
	}
	return solved, nil
}

// watch shows how a search goes on until it has ended, and asks again when the stream breaks.
func (a *app) watch(ctx context.Context, client schedulingpb.SchedulingServiceClient, name string, p *progressLine) (*schedulingpb.WatchOperationResponse, error) {
	heard := time.Now()
	for {
		last, err := receive(ctx, client, name, func(m *schedulingpb.WatchOperationResponse) {
			heard = time.Now()
			p.show(m)
		})
		if err == nil {
			return last, nil
		}
		refused, known := apierr.As(err)
		lost := !known || refused.Kind == apierr.KindUnavailable || refused.Kind == apierr.KindDeadlineExceeded
		if ctx.Err() != nil || !lost || time.Since(heard) > reconnectTime {
			return nil, err
		}
		p.say("the suite does not answer; the search is not lost, asking again")
		pause := time.NewTimer(reconnectStep)
		select {
		case <-ctx.Done():
			pause.Stop()
			return nil, err
		case <-pause.C:
		}
	}
}

// receive reads one stream to its end and gives its last message.
func receive(ctx context.Context, client schedulingpb.SchedulingServiceClient, name string, each func(*schedulingpb.WatchOperationResponse)) (*schedulingpb.WatchOperationResponse, error) {
	stream, err := client.WatchOperation(ctx, &schedulingpb.WatchOperationRequest{Name: name})
	if err != nil {
		return nil, rpc.FromStatus(err)
	}
	for {
		message, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil, apierr.Unavailable("STREAM_ENDED", "the suite ended the stream before the search was done")
		}
		if err != nil {
			return nil, rpc.FromStatus(err)
		}
		each(message)
		if message.GetDone() {
			return message, nil
		}
	}
}

// onTerminal reports whether the error stream is a person's terminal.
func (a *app) onTerminal() bool {
	_, is := terminalWidth(a.err)
	return is
}

// terminalWidth is the width of a terminal in characters, or that of $COLUMNS, or 80.
func terminalWidth(w io.Writer) (width int, terminal bool) {
	if file, ok := w.(interface{ Fd() uintptr }); ok && term.IsTerminal(int(file.Fd())) {
		if width, _, err := term.GetSize(int(file.Fd())); err == nil && width > 0 {
			return width, true
		}
		return 80, true
	}
	if width, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil && width > 0 {
		return width, false
	}
	return 80, false
}

// progressLine shows one line that is written over on a terminal, and now and then a line elsewhere.
type progressLine struct {
	to               io.Writer
	silent, terminal bool
	shown            string // last state that was written
	said             string // last note that was written
	latest           string
	written          time.Time
}

func (p *progressLine) show(m *schedulingpb.WatchOperationResponse) {
	p.latest, p.said = progressWords(m.GetMetadata()), ""
	switch {
	case p.silent:
	case p.terminal:
		width, _ := terminalWidth(p.to)
		fmt.Fprintf(p.to, "\r\033[K%s", cutTo(p.latest, width-1))
	case m.GetDone() || p.shown == "" || time.Since(p.written) >= plainPace:
		fmt.Fprintln(p.to, p.latest)
		p.written = time.Now()
	default:
		return
	}
	p.shown = p.latest
}

// say writes a note on a line of its own, once until there is news.
func (p *progressLine) say(note string) {
	if p.silent || p.said == note {
		return
	}
	p.said = note
	if p.terminal && p.shown != "" {
		fmt.Fprintln(p.to)
	}
	fmt.Fprintln(p.to, note)
}

// end leaves the last state standing.
func (p *progressLine) end() {
	if p.terminal && !p.silent && p.shown != "" {
		fmt.Fprintln(p.to)
	}
}

func cutTo(text string, width int) string {
	if runes := []rune(text); len(runes) > width && width > 0 {
		return string(runes[:width])
	}
	return text
}

// progressWords tells a state in one line: time, the best schedule, how far it may be from the best there is, the work
// done. Best and bound are weighted hours of lateness, or when lateness is at its bound the cost of the rest.
func progressWords(m *schedulingpb.SolveScheduleMetadata) string {
	if m.GetStage() == schedulingpb.SolveScheduleMetadata_WAITING {
		return "waiting for its turn"
	}
	elapsed := fmt.Sprintf("%3.0f s", m.GetElapsedDuration().AsDuration().Seconds())
	if m.GetBudgetKind() == schedulingpb.SolveScheduleMetadata_TIME {
		elapsed = fmt.Sprintf("%3.0f of %.0f s", m.GetElapsedDuration().AsDuration().Seconds(), m.GetMaxDuration().AsDuration().Seconds())
	}
	line := elapsed + "  "
	best, bound := m.GetBestCost(), m.GetBound()
	switch {
	case best == nil:
		line += "no schedule yet"
	case m.GetLateBatchCount() == 0:
		line += "no batch late"
	default:
		line += fmt.Sprintf("%d late by %s", m.GetLateBatchCount(), view.Duration(m.GetLateDuration().AsDuration()))
	}
	switch {
	case best == nil || bound == nil:
	case best.GetTardiness() > bound.GetTardiness():
		line += fmt.Sprintf(", by weight %.0f h, bound %.0f h, gap %.1f %%", hours(best.GetTardiness()), hours(bound.GetTardiness()), 100*m.GetGap())
	default:
		line += fmt.Sprintf(", best %d, bound %d, gap %.1f %%", best.GetRest(), bound.GetRest(), 100*m.GetGap())
	}
	if m.GetBudgetKind() == schedulingpb.SolveScheduleMetadata_TIME {
		line += fmt.Sprintf(", %d plans", m.GetIterationCount())
	} else {
		line += fmt.Sprintf(", %d of %d plans", m.GetIterationCount(), m.GetIterationBudget())
	}
	if why := endWords[m.GetEndReason()]; why != "" {
		line += "; " + why
	}
	return line
}

// endWords say why a search ended.
var endWords = map[schedulingpb.SolveScheduleMetadata_EndReason]string{
	schedulingpb.SolveScheduleMetadata_PROVED_OPTIMAL:   "no better one exists",
	schedulingpb.SolveScheduleMetadata_SETTLED:          "nothing better came for long",
	schedulingpb.SolveScheduleMetadata_TIME_SPENT:       "the time is over",
	schedulingpb.SolveScheduleMetadata_ITERATIONS_SPENT: "all plans are tried",
	schedulingpb.SolveScheduleMetadata_STOPPED:          "stopped",
	schedulingpb.SolveScheduleMetadata_IMPOSSIBLE:       "no schedule is possible",
}

// hours is a weighted time; the services count it in seconds.
func hours(seconds int64) float64 { return float64(seconds) / 3600 }
