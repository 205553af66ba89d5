package sqlstore

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/sqlstore/internal/db"
)

// InsertChill implements foodsafety.ChillStore.
func (s *Store) InsertChill(ctx context.Context, c *foodsafety.Chill) error {
	doc, err := encode(c)
	if err != nil {
		return err
	}
	err = s.q(ctx).InsertChill(ctx, db.InsertChillParams{
		Name: c.Name, Site: c.Site(), Batch: c.Batch, Run: c.Run, Vessel: c.Vessel, State: string(c.State), AtRisk: c.AtRisk,
		StartUs: us(c.StartTime), FinishUs: us(c.FinishTime), Deviation: c.Deviation, Doc: doc, Version: c.Version,
		CreateUs: us(c.CreateTime), UpdateUs: us(c.UpdateTime),
	})
	if err != nil {
		return insertError(err, foodsafety.ChillExists, c.Name)
	}
	return s.putProbes(ctx, c)
}

// UpdateChill implements foodsafety.ChillStore.
func (s *Store) UpdateChill(ctx context.Context, c *foodsafety.Chill) error {
	doc, err := encode(c)
	if err != nil {
		return err
	}
	rows, err := s.q(ctx).UpdateChill(ctx, db.UpdateChillParams{
		Name: c.Name, Vessel: c.Vessel, State: string(c.State), AtRisk: c.AtRisk, StartUs: us(c.StartTime), FinishUs: us(c.FinishTime),
		Deviation: c.Deviation, Doc: doc, Version: c.Version, UpdateUs: us(c.UpdateTime), Version_2: c.Version - 1,
	})
	if err := updateError(rows, err, c.Name); err != nil {
		return err
	}
	return s.putProbes(ctx, c)
}

// putProbes keeps which probes watch the chill.
func (s *Store) putProbes(ctx context.Context, c *foodsafety.Chill) error {
	q := s.q(ctx)
	if err := q.RetireChillProbes(ctx, c.Name); err != nil {
		return fmt.Errorf("probes of %s: %w", c.Name, sqldb.Translate(err))
	}
	for _, probe := range c.Probes {
		err := sqldb.Translate(q.PutChillProbe(ctx, db.PutChillProbeParams{Chill: c.Name, Probe: probe, Active: c.Watched()}))
		if errors.Is(err, sqldb.ErrUnique) {
			return apierr.FailedPrecondition(foodsafety.ProbeBusy, "%s watches another chill; finish that one or take another probe", probe).
				With("probe", probe).WithViolation(probe, "watches another chill").WithResource(probe).Wrap(err)
		}
		if err != nil {
			return fmt.Errorf("probes of %s: %w", c.Name, err)
		}
	}
	return nil
}

// GetChill implements foodsafety.ChillStore.
func (s *Store) GetChill(ctx context.Context, name string) (*foodsafety.Chill, error) {
	doc, err := s.q(ctx).GetChill(ctx, name)
	if err != nil {
		return nil, getError(err, foodsafety.ChillMissing, name)
	}
	return decode[foodsafety.Chill](doc)
}

// ListChills implements foodsafety.ChillStore.
func (s *Store) ListChills(ctx context.Context, page foodsafety.Page) ([]foodsafety.Chill, error) {
	return listDocs[foodsafety.Chill](ctx, s, "chills", []key{{"start_us", true}, {"name", false}}, page)
}

// ChillsInProgress implements foodsafety.ChillStore.
func (s *Store) ChillsInProgress(ctx context.Context) ([]foodsafety.Chill, error) {
	docs, err := s.q(ctx).ChillsInProgress(ctx)
	if err != nil {
		return nil, fmt.Errorf("chills in progress: %w", sqldb.Translate(err))
	}
	return decodeAll[foodsafety.Chill](docs)
}

// ChillsOfBatch implements foodsafety.ChillStore.
func (s *Store) ChillsOfBatch(ctx context.Context, batch string) ([]foodsafety.Chill, error) {
	docs, err := s.q(ctx).ChillsOfBatch(ctx, batch)
	if err != nil {
		return nil, fmt.Errorf("chills of %s: %w", batch, sqldb.Translate(err))
	}
	return decodeAll[foodsafety.Chill](docs)
}

// ChillsOfRun implements foodsafety.ChillStore.
func (s *Store) ChillsOfRun(ctx context.Context, run string) ([]foodsafety.Chill, error) {
	docs, err := s.q(ctx).ChillsOfRun(ctx, run)
	if err != nil {
		return nil, fmt.Errorf("chills of %s: %w", run, sqldb.Translate(err))
	}
	return decodeAll[foodsafety.Chill](docs)
}

// ChillAtProbe implements foodsafety.ChillStore.
func (s *Store) ChillAtProbe(ctx context.Context, probe string, at time.Time, slack time.Duration) (string, error) {
	return oneOrNone(s.q(ctx).ChillAtProbe(ctx, db.ChillAtProbeParams{Probe: probe, StartUs: us(at.Add(slack)), FinishUs: us(at)}))
}

// ChillWatchedBy implements foodsafety.ChillStore.
func (s *Store) ChillWatchedBy(ctx context.Context, probe string) (string, error) {
	return oneOrNone(s.q(ctx).ChillWatchedBy(ctx, probe))
}

