package grpcapi_test

import (
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/auth"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/scheduling"
)

func TestAScheduleIsAssessedThroughTheAPI(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	a.masters(t)
	ctx := t.Context()
	op, err := a.SolveSchedule(ctx, &schedulingpb.SolveScheduleRequest{Parent: site, MaxDuration: durationpb.New(2 * time.Second)})
	must(t, err)
	op, err = a.operations.WaitOperation(ctx, &longrunningpb.WaitOperationRequest{Name: op.GetName(), Timeout: durationpb.New(20 * time.Second)})
	must(t, err)
	var draft schedulingpb.Schedule
	must(t, op.GetResponse().UnmarshalTo(&draft))
	var metadata schedulingpb.SolveScheduleMetadata
	must(t, op.GetMetadata().UnmarshalTo(&metadata))
	if metadata.GetBudgetKind() != schedulingpb.SolveScheduleMetadata_TIME || metadata.GetIterationBudget() != 0 || metadata.GetMaxDuration().AsDuration() != 2*time.Second ||
		metadata.GetEndReason() == schedulingpb.SolveScheduleMetadata_END_REASON_UNSPECIFIED {
		t.Errorf("metadata %v", &metadata)
	}
	ask := &schedulingpb.AssessScheduleRequest{Name: draft.GetName(), SampleCount: 500, Seed: 3, Buffers: true}
	outlook, err := a.AssessSchedule(ctx, ask)
	must(t, err)
	if outlook.GetSchedule() != draft.GetName() || outlook.GetSampleCount() != 500 || outlook.GetSeed() != 3 || len(outlook.GetBatches()) != 1 || len(outlook.GetCautions()) == 0 ||
		outlook.GetSummary() == "" || len(outlook.GetSpreads()) != 1 || outlook.GetSpreads()[0].GetP90Factor() <= 1 {
		t.Fatalf("outlook %v", outlook)
	}
	b := outlook.GetBatches()[0]
	// An hour of work that is due in a day.
	if b.GetOnTimeProbability() != 1 || b.GetSlackDuration().AsDuration() < 20*time.Hour || !b.GetFinishP50Time().AsTime().Before(b.GetFinishP95Time().AsTime()) {
		t.Errorf("batch %v", b)
	}
	// Nothing is stored by it, and there is no background here.
	read, err := a.GetSchedule(ctx, &schedulingpb.GetScheduleRequest{Name: draft.GetName()})
	must(t, err)
	if read.GetOutlook() != nil || read.GetEtag() != draft.GetEtag() {
		t.Errorf("after the call: %v", read)
	}
	question := &schedulingpb.EstimateFinishesRequest{Parent: site, Questions: []*schedulingpb.EstimateFinishesRequest_Question{
		{Batch: site + "/batches/b1", FinishByTime: timestamppb.New(monday.Add(24 * time.Hour))},
	}}
	finishes, err := a.EstimateFinishes(ctx, question)
	must(t, err)
	if f := finishes.GetFinishes(); len(f) != 1 || f[0].DoneProbability != nil || f[0].GetRefusal() == "" || finishes.GetCaution() == "" || finishes.GetAssessTime() != nil {
		t.Errorf("without a published schedule: %v", finishes)
	}

	for _, role := range []auth.Role{auth.Cook, auth.Outlet, auth.Auditor} {
		_, err = a.as(role).AssessSchedule(ctx, ask)
		refused(t, err, codes.PermissionDenied, auth.RoleNotAllowed)
		_, err = a.as(role).EstimateFinishes(ctx, question)
		refused(t, err, codes.PermissionDenied, auth.RoleNotAllowed)
	}
	_, err = a.AssessSchedule(ctx, &schedulingpb.AssessScheduleRequest{Name: site + "/schedules/none"})
	refused(t, err, codes.NotFound, scheduling.ScheduleMissing)
	_, err = a.AssessSchedule(ctx, &schedulingpb.AssessScheduleRequest{Name: draft.GetName(), SampleCount: 20001})
	refused(t, err, codes.InvalidArgument, rpc.RequestInvalid)
	_, err = a.EstimateFinishes(ctx, &schedulingpb.EstimateFinishesRequest{Parent: site})
	refused(t, err, codes.InvalidArgument, rpc.RequestInvalid)
	_, err = a.EstimateFinishes(ctx, &schedulingpb.EstimateFinishesRequest{Parent: "sites/other", Questions: question.GetQuestions()})
	refused(t, err, codes.InvalidArgument, scheduling.Malformed, "another site")

	_, err = a.PublishSchedule(ctx, &schedulingpb.PublishScheduleRequest{Name: draft.GetName(), Etag: draft.GetEtag()})
	must(t, err)
	run := site + "/batches/b1/runs/simmer"
	a.clock.Set(draft.GetAssignments()[0].GetStartTime().AsTime())
	_, err = a.StartRun(ctx, &schedulingpb.StartRunRequest{Name: run})
	must(t, err)
	_, err = a.AbortRun(ctx, &schedulingpb.AbortRunRequest{Name: run, Reason: "spilt"})
	must(t, err)
	if _, err = a.AssessSchedule(ctx, ask); err != nil { // its place is still possible
		t.Error(err)
	}
	a.clock.Advance(10 * time.Minute)
	_, err = a.FinishRun(ctx, &schedulingpb.FinishRunRequest{Name: run})
	refused(t, err, codes.FailedPrecondition, scheduling.RunNotRunning)
}
