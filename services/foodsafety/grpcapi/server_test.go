package grpcapi_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/clock"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/events"
	"rondeau.internal/services/foodsafety/grpcapi"
	"rondeau.internal/services/foodsafety/sqlite"
)

const (
	site  = "sites/test"
	batch = site + "/batches/b1"
	lot   = site + "/lots/l1"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// world is the API behind the real interceptors.
type world struct {
	t       testing.TB
	clock   *clock.Fake
	service *foodsafety.Service
	db      *sqldb.DB
	keys    *auth.Keys
	pipe    *rpc.Pipe
}

func newWorld(t testing.TB) *world {
	t.Helper()
	db := sqldbtest.SQLite(t)
	if err := outbox.Migrate(t.Context(), db); err != nil {
		t.Fatal(err)
	}
	store, err := sqlite.New(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	w := &world{t: t, clock: clock.NewFake(noon), db: db, pipe: rpc.NewPipe()}
	if w.service, err = foodsafety.New(foodsafety.Deps{Store: store, Clock: w.clock, Events: events.NewPublisher(db)}); err != nil {
		t.Fatal(err)
	}
	api, err := grpcapi.New(w.service)
	if err != nil {
		t.Fatal(err)
	}
	if w.keys, err = auth.LoadOrCreateKeys(filepath.Join(t.TempDir(), "key")); err != nil {
		t.Fatal(err)
	}
	name := foodsafetypb.FoodSafetyService_ServiceDesc.ServiceName
	server, err := rpc.NewServer(rpc.ServerConfig{
		Logger: slog.New(slog.DiscardHandler), Verifier: w.keys.Verifier(), Stores: map[string]*sqldb.DB{name: db}, Clock: w.clock,
	}, func(r grpc.ServiceRegistrar) { foodsafetypb.RegisterFoodSafetyServiceServer(r, api) })
	if err != nil {
		t.Fatal(err)
	}
	var serving sync.WaitGroup
	serving.Go(func() { _ = server.Serve(w.pipe) })
	t.Cleanup(func() {
		if err := server.Stop(context.WithoutCancel(t.Context())); err != nil {
			t.Error(err)
		}
		serving.Wait()
	})
	return w
}

// as is a client of a signed-in caller.
func (w *world) as(p auth.Principal) foodsafetypb.FoodSafetyServiceClient {
	w.t.Helper()
	token, err := w.keys.Sign(p, time.Hour)
	if err != nil {
		w.t.Fatal(err)
	}
	conn, err := rpc.Dial("pipe", rpc.DialConfig{Pipe: w.pipe, Token: func() string { return token }})
	if err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() { _ = conn.Close() })
	return foodsafetypb.NewFoodSafetyServiceClient(conn)
}

func (w *world) cook() foodsafetypb.FoodSafetyServiceClient {
	return w.as(auth.Principal{Subject: "ada", Role: auth.Cook})
}

func (w *world) lead() foodsafetypb.FoodSafetyServiceClient {
	return w.as(auth.Principal{Subject: "lea", Role: auth.SafetyLead})
}

func must[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func (w *world) start(id string) *foodsafetypb.Chill {
	w.t.Helper()
	return must[*foodsafetypb.Chill](w.t)(w.cook().StartChill(w.t.Context(), &foodsafetypb.StartChillRequest{Parent: site, ChillId: id, Chill: &foodsafetypb.Chill{Batch: batch}}))
}

// send streams readings in messages of a few and returns the summary.
func send(t testing.TB, c foodsafetypb.FoodSafetyServiceClient, perMessage int, readings []*foodsafetypb.Reading) (*foodsafetypb.StreamReadingsResponse, error) {
	t.Helper()
	stream, err := c.StreamReadings(t.Context())
	if err != nil {
		return nil, err
	}
	for part := range slices.Chunk(readings, perMessage) {
		if err := stream.Send(&foodsafetypb.StreamReadingsRequest{Parent: site, Readings: part}); err != nil {
			break // the answer says why
		}
	}
	return stream.CloseAndRecv()
}

func TestStreamedReadingsAreCommittedWhenAnswered(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	lead, cook := w.lead(), w.cook()
	ctx := t.Context()
	must[*foodsafetypb.Probe](t)(lead.CreateProbe(ctx, &foodsafetypb.CreateProbeRequest{Parent: site, ProbeId: "p1", Probe: &foodsafetypb.Probe{DisplayName: "P"}}))
	w.clock.Advance(8 * time.Hour) // a late entry from the memory of the probe
	c := must[*foodsafetypb.Chill](t)(cook.StartChill(ctx, &foodsafetypb.StartChillRequest{Parent: site, ChillId: "c1", Chill: &foodsafetypb.Chill{
		Batch: batch, Probes: []string{site + "/probes/p1"}, StartTime: timestamppb.New(noon),
	}}))
	// Newton cooling at 2 C surroundings with 0.6 1/h meets both limits; readings every 15 s by the probe's name alone.
	var list []*foodsafetypb.Reading
	for d := time.Duration(0); d < 6*time.Hour; d += 15 * time.Second {
		list = append(list, &foodsafetypb.Reading{
			Probe: site + "/probes/p1", ObserveTime: timestamppb.New(noon.Add(d)), TemperatureCelsius: 2 + 58*math.Exp(-0.6*d.Hours()),
		})
	}
	bad := &foodsafetypb.Reading{Probe: site + "/probes/p1", ObserveTime: timestamppb.New(noon), TemperatureCelsius: 400}
	list = slices.Insert(list, 700, bad)
	got := must[*foodsafetypb.StreamReadingsResponse](t)(send(t, cook, 50, list))
	if got.GetAcceptedCount() != int64(len(list)-1) || got.GetRefusedCount() != 1 || got.GetDuplicateCount() != 0 {
		t.Errorf("accepted %d, refused %d, duplicates %d of %d", got.GetAcceptedCount(), got.GetRefusedCount(), got.GetDuplicateCount(), len(list))
	}
	if r := got.GetRefusals()[0]; r.GetIndex() != 700 || r.GetReason() != foodsafety.ReadingOutOfRange || r.GetProbe() == "" || r.GetMessage() == "" {
		t.Errorf("refusal %v", r)
	}
	again := must[*foodsafetypb.StreamReadingsResponse](t)(send(t, cook, 500, list))
	if again.GetAcceptedCount() != 0 || again.GetDuplicateCount() != int64(len(list)-1) {
		t.Errorf("sent again: accepted %d, duplicates %d", again.GetAcceptedCount(), again.GetDuplicateCount())
	}
	c = must[*foodsafetypb.Chill](t)(cook.FinishChill(ctx, &foodsafetypb.FinishChillRequest{Name: c.GetName()}))
	if c.GetState() != foodsafetypb.Chill_PASSED || int(c.GetReadingCount()) != len(list)-1 || len(c.GetCautions()) == 0 {
		t.Errorf("%s with %d readings: %s", c.GetState(), c.GetReadingCount(), c.GetJudgement().GetSummary())
	}
	// Every reading can be read back, page by page.
	seen, token := 0, ""
	for {
		page := must[*foodsafetypb.ListReadingsResponse](t)(cook.ListReadings(ctx, &foodsafetypb.ListReadingsRequest{Parent: c.GetName(), PageSize: 400, PageToken: token}))
		seen += len(page.GetReadings())
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if seen != len(list)-1 {
		t.Errorf("read back %d of %d", seen, len(list)-1)
	}
}

// A stream that falls silent must not leave its readings waiting for a full batch.
func TestReadingsOfAnOpenStreamAreStored(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.start("c1")
	stream, err := w.cook().StreamReadings(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Send(&foodsafetypb.StreamReadingsRequest{Parent: site, Readings: []*foodsafetypb.Reading{{Chill: c.GetName(), TemperatureCelsius: 80}}}); err != nil {
		t.Fatal(err)
	}
	deadline := time.Now().Add(10 * time.Second)
	for {
		got := must[*foodsafetypb.Chill](t)(w.cook().GetChill(t.Context(), &foodsafetypb.GetChillRequest{Name: c.GetName()}))
		if got.GetReadingCount() == 1 {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the reading is still waiting")
		}
		time.Sleep(20 * time.Millisecond)
	}
	if _, err := stream.CloseAndRecv(); err != nil {
		t.Fatal(err)
	}
}

func TestStreamReportsFailedChills(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.start("slow")
	w.clock.Advance(3 * time.Hour)
	var list []*foodsafetypb.Reading
	for d := time.Duration(0); d < 150*time.Minute; d += 5 * time.Minute {
		list = append(list, &foodsafetypb.Reading{Chill: site + "/chills/slow", ObserveTime: timestamppb.New(noon.Add(d)), TemperatureCelsius: 2 + 58*math.Exp(-0.3*d.Hours())})
	}
	got := must[*foodsafetypb.StreamReadingsResponse](t)(send(t, w.cook(), 10, list))
	if !slices.Equal(got.GetFailedChills(), []string{site + "/chills/slow"}) || len(got.GetChillsAtRisk()) != 0 {
		t.Errorf("%v", got)
	}
	holds := must[*foodsafetypb.ListHoldsResponse](t)(w.lead().ListHolds(t.Context(), &foodsafetypb.ListHoldsRequest{Parent: site, Filter: fmt.Sprintf("subject = %q AND state = PLACED", batch)}))
	if len(holds.GetHolds()) != 1 || holds.GetHolds()[0].GetPlacer() != "foodsafety" {
		t.Errorf("holds %v", holds)
	}
	chills := must[*foodsafetypb.ListChillsResponse](t)(w.lead().ListChills(t.Context(), &foodsafetypb.ListChillsRequest{Parent: site, Filter: "state = FAILED AND at_risk = true", OrderBy: "start_time desc"}))
	if len(chills.GetChills()) != 1 {
		t.Errorf("chills %v", chills)
	}
}

// Each refusal as a client sees it: kind, reason, resource or violations, and a message that names what it is about.
func TestRefusals(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	lead, cook := w.lead(), w.cook()
	c := w.start("c1")
	if err := w.service.LotCreated(ctx, foodsafety.Lot{Name: lot, Batch: batch, CreateTime: noon}); err != nil {
		t.Fatal(err)
	}
	builtIn := must[*foodsafetypb.EnsureBuiltInProfilesResponse](t)(cook.EnsureBuiltInProfiles(ctx, &foodsafetypb.EnsureBuiltInProfilesRequest{Parent: site}))
	if len(builtIn.GetLimitsProfiles()) != 2 || builtIn.GetLimitsProfiles()[0].GetStages()[0].GetTargetDegrees() != 70 {
		t.Errorf("built-in profiles %v", builtIn)
	}
	hold := must[*foodsafetypb.Hold](t)(lead.PlaceHold(ctx, &foodsafetypb.PlaceHoldRequest{Parent: site, HoldId: "h1", Hold: &foodsafetypb.Hold{Subject: lot, Reason: "label torn"}}))
	for _, r := range []struct {
		name   string
		call   func() error
		kind   apierr.Kind
		reason string
		says   string
	}{
		{"missing chill", func() error {
			_, err := cook.GetChill(ctx, &foodsafetypb.GetChillRequest{Name: site + "/chills/none"})
			return err
		}, apierr.KindNotFound, foodsafety.ChillMissing, "chill sites/test/chills/none does not exist"},
		{"taken id", func() error {
			_, err := cook.StartChill(ctx, &foodsafetypb.StartChillRequest{Parent: site, ChillId: "c1", Chill: &foodsafetypb.Chill{Batch: batch}})
			return err
		}, apierr.KindAlreadyExists, foodsafety.ChillExists, "exists already"},
		{"name of another kind", func() error {
			_, err := cook.GetChill(ctx, &foodsafetypb.GetChillRequest{Name: site + "/holds/h1"})
			return err
		}, apierr.KindInvalidArgument, rpc.RequestInvalid, "name"},
		{"not a number", func() error {
			_, err := cook.RecordReading(ctx, &foodsafetypb.RecordReadingRequest{Parent: c.GetName(), Reading: &foodsafetypb.Reading{TemperatureCelsius: math.NaN()}})
			return err
		}, apierr.KindInvalidArgument, rpc.RequestInvalid, "temperature_celsius"},
		{"hotter than food", func() error {
			_, err := cook.RecordReading(ctx, &foodsafetypb.RecordReadingRequest{Parent: c.GetName(), Reading: &foodsafetypb.Reading{TemperatureCelsius: 151}})
			return err
		}, apierr.KindInvalidArgument, foodsafety.ReadingOutOfRange, "check the probe"},
		{"from the future", func() error {
			_, err := cook.RecordReading(ctx, &foodsafetypb.RecordReadingRequest{Parent: c.GetName(), Reading: &foodsafetypb.Reading{TemperatureCelsius: 60, ObserveTime: timestamppb.New(noon.Add(3 * time.Minute))}})
			return err
		}, apierr.KindInvalidArgument, foodsafety.TimeInFuture, "set the clock"},
		{"reading of another chill", func() error {
			_, err := cook.RecordReading(ctx, &foodsafetypb.RecordReadingRequest{Parent: c.GetName(), Reading: &foodsafetypb.Reading{Chill: site + "/chills/other", TemperatureCelsius: 60}})
			return err
		}, apierr.KindInvalidArgument, foodsafety.FieldInvalid, "recorded under"},
		{"warm food", func() error {
			_, err := cook.FinishChill(ctx, &foodsafetypb.FinishChillRequest{Name: c.GetName()})
			return err
		}, apierr.KindFailedPrecondition, foodsafety.ChillNotCold, "Keep chilling"},
		{"stale etag", func() error {
			_, err := cook.FinishChill(ctx, &foodsafetypb.FinishChillRequest{Name: c.GetName(), Etag: "v77"})
			return err
		}, apierr.KindAborted, foodsafety.EtagMismatch, "v77"},
		{"release with everything against it", func() error {
			_, err := lead.ReleaseLot(ctx, &foodsafetypb.ReleaseLotRequest{Lot: lot})
			return err
		}, apierr.KindFailedPrecondition, foodsafety.LotNotReleasable, lot},
		{"release of an unknown lot", func() error {
			_, err := lead.ReleaseLot(ctx, &foodsafetypb.ReleaseLotRequest{Lot: site + "/lots/none"})
			return err
		}, apierr.KindFailedPrecondition, foodsafety.LotUnknown, "news"},
		{"release by a manager", func() error {
			_, err := w.as(auth.Principal{Subject: "max", Role: auth.Manager}).ReleaseLot(ctx, &foodsafetypb.ReleaseLotRequest{Lot: lot})
			return err
		}, apierr.KindPermissionDenied, auth.RoleNotAllowed, ""},
		{"auditor writes", func() error {
			_, err := w.as(auth.Principal{Subject: "aud", Role: auth.Auditor}).PlaceHold(ctx, &foodsafetypb.PlaceHoldRequest{Parent: site, Hold: &foodsafetypb.Hold{Subject: lot, Reason: "r"}})
			return err
		}, apierr.KindPermissionDenied, auth.RoleNotAllowed, ""},
		{"caller of another site", func() error {
			_, err := w.as(auth.Principal{Subject: "ot", Role: auth.Cook, Site: "sites/other"}).GetChill(ctx, &foodsafetypb.GetChillRequest{Name: c.GetName()})
			return err
		}, apierr.KindPermissionDenied, auth.OutsideSite, "sites/other"},
		{"stream of another site", func() error {
			_, err := send(t, w.as(auth.Principal{Subject: "ot", Role: auth.Cook, Site: "sites/other"}), 1, []*foodsafetypb.Reading{{Chill: c.GetName(), TemperatureCelsius: 60}})
			return err
		}, apierr.KindPermissionDenied, auth.OutsideSite, "sites/other"},
		{"lift by who placed it", func() error {
			_, err := lead.LiftHold(ctx, &foodsafetypb.LiftHoldRequest{Name: hold.GetName(), Reason: "fine"})
			return err
		}, apierr.KindFailedPrecondition, foodsafety.SecondPersonRequired, "ask another person"},
		{"change of a built-in profile", func() error {
			_, err := lead.UpdateLimitsProfile(ctx, &foodsafetypb.UpdateLimitsProfileRequest{LimitsProfile: &foodsafetypb.LimitsProfile{Name: site + "/limitsProfiles/us-food-code-2022", StartDegrees: 140}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"start_degrees"}}})
			return err
		}, apierr.KindFailedPrecondition, foodsafety.LimitsProfileBuiltIn, "create a profile of your own"},
		{"limits that rise", func() error {
			_, err := lead.CreateLimitsProfile(ctx, &foodsafetypb.CreateLimitsProfileRequest{Parent: site, LimitsProfile: &foodsafetypb.LimitsProfile{
				DisplayName: "own", Source: "plan", Scale: foodsafetypb.LimitsProfile_CELSIUS, StartDegrees: 60,
				Stages: []*foodsafetypb.LimitsProfile_Stage{{StageId: "a", TargetDegrees: 70, WithinDuration: durationpb.New(time.Hour)}},
			}})
			return err
		}, apierr.KindInvalidArgument, foodsafety.LimitsProfileInvalid, "below"},
		{"filter on what is not declared", func() error {
			_, err := lead.ListChills(ctx, &foodsafetypb.ListChillsRequest{Parent: site, Filter: "colour = red"})
			return err
		}, apierr.KindInvalidArgument, "FILTER_INVALID", "colour"},
	} {
		err := r.call()
		e, isError := apierr.As(err)
		if !isError || e.Kind != r.kind || e.Reason != r.reason || !strings.Contains(e.Error(), r.says) {
			t.Errorf("%s: got %v (%v), want %s %s saying %q", r.name, err, apierr.KindOf(err), r.kind, r.reason, r.says)
		}
	}
	var release *apierr.Error
	_, err := lead.ReleaseLot(ctx, &foodsafetypb.ReleaseLotRequest{Lot: lot})
	if !errors.As(err, &release) || len(release.Violations) != 2 {
		t.Errorf("hold and chill must both be named: %v", err)
	}
}

func TestARepeatedRequestIsAnsweredFromTheLog(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	q := &foodsafetypb.StartChillRequest{Parent: site, Chill: &foodsafetypb.Chill{Batch: batch}, RequestId: "r-1"}
	cook := w.cook()
	first := must[*foodsafetypb.Chill](t)(cook.StartChill(t.Context(), q))
	w.clock.Advance(time.Minute)
	second := must[*foodsafetypb.Chill](t)(cook.StartChill(t.Context(), q))
	if first.GetName() != second.GetName() || first.GetEtag() != second.GetEtag() {
		t.Errorf("%s and %s", first.GetName(), second.GetName())
	}
	list := must[*foodsafetypb.ListChillsResponse](t)(cook.ListChills(t.Context(), &foodsafetypb.ListChillsRequest{Parent: site}))
	if len(list.GetChills()) != 1 {
		t.Errorf("%d chills", len(list.GetChills()))
	}
}

func TestProbeIsUpdatedByMask(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx, lead := t.Context(), w.lead()
	p := must[*foodsafetypb.Probe](t)(lead.CreateProbe(ctx, &foodsafetypb.CreateProbeRequest{Parent: site, ProbeId: "p", Probe: &foodsafetypb.Probe{DisplayName: "P", DeviceId: "d-1"}}))
	u := must[*foodsafetypb.Probe](t)(lead.UpdateProbe(ctx, &foodsafetypb.UpdateProbeRequest{
		Probe:      &foodsafetypb.Probe{Name: p.GetName(), CalibrationDate: "2026-02-01", CalibrationOffsetKelvins: -0.4, Etag: p.GetEtag()},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"calibration_date", "calibration_offset_kelvins"}},
	}))
	if u.GetDeviceId() != "d-1" || u.GetCalibrationOffsetKelvins() != -0.4 || u.GetEtag() == p.GetEtag() {
		t.Errorf("%v", u)
	}
	_, err := lead.UpdateProbe(ctx, &foodsafetypb.UpdateProbeRequest{Probe: &foodsafetypb.Probe{Name: p.GetName(), Disabled: true, Etag: p.GetEtag()}})
	if apierr.ReasonOf(err) != foodsafety.EtagMismatch {
		t.Errorf("stale etag: %v", err)
	}
}

