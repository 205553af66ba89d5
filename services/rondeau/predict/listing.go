package predict

import (
	"encoding/json"
	"fmt"
	"io"

	"rondeau.internal/pkg/simmer"
)

// Listing of a library, as a table and as JSON.
type Listing struct {
	Table Table
	// Note below the table.
	Note  string
	items any
}

// JSON writes the listing as an array.
func (l Listing) JSON(w io.Writer) error {
	text, err := json.MarshalIndent(l.items, "", "  ")
	if err != nil {
		return fmt.Errorf("write the list as JSON: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s\n", text)
	return err
}

type vesselItem struct {
	Name              string   `json:"name"`
	Title             string   `json:"title"`
	Kind              Kind     `json:"kind"`
	DiameterCm        *float64 `json:"diameter_cm,omitempty"`
	LengthCm          *float64 `json:"length_cm,omitempty"`
	WidthCm           *float64 `json:"width_cm,omitempty"`
	HeightCm          *float64 `json:"height_cm"`
	BrimLitres        *float64 `json:"brim_litres"`
	FillLitres        *float64 `json:"fill_litres"`
	PowerKW           *float64 `json:"power_kw"`
	EfficiencyPercent *float64 `json:"efficiency_percent,omitempty"`
	Sizes             string   `json:"sizes_from"`
	Heat              string   `json:"heat_from,omitempty"`
}

// ListVessels lists the library of vessels.
func ListVessels() Listing {
	l := Listing{Note: "Inside measures. Every property has a flag: --diameter, --length, --width, --height, --power, --efficiency, --wall-loss,\n--shell-mass. --vessel own takes all of them from the flags. Where each comes from: -o json."}
	l.Table.Header, l.Table.Right = []string{"VESSEL", "WHAT IT IS", "INSIDE", "TO THE BRIM", "USUAL FILL", "HEAT"}, []bool{false, false, false, true, true, true}
	s := &Style{}
	s.settle("metric")
	var items []vesselItem
	for _, v := range Vessels() {
		item := vesselItem{Name: v.Name, Title: v.Title, Kind: v.Kind, HeightCm: rounded(100*float64(v.Height), 1), BrimLitres: rounded(v.Brimful().Litres(), 2), FillLitres: rounded(v.Fill.Litres(), 2), PowerKW: rounded(v.Power.Kilowatts(), 1), Sizes: v.Sizes, Heat: v.Heat}
		inside := ""
		if v.Shape == simmer.Pan {
			item.LengthCm, item.WidthCm = rounded(100*float64(v.Geometry.Length), 1), rounded(100*float64(v.Width), 1)
			inside = fmt.Sprintf("%s x %s x %s cm", trimmed(*item.LengthCm), trimmed(*item.WidthCm), trimmed(*item.HeightCm))
		} else {
			item.DiameterCm = rounded(100*float64(v.Diameter), 1)
			inside = fmt.Sprintf("%s cm across, %s cm high", trimmed(*item.DiameterCm), trimmed(*item.HeightCm))
		}
		heat := ""
		if v.Power > 0 {
			item.EfficiencyPercent = rounded(100*v.Efficiency, 0)
			heat = fmt.Sprintf("%s, %s of it in", s.Power(v.Power), percent(v.Efficiency))
		}
		items = append(items, item)
		l.Table.add(v.Name, v.Title, inside, s.Volume(v.Brimful()), s.Volume(v.Fill), heat)
	}
	l.items = items
	return l
}

type productItem struct {
	Name                 string   `json:"name"`
	Title                string   `json:"title"`
	SolidsPercent        *float64 `json:"solids_percent"`
	WaterPercent         *float64 `json:"water_percent"`
	ProteinPercent       *float64 `json:"protein_percent"`
	FatPercent           *float64 `json:"fat_percent"`
	CarbohydratePercent  *float64 `json:"carbohydrate_percent"`
	AshPercent           *float64 `json:"ash_percent"`
	GelatinPercent       *float64 `json:"gelatin_percent"`
	PH                   *float64 `json:"ph"`
	SaltPercent          *float64 `json:"salt_percent"`
	FreezingPointCelsius *float64 `json:"freezing_point_celsius"`
	GelAtCelsius         *float64 `json:"gel_at_celsius"`
	ConvectionPercent    *float64 `json:"convection_percent"`
	ScorchPercent        *float64 `json:"scorch_solids_percent"`
	From                 string   `json:"from"`
}

// ListProducts lists the library of products.
func ListProducts() Listing {
	l := Listing{Note: "All are invented round compositions; pH, salt, gelatin and the limits are " + practice + ": measure yours. Every property has a\nflag: --brix, --composition, --ph, --salt, --gelatin, --freezing-point, --gel-at, --convection, --scorch-at."}
	l.Table.Header = []string{"PRODUCT", "WHAT IT IS", "SOLIDS", "PROTEIN", "FAT", "GELATIN", "PH", "SALT", "FREEZES AT", "SETS AT", "SCORCHES FROM"}
	l.Table.Right = []bool{false, false, true, true, true, true, true, true, true, true, true}
	s := &Style{}
	s.settle("metric")
	var items []productItem
	for _, p := range Products() {
		items = append(items, productItem{
			Name: p.Name, Title: p.Title, SolidsPercent: rounded(100*p.Solids(), 1), WaterPercent: rounded(100*p.Water, 1), ProteinPercent: rounded(100*p.Protein, 1),
			FatPercent: rounded(100*p.Fat, 1), CarbohydratePercent: rounded(100*p.Carbohydrate, 1), AshPercent: rounded(100*p.Ash, 1),
			GelatinPercent: rounded(100*p.Gelatin, 1), PH: rounded(p.PH, 1), SaltPercent: rounded(p.Salt, 1), FreezingPointCelsius: rounded(float64(p.Freezing), 1),
			GelAtCelsius: rounded(float64(p.GelAt), 0), ConvectionPercent: rounded(100*p.Convection, 0), ScorchPercent: rounded(100*p.Scorch, 0), From: p.Note,
		})
		gel := ""
		if p.GelAt > 0 {
			gel = s.Temperature(p.GelAt)
		}
		l.Table.add(p.Name, p.Title, percent(p.Solids()), percent(p.Protein), percent(p.Fat), percent(p.Gelatin), trimmed(p.PH), percent(p.Salt/100), s.Temperature(p.Freezing), gel, percent(p.Scorch)+" solids")
	}
	l.items = items
	return l
}
