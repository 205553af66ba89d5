package planning_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/services/planning"
)

func TestApprovedVersionsNeverChange(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	formula := site + "/formulas/demi-glace"
	v1 := formula + "/versions/1"
	_, err := k.UpdateFormulaVersion(ctx, v1, "", func(v *planning.FormulaVersion) error { v.BaseOutputKg = 1; return nil })
	if !errors.Is(err, apierr.Reason(planning.FormulaVersionFixed)) {
		t.Errorf("change an approved version: %v", err)
	}
	v2, err := k.ReviseFormula(ctx, formula, nil)
	if err != nil || v2.Name != formula+"/versions/2" || v2.State != planning.FormulaDraft || len(v2.Ingredients) != 3 || v2.Approver != "" {
		t.Fatalf("%+v, %v", v2, err)
	}
	if _, err := k.ReviseFormula(ctx, formula, nil); !errors.Is(err, apierr.Reason(planning.FormulaDraftOpen)) {
		t.Errorf("a second draft: %v", err)
	}
	if _, err := k.UpdateFormulaVersion(ctx, v2.Name, v2.Etag(), func(v *planning.FormulaVersion) error { v.YieldMean = 0.9; return nil }); err != nil {
		t.Fatal(err)
	}
	if _, err := k.ApproveFormulaVersion(ctx, v2.Name, v2.Etag(), "chef"); !errors.Is(err, apierr.Reason(planning.EtagMismatch)) {
		t.Errorf("approve what changed since it was read: %v", err)
	}
	got, err := k.ApproveFormulaVersion(ctx, v2.Name, "", "chef")
	if err != nil || got.State != planning.FormulaApproved || got.Approver != "chef" || !got.ApproveTime.Equal(monday) {
		t.Fatalf("%+v, %v", got, err)
	}
	old, err := k.FormulaVersion(ctx, v1)
	if err != nil || old.State != planning.FormulaOut {
		t.Errorf("the version before is %s, %v", old.State, err)
	}
	f, err := k.Formula(ctx, formula)
	if err != nil || f.Approved != v2.Name || f.State != planning.FormulaApproved {
		t.Errorf("%+v, %v", f, err)
	}
	if f, err = k.RetireFormula(ctx, formula, ""); err != nil || f.State != planning.FormulaOut || f.Approved != "" {
		t.Errorf("%+v, %v", f, err)
	}
	if _, err := k.ReviseFormula(ctx, formula, nil); !errors.Is(err, apierr.Reason(planning.FormulaRetired)) {
		t.Errorf("revise a retired formula: %v", err)
	}
	// A plan does without it and says so.
	k.order("pier", "o1", "2026-03-11", 3)
	plan, _ := k.plan("week", "2026-03-02", "2026-03-16")
	if len(plan.Shortages) != 1 || plan.Shortages[0].RootItem != item("demi-glace") || plan.Shortages[0].Cause != "NO_SOURCE" || len(plan.Notes) != 1 {
		t.Errorf("%+v, %q", plan.Shortages, plan.Notes)
	}
}

func TestOneFormulaMakesAnItemAndNoneFeedsItself(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	must(t)(k.CreateFormula(ctx, site, "quick-demi", &planning.Formula{DisplayName: "Quick demi", OutputItem: item("demi-glace")}, demiGlace()))
	_, err := k.ApproveFormulaVersion(ctx, site+"/formulas/quick-demi/versions/1", "", "chef")
	if !errors.Is(err, apierr.Reason(planning.OutputItemTaken)) || !strings.Contains(err.Error(), "formulas/demi-glace") {
		t.Errorf("two formulas for an item: %v", err)
	}
	v, err := k.ReviseFormula(ctx, site+"/formulas/brown-stock", nil)
	if err != nil {
		t.Fatal(err)
	}
	must(t)(k.UpdateFormulaVersion(ctx, v.Name, "", func(v *planning.FormulaVersion) error {
		v.Ingredients = append(v.Ingredients, planning.Ingredient{Item: item("demi-glace"), MassKg: 1})
		return nil
	}))
	_, err = k.ApproveFormulaVersion(ctx, v.Name, "", "chef")
	if !errors.Is(err, apierr.Reason(planning.FormulaCycle)) || !strings.Contains(err.Error(), "formulas/demi-glace") {
		t.Errorf("stock from demi-glace from stock: %v", err)
	}
}