func TestErrorReasonsOfDomainAndAPIAreTheSame(t *testing.T) {
	t.Parallel()
	api := slices.Sorted(maps.Keys(foodsafetypb.ErrorReason_value))
	api = slices.DeleteFunc(api, func(s string) bool { return s == "ERROR_REASON_UNSPECIFIED" })
	domain := slices.Sorted(slices.Values(foodsafety.Reasons()))
	if !slices.Equal(api, domain) {
		t.Errorf("API %v\ndomain %v", api, domain)
	}
}

// Every word of the domain has an enum value, so that nothing is served as "unspecified".
func TestDomainWordsAreEnumValues(t *testing.T) {
	t.Parallel()
	for word, values := range map[string]map[string]int32{
		string(foodsafety.ChillInProgress): foodsafetypb.Chill_State_value, string(foodsafety.ChillPassed): foodsafetypb.Chill_State_value,
		string(foodsafety.ChillFailed): foodsafetypb.Chill_State_value, string(foodsafety.ChillAbandoned): foodsafetypb.Chill_State_value,
		string(foodsafety.VerdictPending): foodsafetypb.ChillJudgement_Verdict_value, string(foodsafety.VerdictMet): foodsafetypb.ChillJudgement_Verdict_value,
		string(foodsafety.VerdictMissed): foodsafetypb.ChillJudgement_Verdict_value, string(foodsafety.VerdictNotShown): foodsafetypb.ChillJudgement_Verdict_value,
		string(foodsafety.DeviationOpen): foodsafetypb.Deviation_State_value, string(foodsafety.DeviationActionTaken): foodsafetypb.Deviation_State_value,
		string(foodsafety.DeviationClosed): foodsafetypb.Deviation_State_value, string(foodsafety.DeviationChillLimit): foodsafetypb.Deviation_Kind_value,
		string(foodsafety.DeviationManual): foodsafetypb.Deviation_Kind_value, string(foodsafety.DeviationReceivingTemperature): foodsafetypb.Deviation_Kind_value,
		string(foodsafety.HoldPlaced): foodsafetypb.Hold_State_value, string(foodsafety.HoldLifted): foodsafetypb.Hold_State_value,
		string(foodsafety.DecisionReheat): foodsafetypb.CorrectiveAction_Decision_value, string(foodsafety.DecisionDiscard): foodsafetypb.CorrectiveAction_Decision_value,
		string(foodsafety.DecisionAccept): foodsafetypb.CorrectiveAction_Decision_value, string(foodsafety.DecisionReject): foodsafetypb.CorrectiveAction_Decision_value,
		string(foodsafety.DecisionNoteOnly): foodsafetypb.CorrectiveAction_Decision_value,
	} {
		if values[word] == 0 {
			t.Errorf("%s has no enum value", word)
		}
	}
}

