package predict

import (
	"fmt"
	"strings"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// Product of the library.
type Product struct {
	Name, Title string
	thermo.Composition
	// PH and Salt (percent sodium chloride by weight of water phase, about) before reduction.
	PH, Salt float64
	// Gelatin is a mass fraction of the whole; it is part of the protein.
	Gelatin float64
	// Freezing is the initial freezing point.
	Freezing units.Celsius
	// Convection is the share, 0 to 1, of the convection of thin stock that is left: 1 thin, 0 thick or gelled.
	Convection float64
	// GelAt is the temperature below which it no longer convects.
	GelAt units.Celsius
	// Scorch is the solids fraction above which the bottom can scorch.
	Scorch float64
	Note   string
}

const inventedRecipe = "an invented round composition"

var products = []Product{
	{
		Name: "thin-stock", Title: "thin stock", Composition: of(3, 2, 0.3, 0.2, 0.5), PH: 6.3, Salt: 0.2, Gelatin: 0.008,
		Freezing: -0.4, Convection: 1, GelAt: 0, Scorch: 0.25, Note: inventedRecipe,
	},
	{
		Name: "brown-stock", Title: "gelled brown stock", Composition: of(6, 4.4, 0.4, 0.5, 0.7), PH: 6.2, Salt: 0.2, Gelatin: 0.03,
		Freezing: -0.6, Convection: 0.5, GelAt: 15, Scorch: 0.25, Note: inventedRecipe,
	},
	{
		Name: "demi-glace", Title: "demi-glace", Composition: of(20, 12, 2, 4.5, 1.5), PH: 6.0, Salt: 0.8, Gelatin: 0.07,
		Freezing: -1.2, Convection: 0.1, GelAt: 22, Scorch: 0.25, Note: inventedRecipe,
	},
	{
		Name: "glace", Title: "glace", Composition: of(50, 38, 1.5, 7, 3.5), PH: 5.9, Salt: 2, Gelatin: 0.25,
		Freezing: -4, Convection: 0, GelAt: 28, Scorch: 0.25, Note: inventedRecipe,
	},
	{
		Name: "veloute", Title: "velouté", Composition: of(14, 2.5, 5, 5.5, 1), PH: 6.2, Salt: 0.8, Gelatin: 0.01,
		Freezing: -0.8, Convection: 0.1, GelAt: 30, Scorch: 0.14, Note: inventedRecipe + "; thickened sauces scorch early",
	},
	{
		Name: "tomato-sauce", Title: "tomato sauce", Composition: of(12, 1.8, 2, 7, 1.2), PH: 4.3, Salt: 0.8,
		Freezing: -1.0, Convection: 0.1, GelAt: 0, Scorch: 0.15, Note: inventedRecipe + "; thick sauces scorch early",
	},
	{
		Name: "fish-fumet", Title: "fish fumet", Composition: of(3.5, 2.5, 0.2, 0.3, 0.5), PH: 6.5, Salt: 0.3, Gelatin: 0.012,
		Freezing: -0.4, Convection: 0.8, GelAt: 10, Scorch: 0.25, Note: inventedRecipe,
	},
}

// of makes a composition of percentages: solids in all, then protein, fat, carbohydrate and ash, which add up to them.
func of(solids, protein, fat, carbohydrate, ash float64) thermo.Composition {
	return thermo.Composition{Water: 1 - solids/100, Protein: protein / 100, Fat: fat / 100, Carbohydrate: carbohydrate / 100, Ash: ash / 100}
}

// Products lists the library in its order. The caller owns the slice.
func Products() []Product { return append([]Product(nil), products...) }

func productNames() []string {
	names := make([]string, len(products))
	for i := range products {
		names[i] = products[i].Name
	}
	return names
}

// ProductChoice is what a person says about the product, as texts of flags.
type ProductChoice struct {
	Product                       string
	Brix, Composition, PH, Salt   string
	Gelatin, FreezingPoint, GelAt string
	Convection, ScorchAt          string
}

// product reads the choice; otherwise is the name taken when none is given.
func (r *reader) product(c ProductChoice, otherwise string) Product {
	name := r.choice("--product", c.Product, otherwise, productNames()...)
	var p Product
	for _, one := range products {
		if one.Name == name {
			p = one
		}
	}
	if c.Composition != "" {
		r.composition(c.Composition, &p)
	}
	if solids, given := r.share("--brix", c.Brix, 0, simmer.MaxSolids, "solids", "4Brix or 4%"); given {
		if c.Composition != "" {
			r.fault("--brix", c.Brix, "give --brix or --composition, not both")
		}
		p.thicken(solids)
	}
	p.PH, _ = r.number("--ph", c.PH, 3, 9, p.PH, "a pH", "6.2")
	if salt, given := r.share("--salt", c.Salt, 0, 0.2, "salt by weight of the water in it", "0.5%"); given {
		p.Salt = 100 * salt
	}
	if gelatin, given := r.share("--gelatin", c.Gelatin, 0, 0.4, "gelatin by weight", "3%"); given {
		p.Gelatin = gelatin
	}
	if t, given := r.quantity("--freezing-point", c.FreezingPoint, bound{low: -5, high: -0.05, from: "-5 C", to: "-0.05 C", kind: "a freezing point", suchAs: "-0.6C", dimension: units.DimensionTemperature}); given {
		p.Freezing = units.Celsius(t)
	}
	if t, given := r.quantity("--gel-at", c.GelAt, bound{low: 0, high: 45, from: "0 C", to: "45 C", kind: "the temperature at which it sets", suchAs: "15C", dimension: units.DimensionTemperature}); given {
		p.GelAt = units.Celsius(t)
	}
	if s, given := r.share("--convection", c.Convection, 0, 1, "the share of a thin stock's convection that is left", "0% for a set stock, 100% for a thin one"); given {
		p.Convection = s
	}
	if s, given := r.share("--scorch-at", c.ScorchAt, 0.05, simmer.MaxSolids, "the solids at which the bottom can scorch", "25%"); given {
		p.Scorch = s
	}
	if c.Product == "" {
		r.assume("product", fmt.Sprintf("%s, %s solids", p.Title, percent(p.Solids())), "--product, --brix; "+p.Note)
	} else if c.Brix == "" && c.Composition == "" {
		r.assume("composition", fmt.Sprintf("%s solids", percent(p.Solids())), "--brix, --composition; "+p.Note)
	}
	return p
}

// thicken sets the solids and scales what is dissolved with them.
func (p *Product) thicken(solids float64) {
	before := p.Solids()
	if before <= 0 {
		return
	}
	f := solids / before
	c := &p.Composition
	c.Water, c.Protein, c.Fat, c.Carbohydrate, c.Fibre, c.Ash = 1-solids, c.Protein*f, c.Fat*f, c.Carbohydrate*f, c.Fibre*f, c.Ash*f
	p.Gelatin *= f
	if solids < 0.95 {
		p.Salt *= f * (1 - before) / (1 - solids)
	}
}

// composition reads water=90,protein=6,fat=1,carbohydrate=1,fibre=0,ash=2 in percent.
func (r *reader) composition(text string, p *Product) {
	const shape = "give percentages that add up to 100, such as water=90,protein=6,fat=1,carbohydrate=1,ash=2"
	var c thermo.Composition
	parts := map[string]*float64{"water": &c.Water, "protein": &c.Protein, "fat": &c.Fat, "carbohydrate": &c.Carbohydrate, "fibre": &c.Fibre, "fiber": &c.Fibre, "ash": &c.Ash}
	for _, word := range strings.Split(text, ",") {
		name, number, found := strings.Cut(strings.TrimSpace(word), "=")
		part := parts[strings.TrimSpace(name)]
		v, ok := percentage(strings.TrimSuffix(strings.TrimSpace(number), "%") + "%")
		if !found || part == nil || !ok {
			r.fault("--composition", text, "%q is not understood; %s", word, shape)
			return
		}
		*part = v
	}
	if err := c.Check(); err != nil {
		r.fault("--composition", text, "%v; %s", err, shape)
		return
	}
	if c.Solids() > simmer.MaxSolids {
		r.fault("--composition", text, "has %s solids, at most %s; %s", percent(c.Solids()), percent(simmer.MaxSolids), shape)
		return
	}
	p.Composition = c
}
