package planning

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
)

// FormulaState is the state of a formula or of one of its versions.
type FormulaState string

// The states of formulas and versions.
const (
	FormulaDraft    FormulaState = "DRAFT"
	FormulaApproved FormulaState = "APPROVED"
	FormulaOut      FormulaState = "RETIRED"
)

// Formula is the way to make an item. What it says stands in its versions.
type Formula struct {
	Meta
	DisplayName string
	OutputItem  string
	State       FormulaState
	Approved    string // name of the version in use; empty until one is approved
	Latest      string // name of the newest version
}

// Ingredient is one line of a formula.
type Ingredient struct {
	Item   string
	MassKg float64
	Step   string // id; empty: the first step
}

// ByProduct comes out beside the main output.
type ByProduct struct {
	Item   string
	MassKg float64
}

// FormulaVersion is one version of a formula.
type FormulaVersion struct {
	Meta
	State        FormulaState
	OutputItem   string
	BaseOutputKg float64
	Ingredients  []Ingredient
	YieldMean    float64 // 0: 1
	YieldSD      float64
	ByProducts   []ByProduct
	Steps        []Step
	MinBatchKg   float64
	MaxBatchKg   float64 // 0: only vessels limit it
	ServiceLevel float64 // 0: that of the plan
	PeriodDays   int
	ChangeNote   string
	Approver     string
	ApproveTime  time.Time
}

func (v *FormulaVersion) check() error {
	var f faults
	site := SiteOf(v.Name)
	if v.BaseOutputKg <= 0 {
		f.add("version.base_output_kg", "is missing: give the mass that the ingredients are written for")
	}
	if len(v.Ingredients) == 0 {
		f.add("version.ingredients", "is empty: give at least one ingredient")
	}
	ids := map[string]bool{"": true}
	for i := range v.Steps {
		ids[v.Steps[i].ID] = true
	}
	item := func(field, name string) {
		switch {
		case SiteOf(name) != site:
			f.add(field, "%s belongs to another site", name)
		case name == v.OutputItem:
			f.add(field, "%s is what the formula makes: it cannot feed itself", name)
		}
	}
	for i, in := range v.Ingredients {
		item(fmt.Sprintf("version.ingredients[%d].item", i), in.Item)
		if !ids[in.Step] {
			f.add(fmt.Sprintf("version.ingredients[%d].step_id", i), "%q is not a step of the formula", in.Step)
		}
	}
	seen := map[string]bool{}
	for i, by := range v.ByProducts {
		at := fmt.Sprintf("version.by_products[%d].item", i)
		item(at, by.Item)
		if seen[by.Item] {
			f.add(at, "%s is listed twice: give it once with the whole mass", by.Item)
		}
		seen[by.Item] = true
	}
	if v.YieldSD > v.yieldMean() {
		f.add("version.yield_standard_deviation_fraction", "is %g, above the mean of %g", v.YieldSD, v.yieldMean())
	}
	if v.MaxBatchKg > 0 && v.MaxBatchKg < v.MinBatchKg {
		f.add("version.max_batch_kg", "is %g, below the least of %g", v.MaxBatchKg, v.MinBatchKg)
	}
	checkSteps(&f, "version.steps", site, v.Steps)
	return f.err("formula version " + v.Name)
}

func (v *FormulaVersion) yieldMean() float64 {
	if v.YieldMean == 0 {
		return 1
	}
	return v.YieldMean
}

func versionName(formula string, number int) string {
	return formula + "/versions/" + strconv.Itoa(number)
}

// CreateFormula adds a formula with its first version, a draft.
func (s *Service) CreateFormula(ctx context.Context, parent, id string, formula *Formula, version *FormulaVersion) (*Formula, error) {
	name, err := childName(parent, "formulas", id, "formula")
	if err != nil {
		return nil, err
	}
	now := s.now()
	formula.Meta = newMeta(name, now)
	formula.State, formula.Approved, formula.Latest = FormulaDraft, "", versionName(name, 1)
	version.Meta = newMeta(formula.Latest, now)
	version.draft(formula)
	var f faults
	f.need("formula.display_name", formula.DisplayName, "the name of the formula")
	f.need("formula.output_item", formula.OutputItem, "the item that it makes")
	if formula.OutputItem != "" && SiteOf(formula.OutputItem) != parent {
		f.add("formula.output_item", "%s belongs to another site", formula.OutputItem)
	}
	if err := f.err("formula " + name); err != nil {
		return nil, err
	}
	if err := version.check(); err != nil {
		return nil, err
	}
	return formula, s.insertUnderSite(ctx, parent, func(ctx context.Context) error {
		if err := s.store.Formulas().Insert(ctx, formula); err != nil {
			return err
		}
		return s.store.FormulaVersions().Insert(ctx, version)
	})
}

