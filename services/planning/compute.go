package planning

import (
	"crypto/sha256"
	"encoding/base32"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/explode"
	"rondeau.internal/pkg/units"
)

// maxBatches bounds a plan; beyond it the sizes or the span are surely wrong.
const maxBatches = 1000

// maxBatchKg bounds one batch: a million kilograms is far beyond any kitchen, and far below what milligrams can count.
const maxBatchKg = 1e6

// compute turns facts into a plan. It reads nothing else and has no side effect.
func compute(f *facts, name string, r PlanRequest) (*Plan, []*Batch, error) {
	plan := &Plan{
		Meta: newMeta(name, f.now), DisplayName: r.DisplayName, Start: r.Start, End: r.End, State: PlanDraft, ServiceLevel: r.ServiceLevel,
	}
	if plan.ServiceLevel == 0 {
		plan.ServiceLevel = f.site.serviceLevel()
	}
	if plan.DisplayName == "" {
		plan.DisplayName = fmt.Sprintf("%s to %s", r.Start, r.End.AddDays(-1))
	}
	if f.base != nil {
		plan.Base, plan.Replaces = f.base.Name, f.replaces
	}
	network, err := buildNetwork(f, plan.ServiceLevel)
	if err != nil {
		return nil, nil, err
	}
	b := newProblem(network, plan)
	if len(b.p.Nodes) == 0 {
		b.note("the kitchen has no active product and no approved formula: there is nothing to plan")
		plan.Notes = b.notes
		return plan, nil, nil
	}
	b.noteStepTimes()
	result, err := explode.Solve(&b.p)
	if err != nil {
		return nil, nil, notComputable(f.site.Name, err)
	}
	if len(result.Batches) > maxBatches {
		return nil, nil, apierr.FailedPrecondition(PlanNotComputable, "the plan of %s would have %d batches, more than %d: plan fewer days or allow larger batches",
			f.site.Name, len(result.Batches), maxBatches).With("site", f.site.Name)
	}
	for i := range result.Batches {
		if kg := result.Batches[i].Nominal * b.origins[result.Batches[i].Node].unitKg; kg > maxBatchKg {
			return nil, nil, apierr.FailedPrecondition(PlanNotComputable, "the plan of %s would need a batch of %g kg of %s: check its formula and the demand",
				f.site.Name, kg, b.origins[result.Batches[i].Node].item).With("site", f.site.Name).With("item", b.origins[result.Batches[i].Node].item)
		}
	}
	a := &answer{problem: b, r: result}
	if err := a.draw(); err != nil {
		return nil, nil, fmt.Errorf("draw up %s: %w", name, err)
	}
	plan.Notes = b.notes
	return plan, a.batches, nil
}

func notComputable(site string, err error) error {
	var p *explode.ProblemError
	if !errors.As(err, &p) {
		return fmt.Errorf("explode the demand of %s: %w", site, err)
	}
	texts := make([]string, len(p.Faults))
	for i, fault := range p.Faults {
		texts[i] = fault.Path + " " + fault.Message
	}
	e := apierr.FailedPrecondition(PlanNotComputable, "the plan of %s cannot be computed: %s", site, strings.Join(texts, "; ")).With("site", site)
	for _, fault := range p.Faults {
		e.Violations = append(e.Violations, apierr.Violation{Field: fault.Path, Description: fault.Message})
	}
	return e
}

// share is a part of a source's quantity and who takes it.
type share struct {
	demand   int // index of demands, or -1
	batch    int // index of Result.Batches, or -1
	day      int
	quantity float64
}

// answer turns the result of an explosion into batches, purchases and shortages.
type answer struct {
	*problem
	r         *explode.Result
	batches   []*Batch
	shares    map[explode.Source][]share
	allergens map[string][]string
}

