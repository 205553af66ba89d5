package events_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"rondeau.internal/pkg/clock"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/events"
	"rondeau.internal/services/foodsafety/sqlite"
	"rondeau.internal/services/foodsafety/storetest"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func open(t *testing.T) (*sqldb.DB, *foodsafety.Service) {
	t.Helper()
	db := sqldbtest.SQLite(t)
	if err := outbox.Migrate(t.Context(), db); err != nil {
		t.Fatal(err)
	}
	store, err := sqlite.New(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	service, err := foodsafety.New(foodsafety.Deps{Store: store, Clock: clock.NewFake(noon), Events: events.NewPublisher(db)})
	if err != nil {
		t.Fatal(err)
	}
	return db, service
}

func TestEveryFactHasItsSubjectAndPayload(t *testing.T) {
	t.Parallel()
	db, _ := open(t)
	chill := storetest.Chill("c1", noon)
	deviation := &foodsafety.Deviation{Name: "sites/test/deviations/d", OpenTime: noon, CloseTime: noon}
	hold := &foodsafety.Hold{Name: "sites/test/holds/h", Subject: "sites/test/lots/l", PlaceTime: noon, LiftTime: noon}
	release := &foodsafety.Release{Name: "sites/test/releases/r", Lot: "sites/test/lots/l", SignTime: noon}
	for _, c := range []struct {
		event   foodsafety.Event
		subject string
		message proto.Message
		says    func(m proto.Message) string
		want    string
	}{
		{foodsafety.ChillStarted{Chill: chill}, events.SubjectChillStarted, &foodsafetypb.ChillStarted{}, func(m proto.Message) string { return m.(*foodsafetypb.ChillStarted).GetChill().GetName() }, chill.Name},
		{foodsafety.ChillFinished{Chill: chill}, events.SubjectChillFinished, &foodsafetypb.ChillFinished{}, func(m proto.Message) string { return m.(*foodsafetypb.ChillFinished).GetChill().GetName() }, chill.Name},
		{foodsafety.ChillLimitAtRisk{Chill: chill, Stage: foodsafety.ForecastStage{StageID: "to-70f", Deadline: noon}}, events.SubjectChillLimitAtRisk, &foodsafetypb.ChillLimitAtRisk{}, func(m proto.Message) string { return m.(*foodsafetypb.ChillLimitAtRisk).GetStageId() }, "to-70f"},
		{foodsafety.DeviationOpened{Deviation: deviation}, events.SubjectDeviationOpened, &foodsafetypb.DeviationOpened{}, func(m proto.Message) string { return m.(*foodsafetypb.DeviationOpened).GetDeviation().GetName() }, deviation.Name},
		{foodsafety.DeviationWasClosed{Deviation: deviation}, events.SubjectDeviationClosed, &foodsafetypb.DeviationClosed{}, func(m proto.Message) string { return m.(*foodsafetypb.DeviationClosed).GetDeviation().GetName() }, deviation.Name},
		{foodsafety.HoldWasPlaced{Hold: hold}, events.SubjectHoldPlaced, &foodsafetypb.HoldPlaced{}, func(m proto.Message) string { return m.(*foodsafetypb.HoldPlaced).GetHold().GetSubject() }, hold.Subject},
		{foodsafety.HoldWasLifted{Hold: hold}, events.SubjectHoldLifted, &foodsafetypb.HoldLifted{}, func(m proto.Message) string { return m.(*foodsafetypb.HoldLifted).GetHold().GetSubject() }, hold.Subject},
		{foodsafety.LotReleased{Release: release}, events.SubjectLotReleased, &foodsafetypb.LotReleased{}, func(m proto.Message) string { return m.(*foodsafetypb.LotReleased).GetLot() }, release.Lot},
	} {
		if err := events.NewPublisher(db).Publish(t.Context(), c.event); err == nil {
			t.Errorf("%T was published outside of a transaction", c.event)
		}
		err := db.InTx(t.Context(), func(ctx context.Context) error { return events.NewPublisher(db).Publish(ctx, c.event) })
		if err != nil {
			t.Fatal(err)
		}
		var subject string
		var payload []byte
		row := db.Conn(t.Context()).QueryRowContext(t.Context(), `SELECT subject, payload FROM outbox ORDER BY seq DESC LIMIT 1`)
		if err := row.Scan(&subject, &payload); err != nil {
			t.Fatal(err)
		}
		if err := proto.Unmarshal(payload, c.message); err != nil {
			t.Fatal(err)
		}
		if subject != c.subject || c.says(c.message) != c.want {
			t.Errorf("%T: %s with %s", c.event, subject, c.says(c.message))
		}
	}
	err := db.InTx(t.Context(), func(ctx context.Context) error { return events.NewPublisher(db).Publish(ctx, nil) })
	if err == nil {
		t.Error("no event was published")
	}
}

// A change and its facts are one: when the fact cannot be stored, the change is undone.
func TestNoChangeWithoutItsFact(t *testing.T) {
	t.Parallel()
	db, _ := open(t)
	store, err := sqlite.New(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	service, err := foodsafety.New(foodsafety.Deps{Store: store, Clock: clock.NewFake(noon), Events: broken{}})
	if err != nil {
		t.Fatal(err)
	}
	fact := foodsafety.RunFact{Run: "sites/test/batches/b/runs/chill", Batch: "sites/test/batches/b", Chill: true, People: []string{"ada"}, Time: noon}
	if err := service.RunStarted(t.Context(), fact); !errors.Is(err, errBroken) {
		t.Fatal(err)
	}
	chills, err := store.ChillsOfRun(t.Context(), fact.Run)
	if err != nil || len(chills) != 0 {
		t.Errorf("%v, %v", chills, err)
	}
	people, err := store.BatchPeople(t.Context(), fact.Batch)
	if err != nil || len(people) != 0 {
		t.Errorf("%v, %v", people, err)
	}
}

var errBroken = errors.New("broken")

type broken struct{}

func (broken) Publish(context.Context, foodsafety.Event) error { return errBroken }

func TestAPayloadThatCannotBeReadIsAnError(t *testing.T) {
	t.Parallel()
	_, service := open(t)
	for _, c := range events.Consumers(service) {
		for _, subject := range c.Subjects {
			err := events.Apply(t.Context(), service, outbox.Event{ID: "1", Subject: subject, Payload: []byte{0xff}})
			if err == nil || !strings.Contains(err.Error(), subject) {
				t.Errorf("%s: %v", subject, err)
			}
		}
	}
	if err := events.Apply(t.Context(), service, outbox.Event{ID: "1", Subject: "rondeau.inventory.v1.stock.moved", Payload: []byte{0xff}}); err != nil {
		t.Errorf("a fact that nobody asked for: %v", err)
	}
}
