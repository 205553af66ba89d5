package sqlstore

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/planning"
	"rondeau.internal/services/planning/sqlstore/internal/db"
)

var bySite = map[string]string{"sites": "site"}

// fields declares fields that have the name of their column, and a state with its values when there are any.
func fields(typed map[string]aip.Type, states ...string) func(planning.Query) aip.Fields {
	out := aip.Fields{}
	for name, kind := range typed {
		out[name] = aip.Field{Column: name, Type: kind}
	}
	if len(states) > 0 {
		out["state"] = stateField("state", states...)
	}
	return func(planning.Query) aip.Fields { return out }
}

// stateField declares a state; other values than these are refused.
func stateField(column string, states ...string) aip.Field {
	values := map[string]any{}
	for _, s := range states {
		values[s] = s
	}
	return aip.Field{Column: column, Type: aip.Enum, Values: values}
}

var formulaStates = []string{string(planning.FormulaDraft), string(planning.FormulaApproved), string(planning.FormulaOut)}

func sites(d *sqldb.DB) *table[planning.Site] {
	return &table[planning.Site]{
		db: d, name: "sites", missing: planning.SiteMissing, meta: func(v *planning.Site) *planning.Meta { return &v.Meta },
		insert: func(ctx context.Context, q *db.Queries, h head, v *planning.Site) error {
			return q.InsertSite(ctx, db.InsertSiteParams{
				Name: h.name, Uid: h.uid, Version: h.version, CreateUs: h.createUs, UpdateUs: h.updateUs, DisplayName: v.DisplayName, Doc: h.doc,
			})
		},
		update: func(ctx context.Context, q *db.Queries, h head, v *planning.Site) (int64, error) {
			return q.UpdateSite(ctx, db.UpdateSiteParams{Name: h.name, Version: h.version, UpdateUs: h.updateUs, DisplayName: v.DisplayName, Doc: h.doc})
		},
		get: func(ctx context.Context, q *db.Queries, name string) (row, error) {
			r, err := q.GetSite(ctx, name)
			return row(r), err
		},
		list: listing[planning.Site]{order: []string{"name"}},
	}
}

func outlets(d *sqldb.DB) *table[planning.Outlet] {
	return &table[planning.Outlet]{
		db: d, name: "outlets", missing: planning.OutletMissing, meta: func(v *planning.Outlet) *planning.Meta { return &v.Meta },
		insert: func(ctx context.Context, q *db.Queries, h head, v *planning.Outlet) error {
			return q.InsertOutlet(ctx, db.InsertOutletParams{
				Name: h.name, Uid: h.uid, Version: h.version, CreateUs: h.createUs, UpdateUs: h.updateUs, Site: h.site,
				DisplayName: v.DisplayName, Active: v.Active, Doc: h.doc,
			})
		},
		update: func(ctx context.Context, q *db.Queries, h head, v *planning.Outlet) (int64, error) {
			return q.UpdateOutlet(ctx, db.UpdateOutletParams{
				Name: h.name, Version: h.version, UpdateUs: h.updateUs, DisplayName: v.DisplayName, Active: v.Active, Doc: h.doc,
			})
		},
		get: func(ctx context.Context, q *db.Queries, name string) (row, error) {
			r, err := q.GetOutlet(ctx, name)
			return row(r), err
		},
		list: listing[planning.Outlet]{
			parent: bySite, order: []string{"name"}, fields: fields(map[string]aip.Type{"active": aip.Bool, "display_name": aip.String}),
		},
	}
}

func products(d *sqldb.DB) *table[planning.Product] {
	return &table[planning.Product]{
		db: d, name: "products", missing: planning.ProductMissing, meta: func(v *planning.Product) *planning.Meta { return &v.Meta },
		insert: func(ctx context.Context, q *db.Queries, h head, v *planning.Product) error {
			return q.InsertProduct(ctx, db.InsertProductParams{
				Name: h.name, Uid: h.uid, Version: h.version, CreateUs: h.createUs, UpdateUs: h.updateUs, Site: h.site,
				DisplayName: v.DisplayName, Item: v.Item, SourceItem: v.SourceItem, Active: v.Active, Doc: h.doc,
			})
		},
		update: func(ctx context.Context, q *db.Queries, h head, v *planning.Product) (int64, error) {
			return q.UpdateProduct(ctx, db.UpdateProductParams{
				Name: h.name, Version: h.version, UpdateUs: h.updateUs, DisplayName: v.DisplayName, Item: v.Item, SourceItem: v.SourceItem,
				Active: v.Active, Doc: h.doc,
			})
		},
		get: func(ctx context.Context, q *db.Queries, name string) (row, error) {
			r, err := q.GetProduct(ctx, name)
			return row(r), err
		},
		taken: func(constraint string, v *planning.Product) error {
			if constraint == "products_item_once" || constraint == "products.item" {
				return apierr.New(apierr.KindAlreadyExists, planning.ItemTaken, "another product is sold as %s already: give each product its own item", v.Item).With("item", v.Item)
			}
			return nil
		},
		list: listing[planning.Product]{parent: bySite, order: []string{"name"}, fields: fields(map[string]aip.Type{
			"active": aip.Bool, "item": aip.String, "source_item": aip.String, "display_name": aip.String,
		})},
	}
}

