package sqlstore

import (
	"context"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/scheduling"
	"rondeau.internal/services/scheduling/sqlstore/internal/db"
)

// GetVessel implements scheduling.Store.
func (s *Store) GetVessel(ctx context.Context, name string) (scheduling.Vessel, error) {
	row, err := s.q(ctx).GetVessel(ctx, name)
	if err != nil {
		return scheduling.Vessel{}, said("vessel", name, err)
	}
	v, err := vessel(row)
	if err != nil {
		return scheduling.Vessel{}, err
	}
	one := []scheduling.Vessel{v}
	err = s.addRunning(ctx, one)
	return one[0], err
}

func vessel(row db.GetVesselRow) (scheduling.Vessel, error) {
	var v scheduling.Vessel
	if err := decode("vessel", row.Name, row.Doc, &v); err != nil {
		return v, err
	}
	v.Name, v.Meta = row.Name, meta(row.Uid, row.Version, row.CreateUs, row.UpdateUs)
	v.DisplayName, v.Class, v.Active, v.MaterialState = row.DisplayName, row.VesselClass, row.Active, row.MaterialState
	v.Learned = nil
	if row.Belief == "" {
		return v, nil
	}
	v.Learned = &scheduling.Learned{}
	return v, decode("belief about", row.Name, row.Belief, v.Learned)
}

// addRunning names the runs in vessels, which are ordered by name.
func (s *Store) addRunning(ctx context.Context, vessels []scheduling.Vessel) error {
	if len(vessels) == 0 {
		return nil
	}
	index := map[string]int{}
	for i, v := range vessels {
		index[v.Name] = i
	}
	rows, err := s.q(ctx).OpenOccupants(ctx, db.OpenOccupantsParams{First: vessels[0].Name, Last: vessels[len(vessels)-1].Name})
	if err != nil {
		return said("occupants of", vessels[0].Name, err)
	}
	for _, row := range rows {
		if i, found := index[row.Vessel]; found {
			vessels[i].Running = append(vessels[i].Running, row.Run)
		}
	}
	return nil
}