func oneOrNone(name string, err error) (string, error) {
	err = sqldb.Translate(err)
	if errors.Is(err, sqldb.ErrNoRows) {
		return "", nil
	}
	return name, err
}

// readingsPerInsert is near the fastest for SQLite, which looks placeholders up one by one: 10, 20, 50 and 200 readings
// were measured.
const readingsPerInsert = 20

// InsertReadings implements foodsafety.ChillStore. One statement takes many readings, because each statement costs a
// round trip on PostgreSQL and a preparation on SQLite.
func (s *Store) InsertReadings(ctx context.Context, list []*foodsafety.Reading) ([]bool, error) {
	added := make([]bool, 0, len(list))
	for part := range slices.Chunk(list, readingsPerInsert) {
		some, err := s.insertReadings(ctx, part)
		if err != nil {
			return nil, fmt.Errorf("insert %d readings from %s on: %w", len(part), part[0].Name, sqldb.Translate(err))
		}
		added = append(added, some...)
	}
	return added, nil
}

// readingKey is the primary key of a reading.
type readingKey struct {
	chill, probe string
	observeUs    int64
}

func (s *Store) insertReadings(ctx context.Context, list []*foodsafety.Reading) ([]bool, error) {
	const columns = 9
	var b strings.Builder
	b.WriteString("INSERT INTO readings (chill, probe, observe_us, record_us, measured_celsius, judged_celsius, recorder, late, note) VALUES ")
	args := make([]any, 0, columns*len(list))
	for i, r := range list {
		if i > 0 {
			b.WriteString(", ")
		}
		n := i * columns
		fmt.Fprintf(&b, "($%d, $%d, $%d, $%d, $%d, $%d, $%d, $%d, $%d)", n+1, n+2, n+3, n+4, n+5, n+6, n+7, n+8, n+9)
		args = append(args, r.Chill, r.Probe, us(r.ObserveTime), us(r.RecordTime), float64(r.Measured), float64(r.Judged), r.Recorder, r.Late, r.Note)
	}
	b.WriteString(" ON CONFLICT DO NOTHING RETURNING chill, probe, observe_us")
	rows, err := s.db.Conn(ctx).QueryContext(ctx, b.String(), args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	fresh := map[readingKey]bool{}
	for rows.Next() {
		var k readingKey
		if err := rows.Scan(&k.chill, &k.probe, &k.observeUs); err != nil {
			return nil, err
		}
		fresh[k] = true
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	added := make([]bool, len(list))
	for i, r := range list {
		k := readingKey{r.Chill, r.Probe, us(r.ObserveTime)}
		added[i] = fresh[k]
		delete(fresh, k) // the second of two equal ones in the list was not stored
	}
	return added, nil
}

// GetReading implements foodsafety.ChillStore.
func (s *Store) GetReading(ctx context.Context, chill, probe string, at time.Time) (*foodsafety.Reading, error) {
	row, err := s.q(ctx).GetReading(ctx, db.GetReadingParams{Chill: chill, Probe: probe, ObserveUs: us(at)})
	if err != nil {
		return nil, fmt.Errorf("reading of %s at %s: %w", chill, at.Format(time.RFC3339Nano), sqldb.Translate(err))
	}
	r := reading(row)
	return &r, nil
}

// Readings implements foodsafety.ChillStore.
func (s *Store) Readings(ctx context.Context, chill string) ([]foodsafety.Reading, error) {
	rows, err := s.q(ctx).Readings(ctx, chill)
	return readings(rows, err, chill)
}

// ListReadings implements foodsafety.ChillStore.
func (s *Store) ListReadings(ctx context.Context, chill string, cursor []string, limit int) ([]foodsafety.Reading, error) {
	after := db.ReadingsAfterParams{Chill: chill, ObserveUs: -1 << 62, Limit: int32(min(limit, 1<<30))}
	if len(cursor) > 0 {
		at, err := strconv.ParseInt(cursor[0], 10, 64)
		if err != nil || len(cursor) != 2 {
			return nil, badCursor()
		}
		after.ObserveUs, after.Probe = at, cursor[1]
	}
	rows, err := s.q(ctx).ReadingsAfter(ctx, after)
	return readings(rows, err, chill)
}

func readings(rows []db.Reading, err error, chill string) ([]foodsafety.Reading, error) {
	if err != nil {
		return nil, fmt.Errorf("readings of %s: %w", chill, sqldb.Translate(err))
	}
	list := make([]foodsafety.Reading, 0, len(rows))
	for _, row := range rows {
		list = append(list, reading(row))
	}
	return list, nil
}

func reading(row db.Reading) foodsafety.Reading {
	at := sqldb.FromMicros(row.ObserveUs)
	return foodsafety.Reading{
		Name: foodsafety.ReadingName(row.Chill, row.Probe, at), Chill: row.Chill, Probe: row.Probe, ObserveTime: at,
		RecordTime: sqldb.FromMicros(row.RecordUs), Measured: units.Celsius(row.MeasuredCelsius),
		Judged: units.Celsius(row.JudgedCelsius), Recorder: row.Recorder, Late: row.Late, Note: row.Note,
	}
}