func formulas(d *sqldb.DB) *table[planning.Formula] {
	return &table[planning.Formula]{
		db: d, name: "formulas", missing: planning.FormulaMissing, meta: func(v *planning.Formula) *planning.Meta { return &v.Meta },
		insert: func(ctx context.Context, q *db.Queries, h head, v *planning.Formula) error {
			return q.InsertFormula(ctx, db.InsertFormulaParams{
				Name: h.name, Uid: h.uid, Version: h.version, CreateUs: h.createUs, UpdateUs: h.updateUs, Site: h.site,
				DisplayName: v.DisplayName, State: string(v.State), OutputItem: v.OutputItem, Doc: h.doc,
			})
		},
		update: func(ctx context.Context, q *db.Queries, h head, v *planning.Formula) (int64, error) {
			return q.UpdateFormula(ctx, db.UpdateFormulaParams{
				Name: h.name, Version: h.version, UpdateUs: h.updateUs, DisplayName: v.DisplayName, State: string(v.State), Doc: h.doc,
			})
		},
		get: func(ctx context.Context, q *db.Queries, name string) (row, error) {
			r, err := q.GetFormula(ctx, name)
			return row(r), err
		},
		taken: func(constraint string, v *planning.Formula) error {
			if constraint == "formulas_one_approved" || constraint == "formulas.output_item" {
				return apierr.FailedPrecondition(planning.OutputItemTaken, "%s is made by another approved formula: retire that one first", v.OutputItem).With("item", v.OutputItem)
			}
			return nil
		},
		list: listing[planning.Formula]{parent: bySite, order: []string{"name"}, fields: fields(map[string]aip.Type{
			"output_item": aip.String, "display_name": aip.String,
		}, formulaStates...)},
	}
}

func versions(d *sqldb.DB) *table[planning.FormulaVersion] {
	return &table[planning.FormulaVersion]{
		db: d, name: "formula_versions", missing: planning.FormulaVersionMissing,
		meta: func(v *planning.FormulaVersion) *planning.Meta { return &v.Meta },
		insert: func(ctx context.Context, q *db.Queries, h head, v *planning.FormulaVersion) error {
			number, err := strconv.ParseInt(h.name[strings.LastIndexByte(h.name, '/')+1:], 10, 64)
			if err != nil {
				return fmt.Errorf("number of %s: %w", h.name, err)
			}
			return q.InsertFormulaVersion(ctx, db.InsertFormulaVersionParams{
				Name: h.name, Uid: h.uid, Version: h.version, CreateUs: h.createUs, UpdateUs: h.updateUs, Site: h.site,
				Formula: planning.ParentOf(h.name), Number: number, State: string(v.State), Doc: h.doc,
			})
		},
		update: func(ctx context.Context, q *db.Queries, h head, v *planning.FormulaVersion) (int64, error) {
			return q.UpdateFormulaVersion(ctx, db.UpdateFormulaVersionParams{
				Name: h.name, Version: h.version, UpdateUs: h.updateUs, State: string(v.State), Doc: h.doc,
			})
		},
		get: func(ctx context.Context, q *db.Queries, name string) (row, error) {
			r, err := q.GetFormulaVersion(ctx, name)
			return row(r), err
		},
		list: listing[planning.FormulaVersion]{
			parent: map[string]string{"formulas": "formula", "sites": "site"}, order: []string{"formula", "number"},
			fields: fields(nil, formulaStates...),
			cursor: func(after []string) ([]any, error) {
				number, err := strconv.ParseInt(after[1], 10, 64)
				return []any{after[0], number}, err
			},
		},
	}
}

func pars(d *sqldb.DB) *table[planning.Par] {
	return &table[planning.Par]{
		db: d, name: "pars", missing: planning.ParMissing, meta: func(v *planning.Par) *planning.Meta { return &v.Meta },
		insert: func(ctx context.Context, q *db.Queries, h head, v *planning.Par) error {
			return q.InsertPar(ctx, db.InsertParParams{
				Name: h.name, Uid: h.uid, Version: h.version, CreateUs: h.createUs, UpdateUs: h.updateUs, Site: h.site,
				Outlet: v.Outlet, Product: v.Product, Doc: h.doc,
			})
		},
		update: func(ctx context.Context, q *db.Queries, h head, _ *planning.Par) (int64, error) {
			return q.UpdatePar(ctx, db.UpdateParParams{Name: h.name, Version: h.version, UpdateUs: h.updateUs, Doc: h.doc})
		},
		get: func(ctx context.Context, q *db.Queries, name string) (row, error) {
			r, err := q.GetPar(ctx, name)
			return row(r), err
		},
		taken: func(constraint string, v *planning.Par) error {
			if constraint == "pars_once" || strings.Contains(constraint, "pars.outlet") {
				holder := v.Outlet
				if holder == "" {
					holder = "the kitchen"
				}
				return apierr.New(apierr.KindAlreadyExists, planning.ParTaken, "%s has a par for %s already: change that one", holder, v.Product).
					With("holder", holder).With("product", v.Product)
			}
			return nil
		},
		list: listing[planning.Par]{
			parent: bySite, order: []string{"name"}, fields: fields(map[string]aip.Type{"outlet": aip.String, "product": aip.String}),
		},
	}
}