func TestFaultsOfAFormulaAreAllReported(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	version := demiGlace()
	version.Ingredients[0].Item = item("glace")
	version.Ingredients[1].Step = "nowhere"
	version.Steps[0].PlanningDuration = nil
	version.Steps[1].ID = "reduce"
	version.Steps[2].FixedDuration = hours(1)
	version.Steps[2].MaxWait, version.Steps[2].MinWait = hours(1), 2*time.Hour
	version.MinBatchKg, version.MaxBatchKg = 20, 10
	_, err := k.CreateFormula(t.Context(), site, "glace", &planning.Formula{DisplayName: "Glace", OutputItem: item("glace")}, version)
	var e *apierr.Error
	if !errors.As(err, &e) || e.Reason != planning.FieldInvalid {
		t.Fatalf("got %v", err)
	}
	for _, field := range []string{
		"version.ingredients[0].item", "version.ingredients[1].step_id", "version.ingredients[2].step_id", "version.steps[0].planning_duration",
		"version.steps[1].step_id", "version.steps[2]", "version.steps[2].max_wait_duration", "version.max_batch_kg",
	} {
		found := false
		for _, v := range e.Violations {
			found = found || v.Field == field
		}
		if !found {
			t.Errorf("%s is not reported: %v", field, e.Violations)
		}
	}
	if _, err := k.Formula(t.Context(), site+"/formulas/glace"); !errors.Is(err, apierr.Reason(planning.FormulaMissing)) {
		t.Errorf("a refused formula was saved: %v", err)
	}
}

func TestMastersRefuseWhatCannotBe(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	fails := func(reason string, _ any, err error) {
		t.Helper()
		if !errors.Is(err, apierr.Reason(reason)) {
			t.Errorf("want %s, got %v", reason, err)
		}
	}
	_, err := k.CreateSite(ctx, "moon", &planning.Site{DisplayName: "Moon", TimeZone: "Luna/Tycho"})
	fails(planning.FieldInvalid, nil, err)
	_, err = k.CreateSite(ctx, "quai", &planning.Site{DisplayName: "Again", TimeZone: "Europe/Paris"})
	fails(planning.NameTaken, nil, err)
	_, err = k.CreateOutlet(ctx, "sites/none", "x", &planning.Outlet{DisplayName: "X"})
	fails(planning.SiteMissing, nil, err)
	_, err = k.CreateOutlet(ctx, site, "Upper Case", &planning.Outlet{DisplayName: "X"})
	fails(planning.FieldInvalid, nil, err)
	_, err = k.CreateOutlet(ctx, site, "x", &planning.Outlet{DisplayName: "X", GLN: "4012345678900"})
	fails(planning.FieldInvalid, nil, err)
	// 4012345000009 is the company example of the GS1 General Specifications (from memory), with its check digit.
	_, err = k.CreateOutlet(ctx, site, "x", &planning.Outlet{DisplayName: "X", GLN: "4012345000009"})
	if err != nil {
		t.Errorf("a right GLN: %v", err)
	}
	p, err := k.Product(ctx, product("demi-1kg"))
	if err != nil {
		t.Fatal(err)
	}
	twin := *p
	_, err = k.CreateProduct(ctx, site, "twin", &twin)
	fails(planning.ItemTaken, nil, err)
	par := planning.Par{Product: product("demi-1kg"), Count: 5}
	must(t)(k.CreatePar(ctx, site, "a", &par))
	again := planning.Par{Product: product("demi-1kg"), Count: 6}
	_, err = k.CreatePar(ctx, site, "b", &again)
	fails(planning.ParTaken, nil, err)
	n := 3
	future := planning.Par{Outlet: outlet("pier"), Product: product("demi-1kg"), Count: 5, Counted: &n, CountTime: monday.Add(3 * time.Minute)}
	_, err = k.CreatePar(ctx, site, "c", &future)
	fails(planning.FieldInvalid, nil, err)
	late := planning.Par{Outlet: outlet("pier"), Product: product("demi-1kg"), Count: 5, Counted: &n, CountTime: monday.Add(-48 * time.Hour)}
	must(t)(k.CreatePar(ctx, site, "c", &late))
	if !late.CountTime.Equal(monday.Add(-48 * time.Hour)) {
		t.Errorf("a late entry is dated %s", late.CountTime)
	}
}
