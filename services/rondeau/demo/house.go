package demo

import (
	"context"
	"fmt"
	"sort"
	"time"

	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
)

// house is the kitchen as the services tell it.
type house struct {
	site       *planningpb.Site
	items      map[string]*inventorypb.Item
	products   []*planningpb.Product
	outlets    []*planningpb.Outlet
	formulas   []*planningpb.Formula
	vessels    map[string]*schedulingpb.Vessel
	vesselList []*schedulingpb.Vessel
	crews      []*schedulingpb.Crew
	calendars  map[string]*schedulingpb.Calendar
	airCelsius float64
	product    map[string]*planningpb.Product
}

func (h house) counts() string {
	return fmt.Sprintf("%d outlets, %d formulas, %d products, %d vessels, %d crews, %d items",
		len(h.outlets), len(h.formulas), len(h.products), len(h.vesselList), len(h.crews), len(h.items))
}

const fullPage = 500

// readHouse reads the masters back that the story needs.
func (w *world) readHouse(ctx context.Context) error {
	d := w.here(manager)
	h := house{
		items: map[string]*inventorypb.Item{}, vessels: map[string]*schedulingpb.Vessel{}, calendars: map[string]*schedulingpb.Calendar{},
		product: map[string]*planningpb.Product{},
	}
	var err error
	h.site, err = d.planning.GetSite(ctx, &planningpb.GetSiteRequest{Name: w.site})
	if err != nil {
		return err
	}
	w.zone, err = time.LoadLocation(h.site.GetTimeZone())
	if err != nil {
		return fmt.Errorf("zone of %s: %w", w.site, err)
	}
	w.report.Start = w.start.In(w.zone)
	items, err := all(func(token string) ([]*inventorypb.Item, string, error) {
		page, err := d.inventory.ListItems(ctx, &inventorypb.ListItemsRequest{Parent: w.site, PageSize: fullPage, PageToken: token})
		return page.GetItems(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	for _, item := range items {
		h.items[item.GetName()] = item
	}
	h.products, err = all(func(token string) ([]*planningpb.Product, string, error) {
		page, err := d.planning.ListProducts(ctx, &planningpb.ListProductsRequest{Parent: w.site, PageSize: fullPage, PageToken: token})
		return page.GetProducts(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	for _, p := range h.products {
		h.product[p.GetName()] = p
	}
	h.outlets, err = all(func(token string) ([]*planningpb.Outlet, string, error) {
		page, err := d.planning.ListOutlets(ctx, &planningpb.ListOutletsRequest{Parent: w.site, PageSize: fullPage, PageToken: token})
		return page.GetOutlets(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	h.formulas, err = all(func(token string) ([]*planningpb.Formula, string, error) {
		page, err := d.planning.ListFormulas(ctx, &planningpb.ListFormulasRequest{Parent: w.site, PageSize: fullPage, PageToken: token})
		return page.GetFormulas(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	return w.readFloor(ctx, d, h)
}

// readFloor reads vessels, crews and calendars.
func (w *world) readFloor(ctx context.Context, d *desk, h house) error {
	var err error
	h.vesselList, err = all(func(token string) ([]*schedulingpb.Vessel, string, error) {
		page, err := d.scheduling.ListVessels(ctx, &schedulingpb.ListVesselsRequest{Parent: w.site, PageSize: fullPage, PageToken: token})
		return page.GetVessels(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	for _, v := range h.vesselList {
		h.vessels[v.GetName()] = v
		w.vessels[v.GetName()] = &occupancy{shared: v.GetLoadCapacityKg() > 0, capacity: v.GetLoadCapacityKg(), loads: map[string]float64{}}
	}
	h.crews, err = all(func(token string) ([]*schedulingpb.Crew, string, error) {
		page, err := d.scheduling.ListCrews(ctx, &schedulingpb.ListCrewsRequest{Parent: w.site, PageSize: fullPage, PageToken: token})
		return page.GetCrews(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	sort.Slice(h.crews, func(i, j int) bool { return h.crews[i].GetName() < h.crews[j].GetName() })
	calendars, err := all(func(token string) ([]*schedulingpb.Calendar, string, error) {
		page, err := d.scheduling.ListCalendars(ctx, &schedulingpb.ListCalendarsRequest{Parent: w.site, PageSize: fullPage, PageToken: token})
		return page.GetCalendars(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	for _, c := range calendars {
		h.calendars[c.GetName()] = c
	}
	limits, err := d.scheduling.GetKitchenLimits(ctx, &schedulingpb.GetKitchenLimitsRequest{Name: w.site + "/kitchenLimits"})
	if err != nil {
		return err
	}
	h.airCelsius = limits.GetAirTemperatureCelsius()
	if limits.AirTemperatureCelsius == nil {
		h.airCelsius = 22
	}
	w.house = h
	return nil
}

// item is an item by its id, nil when the kitchen does not have it.
func (w *world) item(id string) *inventorypb.Item { return w.house.items[w.site+"/items/"+id] }

// title is how people call an item.
func (w *world) title(item string) string {
	if known := w.house.items[item]; known != nil {
		return known.GetDisplayName()
	}
	return idOf(item)
}

// onShift says whether a crew is there at a moment, and when it comes next. Exceptions of a calendar are left out: the
// demo's calendars have none.
func (w *world) onShift(crew string, at time.Time) (open bool, next time.Time) {
	var calendar *schedulingpb.Calendar
	for _, c := range w.house.crews {
		if c.GetName() == crew {
			calendar = w.house.calendars[c.GetCalendar()]
		}
	}
	if calendar == nil {
		return true, at
	}
	zone, err := time.LoadLocation(calendar.GetTimeZone())
	if err != nil {
		zone = w.zone
	}
	local := at.In(zone)
	for day := -1; day <= 8; day++ {
		base := time.Date(local.Year(), local.Month(), local.Day()+day, 0, 0, 0, 0, zone)
		for _, s := range calendar.GetWeeklyShifts() {
			if int(s.GetWeekday())%7 != int(base.Weekday()) {
				continue
			}
			from, to := clockOn(base, s.GetStartClock()), clockOn(base, s.GetEndClock())
			if !to.After(from) {
				to = to.AddDate(0, 0, 1)
			}
			if !at.Before(from) && at.Before(to) {
				return true, at
			}
			if from.After(at) && (next.IsZero() || from.Before(next)) {
				next = from
			}
		}
	}
	return false, next
}

// anybody says whether some crew is there now, and when the next one comes.
func (w *world) anybody() (open bool, next time.Time) {
	for _, c := range w.house.crews {
		there, from := w.onShift(c.GetName(), w.now)
		if there {
			return true, w.now
		}
		if next.IsZero() || from.Before(next) {
			next = from
		}
	}
	return len(w.house.crews) == 0, next
}

// clockOn is a time of day "HH:MM" on a day.
func clockOn(day time.Time, text string) time.Time {
	var hour, minute int
	_, err := fmt.Sscanf(text, "%d:%d", &hour, &minute)
	if err != nil {
		return day
	}
	return time.Date(day.Year(), day.Month(), day.Day(), hour, minute, 0, 0, day.Location())
}