func (a *answer) draw() error {
	a.traceShares()
	a.allergens = map[string][]string{}
	a.batches = make([]*Batch, len(a.r.Batches))
	for i := range a.r.Batches {
		a.batches[i] = a.newBatch(i)
	}
	for i := range a.r.Purchases {
		if err := a.addPurchase(i); err != nil {
			return err
		}
	}
	for i := range a.r.Batches {
		if err := a.pegBatch(i); err != nil {
			return err
		}
		if err := a.feedBatch(i); err != nil {
			return err
		}
	}
	a.timeBatches()
	a.listShortages()
	a.summarize()
	slices.SortStableFunc(a.batches, func(x, y *Batch) int {
		if c := x.Due.Compare(y.Due); c != 0 {
			return c
		}
		return strings.Compare(x.Name, y.Name)
	})
	slices.SortStableFunc(a.plan.Purchases, func(x, y Purchase) int {
		if c := strings.Compare(string(x.DeliveryDate), string(y.DeliveryDate)); c != 0 {
			return c
		}
		return strings.Compare(x.Item, y.Item)
	})
	return nil
}

// traceShares finds, for every source, the demands and batches that take it.
func (a *answer) traceShares() {
	a.shares = map[explode.Source][]share{}
	seen := map[int]bool{}
	for d := range a.p.Demands {
		bucket := a.r.Bucket(d)
		if seen[bucket] {
			continue
		}
		seen[bucket] = true
		for _, u := range a.r.Detail(bucket) {
			a.shares[u.Source] = append(a.shares[u.Source], share{demand: u.Consumer.Index, batch: -1, day: u.Day, quantity: u.Quantity})
		}
	}
	for i := range a.r.Batches {
		merged := map[explode.Source]int{}
		for _, u := range a.r.BatchInputs(i) {
			if at, ok := merged[u.Source]; ok {
				a.shares[u.Source][at].quantity += u.Quantity
				continue
			}
			merged[u.Source] = len(a.shares[u.Source])
			a.shares[u.Source] = append(a.shares[u.Source], share{demand: -1, batch: i, day: u.Day, quantity: u.Quantity})
		}
	}
}

// milligrams turns a quantity of a node's units into an exact mass.
func (a *answer) milligrams(node int, quantity float64) units.Milligrams {
	return units.Milligrams(math.Round(quantity * a.origins[node].unitKg * 1e6))
}

// counted turns a quantity that later plans count on into a mass, rounded up to the milligram: rounded down, it could fall short of
// the need that it was computed for, and the next plan would make or buy again.
func (a *answer) counted(node int, quantity float64) units.Milligrams {
	return units.Milligrams(math.Ceil(quantity*a.origins[node].unitKg*1e6 - 1e-4))
}

// count returns whole packs for a quantity of a packed node, 0 for others.
func (a *answer) count(node int, quantity float64) int {
	if a.origins[node].product == nil {
		return 0
	}
	return int(math.Round(quantity))
}

// batchName makes a name that tells people what the batch is, and that the same plan always gives again.
func (a *answer) batchName(i int) string {
	b := &a.r.Batches[i]
	o := &a.origins[b.Node]
	what := ""
	if o.version != nil {
		what = lastID(ParentOf(o.version.Name))
	} else {
		what = lastID(o.product.Name)
	}
	sum := sha256.Sum256(fmt.Appendf(nil, "%s#%d", a.plan.Name, i))
	tail := strings.ToLower(base32.StdEncoding.EncodeToString(sum[:5]))
	day := strings.ReplaceAll(string(a.date(b.Start)), "-", "")
	return fmt.Sprintf("%s/batches/%s-%s-%s", a.f.site.Name, slug(what, 40), day, tail)
}

