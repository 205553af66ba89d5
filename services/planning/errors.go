package planning

import (
	"fmt"
	"strings"

	"rondeau.internal/pkg/apierr"
)

// Reasons of errors; the same names as in the enum ErrorReason of the API.
const (
	SiteMissing           = "SITE_MISSING"
	OutletMissing         = "OUTLET_MISSING"
	ProductMissing        = "PRODUCT_MISSING"
	FormulaMissing        = "FORMULA_MISSING"
	FormulaVersionMissing = "FORMULA_VERSION_MISSING"
	ParMissing            = "PAR_MISSING"
	OrderMissing          = "ORDER_MISSING"
	PlanMissing           = "PLAN_MISSING"
	BatchMissing          = "BATCH_MISSING"
	NameTaken             = "NAME_TAKEN"
	FieldInvalid          = "FIELD_INVALID"
	SiteMismatch          = "SITE_MISMATCH"
	ItemTaken             = "ITEM_TAKEN"
	OutputItemTaken       = "OUTPUT_ITEM_TAKEN"
	FormulaCycle          = "FORMULA_CYCLE"
	FormulaVersionFixed   = "FORMULA_VERSION_FIXED"
	FormulaDraftOpen      = "FORMULA_DRAFT_OPEN"
	FormulaRetired        = "FORMULA_RETIRED"
	OutletInactive        = "OUTLET_INACTIVE"
	ProductInactive       = "PRODUCT_INACTIVE"
	OrderAfterCutOff      = "ORDER_AFTER_CUT_OFF"
	NotADispatchDay       = "NOT_A_DISPATCH_DAY"
	OrderClosed           = "ORDER_CLOSED"
	OrderPartlyShipped    = "ORDER_PARTLY_SHIPPED"
	PlanStartsInPast      = "PLAN_STARTS_IN_PAST"
	PlanNotDraft          = "PLAN_NOT_DRAFT"
	PlanOutdated          = "PLAN_OUTDATED"
	NoVesselFits          = "NO_VESSEL_FITS"
	ItemMissing           = "ITEM_MISSING"
	PlanNotComputable     = "PLAN_NOT_COMPUTABLE"
	BatchNotCancellable   = "BATCH_NOT_CANCELLABLE"
	EtagMismatch          = "ETAG_MISMATCH"
	InventoryUnavailable  = "INVENTORY_UNAVAILABLE"
	SchedulingUnavailable = "SCHEDULING_UNAVAILABLE"
	ParTaken              = "PAR_TAKEN"
	FormulaEmpty          = "FORMULA_EMPTY"
)

// Reasons lists every reason that this package gives.
func Reasons() []string {
	return []string{
		SiteMissing, OutletMissing, ProductMissing, FormulaMissing, FormulaVersionMissing, ParMissing, OrderMissing, PlanMissing,
		BatchMissing, NameTaken, FieldInvalid, SiteMismatch, ItemTaken, OutputItemTaken, FormulaCycle, FormulaVersionFixed,
		FormulaDraftOpen, FormulaRetired, OutletInactive, ProductInactive, OrderAfterCutOff, NotADispatchDay, OrderClosed,
		OrderPartlyShipped, PlanStartsInPast, PlanNotDraft, PlanOutdated, NoVesselFits, ItemMissing, PlanNotComputable,
		BatchNotCancellable, EtagMismatch, InventoryUnavailable, SchedulingUnavailable, ParTaken, FormulaEmpty,
	}
}

// faults gathers everything wrong with one resource, so that a person corrects it in one go.
type faults struct{ list []apierr.Violation }

func (f *faults) add(field, format string, args ...any) {
	f.list = append(f.list, apierr.Violation{Field: field, Description: fmt.Sprintf(format, args...)})
}

func (f *faults) need(field, value, what string) {
	if strings.TrimSpace(value) == "" {
		f.add(field, "is empty: give %s", what)
	}
}

// err returns nil when nothing is wrong.
func (f *faults) err(what string) error {
	if len(f.list) == 0 {
		return nil
	}
	texts := make([]string, len(f.list))
	for i, v := range f.list {
		texts[i] = v.Field + " " + v.Description
	}
	e := apierr.InvalidArgument(FieldInvalid, "%s: %s", what, strings.Join(texts, "; ")).With("resource", what)
	e.Violations = f.list
	return e
}
