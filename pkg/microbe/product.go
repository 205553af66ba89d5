package microbe

import (
	"fmt"
	"math"
)

// Category chooses the likely model of a food.
type Category uint8

// The categories with a likely model of their own.
const (
	// Stock, sauce or soup, and whatever is not named below.
	Stock Category = iota
	// Beef or veal, cooked, uncured.
	Beef
	// Pork, cooked, uncured.
	Pork
	// Poultry, cooked, uncured.
	Poultry
)

// String returns the English word.
func (c Category) String() string {
	switch c {
	case Stock:
		return "stock"
	case Beef:
		return "beef"
	case Pork:
		return "pork"
	case Poultry:
		return "poultry"
	default:
		return "unknown category"
	}
}

// Product is the food as far as it matters to growth. The zero value is a stock of
// unknown pH and salt, taken as the food in which the model grows most.
type Product struct {
	Category Category
	// PH of the food; 0 means unknown. Range of the model 5.0 to 6.25. Above, the rate at
	// 6.25 is used, the fastest the model knows; below, that at 5.0, which is cautious.
	PH float64
	// SaltPercent is sodium chloride in the water of the food, g per 100 mL; a negative
	// value means unknown and counts as 0. Range of the model 0.5 to 4. Below, the model
	// is extended to 0, where it grows 1.2 % faster; above, 4 is used, which is cautious.
	SaltPercent float64
	// WaterActivity, when measured, replaces SaltPercent; 0 means not measured. Range of the
	// model 0.977 to 1; below, 0.977 is used, which is cautious.
	WaterActivity float64
	// Cured with nitrite, or with another antimicrobial: the models know none and give no
	// credit; the result says so.
	Cured bool
}

// Limits of the model of Le Marc and others, as in its record.
const (
	pHLow, pHHigh     = 5.0, 6.25
	saltLow, saltHigh = 0.5, 4.0
)

// food is a product inside the range of the models.
type food struct {
	pH, waterActivity float64
	notes             []string
}

// WaterActivity returns the water activity of a solution of sodium chloride, in g per
// 100 mL, by the relation in the record of Le Marc and others (range 0.5 to 4):
// 1 - s·(5.2471 + 0.12206·s)/1000. NaN for what is not 0 to 30.
func WaterActivity(saltPercent float64) float64 {
	if !(saltPercent >= 0 && saltPercent <= 30) {
		return math.NaN()
	}
	return 1 - saltPercent*(5.2471+0.12206*saltPercent)/1000
}

// Check reports values that no food has.
func (p Product) Check() error {
	switch {
	case p.Category > Poultry:
		return fmt.Errorf("food category %d is unknown: take stock, beef, pork or poultry", p.Category)
	case math.IsNaN(p.PH) || p.PH < 0 || p.PH > 14:
		return fmt.Errorf("pH %v is outside 0 to 14: measure it, or leave it 0 for unknown", p.PH)
	case math.IsNaN(p.SaltPercent) || p.SaltPercent > 30 || math.IsInf(p.SaltPercent, 0):
		return fmt.Errorf("salt %v %% is outside 0 to 30: give g of sodium chloride in 100 mL of water, or a negative value for unknown", p.SaltPercent)
	case math.IsNaN(p.WaterActivity) || p.WaterActivity < 0 || p.WaterActivity > 1:
		return fmt.Errorf("water activity %v is outside 0 to 1: measure it, or leave it 0 for not measured", p.WaterActivity)
	}
	return nil
}

