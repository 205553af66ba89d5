package microbe

import (
	"fmt"
	"math"

	"rondeau.internal/pkg/units"
)

// RateModel is a published secondary model: the specific growth rate of Clostridium
// perfringens over temperature and, where the source has them, pH and salt.
type RateModel struct {
	// ID is short and stable; Name is for people.
	ID, Name string
	Form     Form
	// Min, Opt and Max temperature for growth; Opt is used by the cardinal form only.
	Min, Opt, Max units.Celsius
	// Peak is the rate at Opt of the cardinal form, 1/h.
	Peak float64
	// Scale and Shape of the square-root form. For the model of Le Marc and others Scale
	// is multiplied by the effects of water activity and pH.
	Scale, Shape float64
	// WaterActivityMin and PHMin of the gamma terms; zero where the model has none.
	WaterActivityMin, PHMin float64
	// Checked is the temperature range in which the source has data.
	Checked [2]units.Celsius
	// H0 is the published work of the lag that belongs to the model; zero when the source
	// gives none.
	H0 float64
	Source
	// Remark that belongs beside every use of the model.
	Remark string
}

const (
	collection = "public predictive-microbiology collection, RakipInitiative/ModelRepository gropin/fullscript/fullScript"
	food2019   = "Growth of Clostridium perfringens in roasted chicken and braised beef during cooling: one-step dynamic analysis and modeling, Food Control, abstract"
	food2019At = "medworm.com/706347504"
	unitRemark = "The collection does not name the unit of the rate; read as log10 per hour, which agrees with generation times of 7 to 9 min at 41 to 46 C (Labbe and Huang 1995); its lag equation divides by the square root of the rate, so the lag work alone is used."
)

var (
	leMarc = RateModel{
		ID: "le-marc", Name: "bulk meat, with pH and salt", Form: SquareRoot,
		Min: 12.20, Max: 54.47, Scale: 7.45, Shape: 0.095, WaterActivityMin: 0.9755, PHMin: 4.76,
		Checked: [2]units.Celsius{15, 52},
		Source:  Source{"Le Marc, Plowman, Aldus, Munoz-Cuevas, Baranyi and Peck 2008, Int J Food Microbiol 128:41", collection + "1317.r and 1318.r", Reproduced},
		Remark:  "The collection names the food, not the paper; the attribution rests on the same food and variables. The lag of the paper was not found.",
	}
	braisedBeef = RateModel{
		ID: "braised-beef", Name: "braised beef", Form: Cardinal, Min: 10.3, Opt: 43.5, Max: 53.4, Peak: 5.64,
		Checked: [2]units.Celsius{10.3, 53.4}, Source: Source{food2019, food2019At, Read},
		Remark: "Cardinal temperatures and rate read in the abstract; the exact secondary form and the lag were not seen.",
	}
	roastedChicken = RateModel{
		ID: "roasted-chicken", Name: "roasted chicken", Form: Cardinal, Min: 8.8, Opt: 46.4, Max: 51.5, Peak: 6.06,
		Checked: [2]units.Celsius{8.8, 51.5}, Source: Source{food2019, food2019At, Read},
		Remark: "Cardinal temperatures and rate read in the abstract; the exact secondary form and the lag were not seen.",
	}
	uncuredBeef = RateModel{
		ID: "uncured-beef", Name: "cooked uncured beef", Form: SquareRoot, Min: 10.15, Max: 53.0,
		Scale: 0.050 * 0.050 * math.Ln10, Shape: 0.238, Checked: [2]units.Celsius{10, 51},
		Source: Source{"model for cooked uncured beef (Juneja and others)", collection + "1157.r and 1160.r", Reproduced},
		Remark: unitRemark + " The lag parameter 0.0699 stands out from the other two and may be a misprint of 0.00699; it is not used.",
	}
	uncuredChicken = RateModel{
		ID: "uncured-chicken", Name: "cooked uncured chicken", Form: SquareRoot, Min: 9.74, Max: 52.1,
		Scale: 0.048 * 0.048 * math.Ln10, Shape: 0.208, H0: 4.5659, Checked: [2]units.Celsius{10, 51},
		Source: Source{"model for cooked uncured chicken (Juneja and others)", collection + "1158.r and 1161.r", Reproduced}, Remark: unitRemark,
	}
	uncuredPork = RateModel{
		ID: "uncured-pork", Name: "cooked uncured pork", Form: SquareRoot, Min: 10.69, Max: 52.8,
		Scale: 0.047 * 0.047 * math.Ln10, Shape: 0.252, H0: 4.3039, Checked: [2]units.Celsius{10, 51},
		Source: Source{"model for cooked uncured pork (Juneja and others)", collection + "1159.r and 1162.r", Reproduced}, Remark: unitRemark,
	}
)

