package storetest

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/foodsafety"
)

// RunAppendOnly tries to change and delete safety records behind the back of the store, by plain SQL.
func RunAppendOnly(t *testing.T, db *sqldb.DB, s foodsafety.Store) {
	fill(t, s)
	statements := []string{
		`UPDATE safety_records SET actor = 'nobody'`,
		`DELETE FROM safety_records`,
		`UPDATE readings SET measured_celsius = 3`,
		`DELETE FROM readings`,
		`UPDATE corrective_actions SET actor = 'nobody'`,
		`DELETE FROM corrective_actions`,
		`UPDATE releases SET signer = 'nobody'`,
		`DELETE FROM releases`,
		`UPDATE deviation_subjects SET subject = 'sites/test/lots/x'`,
		`DELETE FROM deviation_subjects`,
		`DELETE FROM chills WHERE state = 'ABANDONED'`,
		`DELETE FROM holds`,
		`DELETE FROM deviations`,
		`UPDATE chills SET state = 'PASSED' WHERE state = 'FAILED'`,
		`UPDATE chills SET state = 'FAILED', deviation = '' WHERE state = 'IN_PROGRESS'`,
		`UPDATE deviations SET state = 'OPEN' WHERE state = 'CLOSED'`,
		`UPDATE holds SET state = 'PLACED' WHERE state = 'LIFTED'`,
		`UPDATE holds SET lifter = placer WHERE state = 'LIFTED'`,
		`INSERT INTO readings SELECT chill, 'sites/test/probes/hot', observe_us, record_us, 151, 150, recorder, late, note FROM readings`,
	}
	if db.Dialect() == sqldb.SQLite {
		statements = append(statements,
			`INSERT OR REPLACE INTO safety_records SELECT sequence, site, resource, action, 'nobody', actor_role, record_us, old_value, new_value, reason FROM safety_records`,
			`INSERT OR REPLACE INTO releases SELECT name, site, lot, batch, 'nobody', sign_us, sequence, doc FROM releases`,
			`INSERT OR REPLACE INTO corrective_actions SELECT deviation, position, decision, 'nobody', record_us, action_text FROM corrective_actions`,
		)
	} else {
		statements = append(statements, `TRUNCATE safety_records`, `TRUNCATE readings`, `TRUNCATE chills CASCADE`)
	}
	for _, statement := range statements {
		err := db.InTx(t.Context(), func(ctx context.Context) error {
			_, err := db.Conn(ctx).ExecContext(ctx, statement)
			return err
		})
		if !errors.Is(sqldb.Translate(err), sqldb.ErrCheck) && !errors.Is(sqldb.Translate(err), sqldb.ErrForeignKey) {
			t.Errorf("%s: got %v, want a refusal", statement, err)
		}
	}
	if db.Dialect() == sqldb.SQLite { // replacing a reading is ignored, as a repeated reading is
		err := db.InTx(t.Context(), func(ctx context.Context) error {
			_, err := db.Conn(ctx).ExecContext(ctx, `INSERT OR REPLACE INTO readings SELECT chill, probe, observe_us, record_us, 3, 3, recorder, late, note FROM readings`)
			return err
		})
		if err != nil {
			t.Error(err)
		}
	}
	list, err := s.Readings(t.Context(), site+"/chills/failed")
	if err != nil || len(list) != 1 || list[0].Measured != 60 {
		t.Errorf("readings afterwards: %+v, %v", list, err)
	}
	trail, err := s.ListRecords(t.Context(), foodsafety.Page{Site: site, Limit: 10})
	if err != nil || len(trail) != 1 || trail[0].Actor != "ada" || !strings.HasSuffix(trail[0].Resource, "/h1") {
		t.Errorf("trail afterwards: %+v, %v", trail, err)
	}
}

// fill stores one of each.
func fill(t *testing.T, s foodsafety.Store) {
	t.Helper()
	tx(t, s, func(ctx context.Context) error {
		failed, progress, abandoned := Chill("failed", noon), Chill("progress", noon), Chill("abandoned", noon)
		failed.State, failed.Deviation = foodsafety.ChillFailed, site+"/deviations/d"
		abandoned.State = foodsafety.ChillAbandoned
		err := errors.Join(s.InsertChill(ctx, failed), s.InsertChill(ctx, progress), s.InsertChill(ctx, abandoned))
		_, rerr := s.InsertReadings(ctx, []*foodsafety.Reading{{Chill: failed.Name, ObserveTime: noon, RecordTime: noon, Measured: 60, Judged: 60, Recorder: "ada"}})
		return errors.Join(err, rerr,
			s.InsertDeviation(ctx, &foodsafety.Deviation{
				Name: site + "/deviations/d", Kind: foodsafety.DeviationManual, Subjects: []string{batch}, Description: "d", State: foodsafety.DeviationClosed,
				Actions:  []foodsafety.CorrectiveAction{{Text: "t", Decision: foodsafety.DecisionAccept, Actor: "ada", RecordTime: noon}},
				OpenTime: noon, CreateTime: noon, UpdateTime: noon, Version: 1,
			}),
			s.InsertHold(ctx, &foodsafety.Hold{
				Name: site + "/holds/h", Subject: batch, Reason: "r", State: foodsafety.HoldLifted, Placer: "ada", Lifter: "bo", PlaceTime: noon,
				LiftTime: noon.Add(time.Minute), CreateTime: noon, UpdateTime: noon, Version: 1,
			}),
			s.InsertRelease(ctx, &foodsafety.Release{Name: site + "/releases/r", Lot: site + "/lots/l", Signer: "lea", SignTime: noon, Sequence: 1}),
			s.AppendRecord(ctx, record(1)),
		)
	})
}