// within moves a product into the range of the model, never to slower growth.
func (p Product) within() (food, error) {
	if err := p.Check(); err != nil {
		return food{}, err
	}
	w := food{pH: p.PH}
	switch {
	case p.PH == 0:
		w.pH = pHHigh
		w.notes = append(w.notes, fmt.Sprintf("pH is not known: taken as %.2f, where the model grows most", pHHigh))
	case p.PH > pHHigh:
		w.pH = pHHigh
		if p.PH > 7.5 {
			w.notes = append(w.notes, fmt.Sprintf("pH %.2f is above the range of the model: taken as %.2f, where the model grows most", p.PH, pHHigh))
		}
	case p.PH < pHLow:
		w.pH = pHLow
		w.notes = append(w.notes, fmt.Sprintf("pH %.2f is below the range of the model: taken as %.2f, which grows more", p.PH, pHLow))
	}
	salt := max(p.SaltPercent, 0)
	dry := WaterActivity(saltHigh)
	switch {
	case p.WaterActivity > 0:
		w.waterActivity = max(p.WaterActivity, dry)
		if p.WaterActivity < dry {
			w.notes = append(w.notes, fmt.Sprintf("water activity %.4f is below the range of the model: taken as %.4f, which grows more", p.WaterActivity, dry))
		}
	case salt > saltHigh:
		w.waterActivity = dry
		w.notes = append(w.notes, fmt.Sprintf("salt of %.2f %% is above the range of the model: taken as %.1f %%, which grows more", salt, saltHigh))
	default:
		w.waterActivity = WaterActivity(salt)
		if salt < saltLow {
			w.notes = append(w.notes, fmt.Sprintf("salt of %.2f %% is below the range of the model (%.1f %%): the model is extended, which grows more", salt, saltLow))
		}
	}
	return w, nil
}

// Set is a primary model with its parameters for one category: the likely growth.
type Set struct {
	Category Category
	Rate     RateModel
	// H0 is the work of the lag (dimensionless).
	H0 float64
	// Ceiling is the most the food carries, log10 per gram.
	Ceiling float64
	// LagSource and CeilingSource of the two numbers above.
	LagSource, CeilingSource Source
}

// The cautious values of the upper estimate.
const (
	// CautiousH0 is below every published lag but one doubtful (see the remark of the
	// uncured-beef model); chosen.
	CautiousH0 = 3.5
	// RateVariation is the coefficient of variation of the rate between coolings at
	// the same temperature, about 19 % (Juneja and Marks 2002, Food Microbiol 19:313,
	// cooked cured chicken, abstract read at zhixidata.com/details/1/898782018).
	RateVariation = 0.19
	// oneSided95 is the normal quantile of a one-sided 95 %.
	oneSided95 = 1.645
	// cautiousCeiling is above every final count seen but one (Velugoti and others 2020, 21 h).
	cautiousCeiling = 9.0
)

// SetFor returns the parameters of the likely growth in a category.
func SetFor(c Category) Set {
	switch c {
	case Beef:
		return Set{Beef, leMarc, calibratedH0, 7.56, calibrated, Source{
			"final count after 21 h, ground beef: Juneja, Thippareddi, Bari and others 2006, J Food Sci 71(6), abstract", "digitalcommons.unl.edu/foodsciefacpub/38", Read,
		}}
	case Pork:
		return Set{Pork, leMarc, calibratedH0, 8.55, calibrated, Source{
			"2.25 (middle of 2.0 to 2.5) plus the increase of 6.30 after 21 h, injected pork without lactate, abstract", "discovery.researcher.life/topic/spores-of-clostridium-perfringens/10645711?page=5", Calibrated,
		}}
	case Poultry:
		return Set{Poultry, uncuredChicken, uncuredChicken.H0, 8.19, uncuredChicken.Source, Source{
			"final count after 21 h, turkey roast: Valenzuela-Martinez and others 2010, J Food Prot 73:470, abstract", "PMID 20202331", Read,
		}}
	default:
		return Set{
			Stock, leMarc, 4.4, 8.0,
			Source{"between the lag work of cooked chicken (4.57) and pork (4.30)", collection + "1161.r and 1162.r", Reproduced},
			Source{"between the final counts of beef (7.56) and turkey (8.19)", "", Chosen},
		}
	}
}

// calibratedH0 is the lag work with which Le Marc's rate fits the increases after 6.5, 9
// and 12 h in both series of uncured pork best (least squares); a test repeats the fit.
const calibratedH0 = 5.06

var calibrated = Source{
	"fitted to the increases after 6.5, 9 and 12 h of cooling in uncured pork of Velugoti and others 2020, LWT 109074, and in injected pork without lactate", "abstracts", Calibrated,
}