// draft clears what only the service may set.
func (v *FormulaVersion) draft(f *Formula) {
	v.State, v.OutputItem, v.Approver, v.ApproveTime = FormulaDraft, f.OutputItem, "", time.Time{}
}

// UpdateFormula changes the display name of a formula.
func (s *Service) UpdateFormula(ctx context.Context, name, etag string, change func(*Formula) error) (*Formula, error) {
	return update(ctx, s, s.store.Formulas(), name, etag, func(formula *Formula) error {
		kept := *formula
		if err := change(formula); err != nil {
			return err
		}
		title := formula.DisplayName
		*formula = kept
		formula.DisplayName = title
		var f faults
		f.need("formula.display_name", title, "the name of the formula")
		return f.err("formula " + name)
	})
}

// ReviseFormula opens a new draft; a nil version copies the latest one.
func (s *Service) ReviseFormula(ctx context.Context, name string, version *FormulaVersion) (*FormulaVersion, error) {
	var out *FormulaVersion
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		formula, err := s.store.Formulas().Get(ctx, name)
		if err != nil {
			return err
		}
		if formula.State == FormulaOut {
			return retiredError(name)
		}
		latest, err := s.store.FormulaVersions().Get(ctx, formula.Latest)
		if err != nil {
			return err
		}
		if latest.State == FormulaDraft {
			return apierr.FailedPrecondition(FormulaDraftOpen, "%s has the draft %s already: change or approve it first", name, latest.Name).
				With("resource", name).With("version", latest.Name)
		}
		number, err := strconv.Atoi(lastID(latest.Name))
		if err != nil {
			return fmt.Errorf("number of version %s: %w", latest.Name, err)
		}
		next := *latest
		if version != nil {
			next = *version
		}
		next.Meta = newMeta(versionName(name, number+1), s.now())
		next.draft(formula)
		if err := next.check(); err != nil {
			return err
		}
		formula.Latest = next.Name
		out = &next
		if err := s.store.FormulaVersions().Insert(ctx, &next); err != nil {
			return err
		}
		return s.save(ctx, formula, func(ctx context.Context) error { return s.store.Formulas().Update(ctx, formula) })
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

func retiredError(name string) error {
	return apierr.FailedPrecondition(FormulaRetired, "%s is retired: create a new formula", name).With("resource", name)
}

// UpdateFormulaVersion changes a draft.
func (s *Service) UpdateFormulaVersion(ctx context.Context, name, etag string, change func(*FormulaVersion) error) (*FormulaVersion, error) {
	return update(ctx, s, s.store.FormulaVersions(), name, etag, func(version *FormulaVersion) error {
		if err := version.mustBeDraft(); err != nil {
			return err
		}
		item := version.OutputItem
		if err := change(version); err != nil {
			return err
		}
		version.draft(&Formula{OutputItem: item})
		return version.check()
	})
}

func (v *FormulaVersion) mustBeDraft() error {
	if v.State == FormulaDraft {
		return nil
	}
	return apierr.FailedPrecondition(FormulaVersionFixed, "%s is %s and never changes: revise the formula to open a new version", v.Name,
		strings.ToLower(string(v.State))).With("resource", v.Name).With("state", strings.ToLower(string(v.State)))
}

// ApproveFormulaVersion puts a draft in use; the version before is retired.
func (s *Service) ApproveFormulaVersion(ctx context.Context, name, etag, actor string) (*FormulaVersion, error) {
	var out *FormulaVersion
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		version, err := s.store.FormulaVersions().Get(ctx, name)
		if err != nil {
			return err
		}
		if err := version.checkEtag(etag); err != nil {
			return err
		}
		if err := version.mustBeDraft(); err != nil {
			return err
		}
		formula, err := s.store.Formulas().Get(ctx, ParentOf(name))
		if err != nil {
			return err
		}
		if formula.State == FormulaOut {
			return retiredError(formula.Name)
		}
		if err := s.checkNetwork(ctx, version); err != nil {
			return err
		}
		if err := s.retireVersion(ctx, formula.Approved); err != nil {
			return err
		}
		version.State, version.Approver, version.ApproveTime = FormulaApproved, actor, s.now()
		if err := s.save(ctx, version, func(ctx context.Context) error { return s.store.FormulaVersions().Update(ctx, version) }); err != nil {
			return err
		}
		formula.State, formula.Approved = FormulaApproved, version.Name
		out = version
		return s.save(ctx, formula, func(ctx context.Context) error { return s.store.Formulas().Update(ctx, formula) })
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

func (s *Service) retireVersion(ctx context.Context, name string) error {
	if name == "" {
		return nil
	}
	old, err := s.store.FormulaVersions().Get(ctx, name)
	if err != nil {
		return err
	}
	old.State = FormulaOut
	return s.save(ctx, old, func(ctx context.Context) error { return s.store.FormulaVersions().Update(ctx, old) })
}

// checkNetwork refuses a version whose item another formula makes already, or that would feed itself through others.
func (s *Service) checkNetwork(ctx context.Context, version *FormulaVersion) error {
	approved, err := s.store.ApprovedVersions(ctx, SiteOf(version.Name))
	if err != nil {
		return err
	}
	makes := map[string]*FormulaVersion{}
	for _, v := range approved {
		if ParentOf(v.Name) == ParentOf(version.Name) {
			continue
		}
		if v.OutputItem == version.OutputItem {
			other := ParentOf(v.Name)
			return apierr.FailedPrecondition(OutputItemTaken, "%s is made by %s already: retire that formula first", version.OutputItem, other).
				With("item", version.OutputItem).With("formula", other)
		}
		makes[v.OutputItem] = v
	}
	var path []string
	seen := map[string]bool{}
	var reaches func(v *FormulaVersion) bool
	reaches = func(v *FormulaVersion) bool {
		for _, in := range v.Ingredients {
			if in.Item == version.OutputItem {
				path = append(path, ParentOf(v.Name))
				return true
			}
			next := makes[in.Item]
			if next == nil || seen[in.Item] {
				continue
			}
			seen[in.Item] = true
			if reaches(next) {
				path = append(path, ParentOf(v.Name))
				return true
			}
		}
		return false
	}
	if !reaches(version) {
		return nil
	}
	slices.Reverse(path)
	circle := strings.Join(path, ", ")
	return apierr.FailedPrecondition(FormulaCycle, "%s would feed itself through %s: take it out of the ingredients of one of them", version.OutputItem, circle).
		With("item", version.OutputItem).With("formulas", circle)
}

// RetireFormula takes a formula and its approved version out of use.
func (s *Service) RetireFormula(ctx context.Context, name, etag string) (*Formula, error) {
	var out *Formula
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		formula, err := s.store.Formulas().Get(ctx, name)
		if err != nil {
			return err
		}
		if err := formula.checkEtag(etag); err != nil {
			return err
		}
		out = formula
		if formula.State == FormulaOut {
			return nil
		}
		if err := s.retireVersion(ctx, formula.Approved); err != nil {
			return err
		}
		formula.State, formula.Approved = FormulaOut, ""
		return s.save(ctx, formula, func(ctx context.Context) error { return s.store.Formulas().Update(ctx, formula) })
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// Formula returns one formula.
func (s *Service) Formula(ctx context.Context, name string) (*Formula, error) {
	return s.store.Formulas().Get(ctx, name)
}

// ListFormulas returns a page of a site's formulas in order of name.
func (s *Service) ListFormulas(ctx context.Context, q Query) ([]*Formula, error) {
	return s.store.Formulas().List(ctx, q)
}

// FormulaVersion returns one version.
func (s *Service) FormulaVersion(ctx context.Context, name string) (*FormulaVersion, error) {
	return s.store.FormulaVersions().Get(ctx, name)
}

// ListFormulaVersions returns a page of versions in order of name.
func (s *Service) ListFormulaVersions(ctx context.Context, q Query) ([]*FormulaVersion, error) {
	return s.store.FormulaVersions().List(ctx, q)
}