// ListVessels implements scheduling.Store.
func (s *Store) ListVessels(ctx context.Context, q scheduling.ListQuery) ([]scheduling.Vessel, error) {
	var out []scheduling.Vessel
	l := listing{
		columns: "name, uid, version, create_us, update_us, display_name, vessel_class, active, doc, material_state, belief",
		table:   "vessels", where: "site = $1", argument: q.Parent, order: []string{"name"},
	}
	err := s.query(ctx, l, q, func(scan func(...any) error) error {
		var row db.GetVesselRow
		if err := scan(&row.Name, &row.Uid, &row.Version, &row.CreateUs, &row.UpdateUs, &row.DisplayName, &row.VesselClass, &row.Active, &row.Doc, &row.MaterialState, &row.Belief); err != nil {
			return err
		}
		v, err := vessel(row)
		out = append(out, v)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, s.addRunning(ctx, out)
}

// InsertVessel implements scheduling.Store.
func (s *Store) InsertVessel(ctx context.Context, v scheduling.Vessel) error {
	doc, err := encode("vessel", v.Name, v)
	if err != nil {
		return err
	}
	return said("vessel", v.Name, s.q(ctx).InsertVessel(ctx, db.InsertVesselParams{
		Name: v.Name, Site: siteOf(v.Name), Uid: v.UID, Version: v.Version, CreateUs: sqldb.Micros(v.CreateTime), UpdateUs: sqldb.Micros(v.UpdateTime),
		DisplayName: v.DisplayName, VesselClass: v.Class, Active: v.Active, Doc: doc,
	}))
}

// UpdateVessel implements scheduling.Store.
func (s *Store) UpdateVessel(ctx context.Context, v scheduling.Vessel) error {
	doc, err := encode("vessel", v.Name, v)
	if err != nil {
		return err
	}
	rows, err := s.q(ctx).UpdateVessel(ctx, db.UpdateVesselParams{
		Name: v.Name, Version: v.Version, UpdateUs: sqldb.Micros(v.UpdateTime),
		DisplayName: v.DisplayName, VesselClass: v.Class, Active: v.Active, Doc: doc,
	})
	return updated("vessel", v.Name, rows, err)
}

// SetVesselMaterial implements scheduling.Store.
func (s *Store) SetVesselMaterial(ctx context.Context, name, state string) error {
	return said("vessel", name, s.q(ctx).SetVesselMaterial(ctx, db.SetVesselMaterialParams{Name: name, MaterialState: state}))
}

// SetVesselBelief implements scheduling.Store.
func (s *Store) SetVesselBelief(ctx context.Context, name string, learned *scheduling.Learned) error {
	doc := ""
	if learned != nil {
		var err error
		if doc, err = encode("belief about", name, learned); err != nil {
			return err
		}
	}
	return said("belief about", name, s.q(ctx).SetVesselBelief(ctx, db.SetVesselBeliefParams{Name: name, Belief: doc}))
}

// GetCalendar implements scheduling.Store.
func (s *Store) GetCalendar(ctx context.Context, name string) (scheduling.Calendar, error) {
	row, err := s.q(ctx).GetCalendar(ctx, name)
	if err != nil {
		return scheduling.Calendar{}, said("calendar", name, err)
	}
	return calendar(row)
}

func calendar(row db.Calendar) (scheduling.Calendar, error) {
	var c scheduling.Calendar
	if err := decode("calendar", row.Name, row.Doc, &c); err != nil {
		return c, err
	}
	c.Name, c.Meta = row.Name, meta(row.Uid, row.Version, row.CreateUs, row.UpdateUs)
	c.DisplayName, c.TimeZone = row.DisplayName, row.TimeZone
	return c, nil
}

// ListCalendars implements scheduling.Store.
func (s *Store) ListCalendars(ctx context.Context, q scheduling.ListQuery) ([]scheduling.Calendar, error) {
	var out []scheduling.Calendar
	l := listing{
		columns: "name, uid, version, create_us, update_us, display_name, time_zone, doc",
		table:   "calendars", where: "site = $1", argument: q.Parent, order: []string{"name"},
	}
	err := s.query(ctx, l, q, func(scan func(...any) error) error {
		var row db.Calendar
		if err := scan(&row.Name, &row.Uid, &row.Version, &row.CreateUs, &row.UpdateUs, &row.DisplayName, &row.TimeZone, &row.Doc); err != nil {
			return err
		}
		c, err := calendar(row)
		out = append(out, c)
		return err
	})
	return out, err
}

// InsertCalendar implements scheduling.Store.
func (s *Store) InsertCalendar(ctx context.Context, c scheduling.Calendar) error {
	doc, err := encode("calendar", c.Name, c)
	if err != nil {
		return err
	}
	return said("calendar", c.Name, s.q(ctx).InsertCalendar(ctx, db.InsertCalendarParams{
		Name: c.Name, Site: siteOf(c.Name), Uid: c.UID, Version: c.Version, CreateUs: sqldb.Micros(c.CreateTime), UpdateUs: sqldb.Micros(c.UpdateTime),
		DisplayName: c.DisplayName, TimeZone: c.TimeZone, Doc: doc,
	}))
}

// UpdateCalendar implements scheduling.Store.
func (s *Store) UpdateCalendar(ctx context.Context, c scheduling.Calendar) error {
	doc, err := encode("calendar", c.Name, c)
	if err != nil {
		return err
	}
	rows, err := s.q(ctx).UpdateCalendar(ctx, db.UpdateCalendarParams{
		Name: c.Name, Version: c.Version, UpdateUs: sqldb.Micros(c.UpdateTime), DisplayName: c.DisplayName, TimeZone: c.TimeZone, Doc: doc,
	})
	return updated("calendar", c.Name, rows, err)
}

// GetCrew implements scheduling.Store.
func (s *Store) GetCrew(ctx context.Context, name string) (scheduling.Crew, error) {
	row, err := s.q(ctx).GetCrew(ctx, name)
	if err != nil {
		return scheduling.Crew{}, said("crew", name, err)
	}
	return crew(row)
}

func crew(row db.Crew) (scheduling.Crew, error) {
	var c scheduling.Crew
	if err := decode("crew", row.Name, row.Doc, &c); err != nil {
		return c, err
	}
	c.Name, c.Meta = row.Name, meta(row.Uid, row.Version, row.CreateUs, row.UpdateUs)
	c.DisplayName, c.Calendar, c.Headcount, c.Active = row.DisplayName, row.Calendar, int(row.Headcount), row.Active
	return c, nil
}

// ListCrews implements scheduling.Store.
func (s *Store) ListCrews(ctx context.Context, q scheduling.ListQuery) ([]scheduling.Crew, error) {
	var out []scheduling.Crew
	l := listing{
		columns: "name, uid, version, create_us, update_us, display_name, calendar, headcount, active, doc",
		table:   "crews", where: "site = $1", argument: q.Parent, order: []string{"name"},
	}
	err := s.query(ctx, l, q, func(scan func(...any) error) error {
		var row db.Crew
		if err := scan(&row.Name, &row.Uid, &row.Version, &row.CreateUs, &row.UpdateUs, &row.DisplayName, &row.Calendar, &row.Headcount, &row.Active, &row.Doc); err != nil {
			return err
		}
		c, err := crew(row)
		out = append(out, c)
		return err
	})
	return out, err
}

// InsertCrew implements scheduling.Store.
func (s *Store) InsertCrew(ctx context.Context, c scheduling.Crew) error {
	doc, err := encode("crew", c.Name, c)
	if err != nil {
		return err
	}
	return said("crew", c.Name, s.q(ctx).InsertCrew(ctx, db.InsertCrewParams{
		Name: c.Name, Site: siteOf(c.Name), Uid: c.UID, Version: c.Version, CreateUs: sqldb.Micros(c.CreateTime), UpdateUs: sqldb.Micros(c.UpdateTime),
		DisplayName: c.DisplayName, Calendar: c.Calendar, Headcount: int64(c.Headcount), Active: c.Active, Doc: doc,
	}))
}

// UpdateCrew implements scheduling.Store.
func (s *Store) UpdateCrew(ctx context.Context, c scheduling.Crew) error {
	doc, err := encode("crew", c.Name, c)
	if err != nil {
		return err
	}
	rows, err := s.q(ctx).UpdateCrew(ctx, db.UpdateCrewParams{
		Name: c.Name, Version: c.Version, UpdateUs: sqldb.Micros(c.UpdateTime),
		DisplayName: c.DisplayName, Calendar: c.Calendar, Headcount: int64(c.Headcount), Active: c.Active, Doc: doc,
	})
	return updated("crew", c.Name, rows, err)
}

// GetLimits implements scheduling.Store.
func (s *Store) GetLimits(ctx context.Context, name string) (scheduling.KitchenLimits, error) {
	row, err := s.q(ctx).GetLimits(ctx, name)
	if err != nil {
		return scheduling.KitchenLimits{}, said("limits", name, err)
	}
	var l scheduling.KitchenLimits
	if err := decode("limits", name, row.Doc, &l); err != nil {
		return l, err
	}
	l.Name, l.Meta = row.Name, meta(row.Uid, row.Version, row.CreateUs, row.UpdateUs)
	return l, nil
}

// PutLimits implements scheduling.Store.
func (s *Store) PutLimits(ctx context.Context, l scheduling.KitchenLimits) error {
	doc, err := encode("limits", l.Name, l)
	if err != nil {
		return err
	}
	if l.Version == 1 {
		return said("limits", l.Name, s.q(ctx).InsertLimits(ctx, db.InsertLimitsParams{
			Name: l.Name, Site: siteOf(l.Name), Uid: l.UID, Version: 1, CreateUs: sqldb.Micros(l.CreateTime), UpdateUs: sqldb.Micros(l.UpdateTime), Doc: doc,
		}))
	}
	rows, err := s.q(ctx).UpdateLimits(ctx, db.UpdateLimitsParams{Name: l.Name, Version: l.Version, UpdateUs: sqldb.Micros(l.UpdateTime), Doc: doc})
	return updated("limits", l.Name, rows, err)
}