func (a *answer) newBatch(i int) *Batch {
	src := &a.r.Batches[i]
	o := &a.origins[src.Node]
	batch := &Batch{
		Meta: newMeta(a.batchName(i), a.f.now), Plan: a.plan.Name, OutputItem: o.item, State: BatchPlanned,
		Nominal: a.milligrams(src.Node, src.Nominal), Planned: a.counted(src.Node, src.Planned), Expected: a.milligrams(src.Node, src.Expected),
		ReadyDate: a.date(src.Due), Late: src.Due > src.Wanted, Containers: a.count(src.Node, src.Nominal),
	}
	if item := a.f.items[o.item]; item != nil {
		batch.ShelfLife = item.ShelfLife
	}
	if o.version != nil {
		batch.FormulaVersion = o.version.Name
		batch.ServiceLevel = o.version.ServiceLevel
		if batch.ServiceLevel == 0 {
			batch.ServiceLevel = a.plan.ServiceLevel
		}
		batch.DisplayName = fmt.Sprintf("%s, %.4g kg, for %s", a.f.formulas[o.version.Name], float64(batch.Planned.Mass()), batch.ReadyDate)
	} else {
		batch.Product = o.product.Name
		batch.ServiceLevel = a.plan.ServiceLevel
		batch.DisplayName = fmt.Sprintf("%s, %d packs, for %s", o.product.DisplayName, batch.Containers, batch.ReadyDate)
		if o.product.ShelfLife != nil {
			batch.ShelfLife = *o.product.ShelfLife
		}
	}
	for k, by := range a.nodes[src.Node].ByProducts {
		batch.ByProducts = append(batch.ByProducts, BatchByProduct{Item: a.origins[by.Node].item, Mass: a.counted(by.Node, a.r.Quantity(explode.Source{Kind: explode.FromByProduct, Index: i, ByProduct: k}))})
	}
	outputKg := float64(batch.Nominal.Mass())
	batch.Steps = a.scaleSteps(o, outputKg)
	batch.Duration = a.f.times.sum(o.owner(), o.steps(), outputKg)
	return batch
}

// scaleSteps copies the steps and sizes them to the batch.
func (a *answer) scaleSteps(o *origin, outputKg float64) []BatchStep {
	steps := o.steps()
	out := make([]BatchStep, len(steps))
	var present []string
	for k := range steps {
		s := &steps[k]
		if o.version != nil {
			for _, in := range o.version.Ingredients {
				if in.Step == s.ID || (in.Step == "" && k == 0) {
					present = merge(present, a.allergensOf(in.Item))
				}
			}
		} else if k == 0 {
			present = merge(present, a.allergensOf(o.product.SourceItem))
		}
		present = merge(present, s.Allergens)
		out[k] = BatchStep{
			Step: *s, FillLiters: s.FillLitersPerKg * outputKg, LoadKg: s.LoadKgPerKg * outputKg, OutputKg: outputKg,
			Duration: a.f.times.duration(o.owner(), s, outputKg), Allergens: slices.Clone(present),
		}
	}
	return out
}

// allergensOf returns what inventory declares for an item and, for a made one, what goes into it.
func (a *answer) allergensOf(item string) []string {
	if known, ok := a.allergens[item]; ok {
		return known
	}
	a.allergens[item] = nil // formulas that feed each other in a circle are refused, this only guards
	var out []string
	if known := a.f.items[item]; known != nil {
		out = merge(out, known.Allergens)
	}
	if at, ok := a.index[item]; ok {
		o := &a.origins[at]
		if o.version != nil {
			for _, in := range o.version.Ingredients {
				out = merge(out, a.allergensOf(in.Item))
			}
		}
		if o.product != nil {
			out = merge(out, a.allergensOf(o.product.SourceItem))
		}
		for _, s := range o.steps() {
			out = merge(out, s.Allergens)
		}
	}
	a.allergens[item] = out
	return out
}

// merge returns the sorted union of two lists.
func merge(a, b []string) []string {
	out := slices.Concat(a, b)
	slices.Sort(out)
	return slices.Compact(out)
}

func (a *answer) summarize() {
	s := &a.plan.Summary
	s.CoveredContainers = 0
	for _, c := range a.plan.Coverage {
		s.CoveredContainers += c.Count
	}
	s.Batches, s.Purchases, s.Shortages = len(a.batches), len(a.plan.Purchases), len(a.plan.Shortages)
	for _, b := range a.batches {
		s.Nominal += b.Nominal
	}
	for _, p := range a.plan.Purchases {
		s.Purchased += p.Mass
	}
	for _, l := range a.r.Leftovers {
		if l.Expired {
			s.Expiring += a.milligrams(l.Node, l.Quantity)
		}
	}
}

// deliveryMoment returns when goods that are delivered on a day of the problem can be used.
func (a *answer) deliveryMoment(day int) time.Time {
	return Moment(a.date(day), a.f.site.deliveryTime(), a.f.site.Zone())
}