// RateModels returns the published secondary models of this package.
func RateModels() []RateModel {
	return []RateModel{leMarc, braisedBeef, roastedChicken, uncuredBeef, uncuredChicken, uncuredPork}
}

// Check reports a model whose numbers do not give a curve.
func (m RateModel) Check() error {
	for _, v := range []float64{float64(m.Min), float64(m.Max), float64(m.Opt), m.Peak, m.Scale, m.Shape, m.WaterActivityMin, m.PHMin, m.H0} {
		if math.IsNaN(v) || math.Abs(v) > 1e6 {
			return fmt.Errorf("growth model %q has a coefficient of %v: it must be a number within 1e6", m.ID, v)
		}
	}
	switch {
	case m.Min < -30 || m.Max > 120 || m.Max-m.Min < 1:
		return fmt.Errorf("growth model %q has growth from %v to %v: it must be at least 1 C wide and within -30 to 120 C", m.ID, m.Min, m.Max)
	case m.H0 < 0 || m.H0 > 50:
		return fmt.Errorf("growth model %q has a lag work of %g: it must be 0 to 50", m.ID, m.H0)
	case m.Form == SquareRoot && (m.Scale <= 0 || m.Shape < 1e-3 || m.Shape > 10):
		return fmt.Errorf("growth model %q has scale %g and shape %g: scale must be above 0 and shape 0.001 to 10 1/K", m.ID, m.Scale, m.Shape)
	case m.Form == Cardinal && (m.Peak <= 0 || m.Peak > 1000 || m.Opt <= m.Min || m.Opt >= m.Max):
		return fmt.Errorf("growth model %q has a peak of %g 1/h at %v: the peak must be above 0 to 1000 1/h and lie between %v and %v", m.ID, m.Peak, m.Opt, m.Min, m.Max)
	case m.Form != SquareRoot && m.Form != Cardinal:
		return fmt.Errorf("growth model %q has no known form: take square root or cardinal", m.ID)
	case m.WaterActivityMin < 0 || m.WaterActivityMin >= 1 || m.PHMin < 0 || m.PHMin > 9:
		return fmt.Errorf("growth model %q has limits of growth at water activity %g and pH %g: they must be 0 to 1 and 0 to 9", m.ID, m.WaterActivityMin, m.PHMin)
	}
	return nil
}

// Curve returns the rate over temperature in a food, after clamping the food into the
// range of the model on the cautious side; see Product.
func (m RateModel) Curve(p Product) (Curve, error) {
	if err := m.Check(); err != nil {
		return Curve{}, err
	}
	w, err := p.within()
	if err != nil {
		return Curve{}, err
	}
	return m.curve(w)
}

func (m RateModel) curve(w food) (Curve, error) {
	if m.Form == Cardinal {
		return cardinalCurve(float64(m.Min), float64(m.Opt), float64(m.Max), m.Peak)
	}
	scale := m.Scale
	if m.WaterActivityMin > 0 {
		scale *= (w.waterActivity - m.WaterActivityMin) * (2 - w.waterActivity - m.WaterActivityMin)
	}
	if m.PHMin > 0 {
		scale *= w.pH - m.PHMin
	}
	if !(scale > 0) {
		return Curve{}, fmt.Errorf("growth model %q gives no growth at pH %.2f and water activity %.4f", m.ID, w.pH, w.waterActivity)
	}
	return squareRootCurve(scale, float64(m.Min), float64(m.Max), m.Shape), nil
}
