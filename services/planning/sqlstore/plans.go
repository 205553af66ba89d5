package sqlstore

import (
	"context"
	"fmt"
	"strconv"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/planning"
	"rondeau.internal/services/planning/sqlstore/internal/db"
)

var (
	orderStates = []string{string(planning.OrderPlaced), string(planning.OrderConfirmed), string(planning.OrderShipped), string(planning.OrderCancelled)}
	batchStates = []string{
		string(planning.BatchPlanned), string(planning.BatchReleased), string(planning.BatchInProgress), string(planning.BatchDone), string(planning.BatchCancelled),
	}
)

func orders(d *sqldb.DB) *table[planning.Order] {
	return &table[planning.Order]{
		db: d, name: "orders", missing: planning.OrderMissing, meta: func(v *planning.Order) *planning.Meta { return &v.Meta },
		insert: func(ctx context.Context, q *db.Queries, h head, v *planning.Order) error {
			return q.InsertOrder(ctx, db.InsertOrderParams{
				Name: h.name, Uid: h.uid, Version: h.version, CreateUs: h.createUs, UpdateUs: h.updateUs, Site: h.site, Outlet: v.Outlet(),
				DispatchDate: string(v.DispatchDate), State: string(v.State), CutOffUs: sqldb.Micros(v.CutOffTime), OpenCount: openCount(v), Doc: h.doc,
			})
		},
		update: func(ctx context.Context, q *db.Queries, h head, v *planning.Order) (int64, error) {
			return q.UpdateOrder(ctx, db.UpdateOrderParams{
				Name: h.name, Version: h.version, UpdateUs: h.updateUs, DispatchDate: string(v.DispatchDate), State: string(v.State),
				CutOffUs: sqldb.Micros(v.CutOffTime), OpenCount: openCount(v), Doc: h.doc,
			})
		},
		get: func(ctx context.Context, q *db.Queries, name string) (row, error) {
			r, err := q.GetOrder(ctx, name)
			return row(r), err
		},
		list: listing[planning.Order]{
			parent: map[string]string{"outlets": "outlet", "sites": "site"}, order: []string{"dispatch_date", "name"},
			fields: func(q planning.Query) aip.Fields {
				// A placed order is confirmed from its cut-off on; nothing is written at that moment.
				state := fmt.Sprintf("(CASE WHEN state = 'PLACED' AND cut_off_us <= %d THEN 'CONFIRMED' ELSE state END)", sqldb.Micros(q.Now))
				return aip.Fields{"state": stateField(state, orderStates...), "dispatch_date": {Column: "dispatch_date", Type: aip.Date}}
			},
			cursor: func(after []string) ([]any, error) { return []any{after[0], after[1]}, nil },
		},
	}
}

func openCount(o *planning.Order) int64 {
	n := 0
	for i := range o.Lines {
		n += o.Lines[i].Open()
	}
	return int64(n)
}

// timeCursor reads a key of a time column in microseconds and a name.
func timeCursor(after []string) ([]any, error) {
	us, err := strconv.ParseInt(after[0], 10, 64)
	return []any{us, after[1]}, err
}

func plans(d *sqldb.DB) *table[planning.Plan] {
	return &table[planning.Plan]{
		db: d, name: "plans", missing: planning.PlanMissing, meta: func(v *planning.Plan) *planning.Meta { return &v.Meta },
		insert: func(ctx context.Context, q *db.Queries, h head, v *planning.Plan) error {
			return q.InsertPlan(ctx, db.InsertPlanParams{
				Name: h.name, Uid: h.uid, Version: h.version, CreateUs: h.createUs, UpdateUs: h.updateUs, Site: h.site, State: string(v.State),
				StartDate: string(v.Start), EndDate: string(v.End), Doc: h.doc,
			})
		},
		update: func(ctx context.Context, q *db.Queries, h head, v *planning.Plan) (int64, error) {
			return q.UpdatePlan(ctx, db.UpdatePlanParams{Name: h.name, Version: h.version, UpdateUs: h.updateUs, State: string(v.State), Doc: h.doc})
		},
		get: func(ctx context.Context, q *db.Queries, name string) (row, error) {
			r, err := q.GetPlan(ctx, name)
			return row(r), err
		},
		list: listing[planning.Plan]{
			parent: bySite, order: []string{"create_us", "name"}, descend: true, cursor: timeCursor,
			fields: fields(map[string]aip.Type{"start_date": aip.Date, "end_date": aip.Date},
				string(planning.PlanDraft), string(planning.PlanReleased), string(planning.PlanSuperseded)),
		},
	}
}

func batches(d *sqldb.DB) *table[planning.Batch] {
	return &table[planning.Batch]{
		db: d, name: "batches", missing: planning.BatchMissing, meta: func(v *planning.Batch) *planning.Meta { return &v.Meta },
		insert: func(ctx context.Context, q *db.Queries, h head, v *planning.Batch) error {
			return q.InsertBatch(ctx, db.InsertBatchParams{
				Name: h.name, Uid: h.uid, Version: h.version, CreateUs: h.createUs, UpdateUs: h.updateUs, Site: h.site, Plan: v.Plan,
				State: string(v.State), OutputItem: v.OutputItem, Product: v.Product, FormulaVersion: v.FormulaVersion,
				NominalMg: int64(v.Nominal), PlannedMg: int64(v.Planned), DueUs: sqldb.Micros(v.Due), EarliestStartUs: sqldb.Micros(v.EarliestStart), Doc: h.doc,
			})
		},
		update: func(ctx context.Context, q *db.Queries, h head, v *planning.Batch) (int64, error) {
			return q.UpdateBatch(ctx, db.UpdateBatchParams{
				Name: h.name, Version: h.version, UpdateUs: h.updateUs, State: string(v.State),
				DueUs: sqldb.Micros(v.Due), EarliestStartUs: sqldb.Micros(v.EarliestStart), Doc: h.doc,
			})
		},
		get: func(ctx context.Context, q *db.Queries, name string) (row, error) {
			r, err := q.GetBatch(ctx, name)
			return row(r), err
		},
		list: listing[planning.Batch]{
			parent: bySite, order: []string{"due_us", "name"}, cursor: timeCursor,
			fields: func(planning.Query) aip.Fields {
				return aip.Fields{
					"plan": {Column: "plan", Type: aip.String}, "state": stateField("state", batchStates...),
					"output_item": {Column: "output_item", Type: aip.String}, "product": {Column: "product", Type: aip.String},
					"formula_version": {Column: "formula_version", Type: aip.String}, "due_time": {Column: "due_us", Type: aip.Timestamp},
					"earliest_start_time": {Column: "earliest_start_us", Type: aip.Timestamp},
				}
			},
		},
	}
}