// BenchmarkStreamReadings measures readings stored per second by one stream on SQLite with full durability.
func BenchmarkStreamReadings(b *testing.B) {
	w := newWorld(b)
	cook := w.cook()
	const chills = 8
	for i := range chills {
		must[*foodsafetypb.Chill](b)(cook.StartChill(b.Context(), &foodsafetypb.StartChillRequest{Parent: site, ChillId: fmt.Sprintf("c%d", i), Chill: &foodsafetypb.Chill{Batch: batch}}))
	}
	w.clock.Advance(time.Hour)
	stream, err := cook.StreamReadings(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	b.ResetTimer()
	for i := 0; i < b.N; {
		q := &foodsafetypb.StreamReadingsRequest{Parent: site}
		for ; i < b.N && len(q.Readings) < 100; i++ {
			q.Readings = append(q.Readings, &foodsafetypb.Reading{
				Chill: fmt.Sprintf("%s/chills/c%d", site, i%chills), ObserveTime: timestamppb.New(noon.Add(time.Duration(i/chills) * 5 * time.Second / 5)), TemperatureCelsius: 80,
			})
		}
		if err := stream.Send(q); err != nil {
			break
		}
	}
	got := must[*foodsafetypb.StreamReadingsResponse](b)(stream.CloseAndRecv())
	if got.GetAcceptedCount() != int64(min(b.N, 3600*chills+120*chills)) && got.GetRefusedCount() == 0 {
		b.Fatalf("accepted %d of %d", got.GetAcceptedCount(), b.N)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}
