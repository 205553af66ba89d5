package schedulingclient_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/planning"
	"rondeau.internal/services/planning/schedulingclient"
)

// line is a connection to a scheduling that knows every second batch, for a kitchen whose calls it counts.
type line struct {
	calls []int // questions of each
	down  error
}

func (l *line) Invoke(_ context.Context, method string, args, reply any, _ ...grpc.CallOption) error {
	request, ok := args.(*schedulingpb.EstimateFinishesRequest)
	if !ok || method != schedulingpb.SchedulingService_EstimateFinishes_FullMethodName {
		return fmt.Errorf("unexpected call of %s", method)
	}
	if l.down != nil {
		return l.down
	}
	l.calls = append(l.calls, len(request.GetQuestions()))
	out := &schedulingpb.EstimateFinishesResponse{}
	for i, q := range request.GetQuestions() {
		f := &schedulingpb.EstimateFinishesResponse_Finish{Batch: q.GetBatch(), Refusal: "not placed"}
		if i%2 == 0 {
			f.DoneProbability, f.Refusal = proto.Float64(float64(q.GetFinishByTime().GetSeconds()%100)/100), ""
		}
		out.Finishes = append(out.Finishes, f)
	}
	proto.Merge(reply.(proto.Message), out)
	return nil
}

func (l *line) NewStream(context.Context, *grpc.StreamDesc, string, ...grpc.CallOption) (grpc.ClientStream, error) {
	return nil, errors.New("unexpected stream")
}

func TestFinishesAreAskedInPartsAndAnsweredInOrder(t *testing.T) {
	t.Parallel()
	l := &line{}
	var questions []planning.FinishQuestion
	for i := range 1100 {
		questions = append(questions, planning.FinishQuestion{Batch: fmt.Sprintf("sites/quai/batches/b%d", i), By: time.Unix(int64(1_800_000_000+i), 0)})
	}
	got, err := schedulingclient.New(l).Finishes(t.Context(), "sites/quai", questions)
	if err != nil || len(got) != len(questions) || fmt.Sprint(l.calls) != "[500 500 100]" {
		t.Fatalf("%d answers in calls of %v, %v", len(got), l.calls, err)
	}
	for i, f := range got {
		if f.Known != (i%2 == 0) || f.Known && f.Probability != float64(i%100)/100 || !f.Known && f.Refusal != "not placed" {
			t.Errorf("question %d: %+v", i, f)
		}
	}
	l.down = errors.New("away")
	if _, err := schedulingclient.New(l).Finishes(t.Context(), "sites/quai", questions[:1]); !errors.Is(err, l.down) {
		t.Errorf("got %v", err)
	}
}
