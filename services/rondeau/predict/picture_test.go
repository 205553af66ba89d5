package predict

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"strings"
	"sync"
	"testing"
)

var pictured = sync.OnceValue(picturedOnce)

// picturedOnce are questions whose pictures have much to say.
func picturedOnce() map[string]*Answer {
	out := map[string]*Answer{}
	keep := func(name string, a *Answer, err error) {
		if err != nil {
			panic(fmt.Sprint(name, err))
		}
		out[name] = a
	}
	a, err := Reduce(ReduceQuestion{VesselChoice: VesselChoice{Vessel: "kettle-100"}, ProductChoice: ProductChoice{Product: "brown-stock"}, Volume: "80L", To: "30Brix", Heat: "boil", Bones: "15kg", Start: "15C"})
	keep("reduce", a, err)
	a, err = Reduce(ReduceQuestion{VesselChoice: VesselChoice{Vessel: "household"}, Volume: "1gal", To: "1/5", Seen: []string{"1h=3.4L", "2h=2.9L"}})
	keep("reduce with looks", a, err)
	a, err = Chill(ChillQuestion{Means: "blast", Depth: "50mm"})
	keep("chill that meets", a, err)
	a, err = Chill(ChillQuestion{Means: "walk-in", ProductChoice: ProductChoice{Product: "thin-stock"}, Profile: "fsanz", Start: "190F"})
	keep("chill that misses", a, err)
	a, err = Chill(ChillQuestion{Means: "ice-bath", Profile: "fsis"})
	keep("chill in ice", a, err)
	a, err = Freeze(FreezeQuestion{ProductChoice: ProductChoice{Product: "demi-glace"}})
	keep("freeze", a, err)
	a, err = Thaw(ThawQuestion{Means: "water"})
	keep("thaw", a, err)
	a, err = Growth(GrowthQuestion{Schedule: "57C@0,21C@2h,5C@6h"})
	keep("growth", a, err)
	a, err = Heat(HeatQuestion{})
	keep("heat", a, err)
	return out
}

// words of each picture that must stand in it as text.
var pictureWords = map[string][]string{
	"reduce":            {"likely", "early", "late", "wanted: 30 Brix", "can scorch from here: 25 % solids", "time (minutes)|time (hours)", "left in the vessel, hot (L)"},
	"reduce with looks": {"seen", "wanted:", "hot (gal)", "time (hours)"},
	"chill that meets":  {"limit 21.1 °C (70 °F)", "limit 5 °C (41 °F)", "clock starts at 57.2 °C (135 °F)", "met", "growth (log10)", "limit 1 log10", "cautious", "core temperature (°C)", "HACCP plan"},
	"chill that misses": {"limit 69.8 °F (21 °C)", "missed", "core temperature (°F)"},
	"chill in ice":      {"limit 26.7 °C (80 °F)", "range, early to late"},
	"freeze":            {"wanted in the core: -18 °C", "begins to freeze", "surface", "temperature (°C)"},
	"thaw":              {"thawed:", "cold limit 5 °C", "surface"},
	"growth":            {"grows below", "grows above", "limit 1 log10", "food (°C)"},
	"heat":              {"wanted: 95 °C", "temperature (°C)"},
}

func TestPicturesSayTheirLimitsInWords(t *testing.T) {
	t.Parallel()
	for name, a := range pictured() {
		svg, err := a.Drawn("svg")
		if err != nil {
			t.Fatal(name, err)
		}
		var said strings.Builder
		d := xml.NewDecoder(bytes.NewReader(svg))
		paths, inText := 0, false
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s is not XML: %v", name, err)
			}
			switch one := token.(type) {
			case xml.CharData:
				if inText {
					said.Write(one)
					said.WriteByte('\n')
				}
			case xml.EndElement:
				inText = false
			case xml.StartElement:
				inText = one.Name.Local == "text"
				if one.Name.Local == "path" {
					paths++
				}
			}
		}
		if !bytes.Contains(svg, []byte("sans-serif")) || !bytes.Contains(svg, []byte("<title>"+a.Picture.Title)) || !bytes.Contains(svg, []byte("<desc>")) {
			t.Errorf("%s has no fallback of its font, or no title and description", name)
		}
		if paths < 20 {
			t.Errorf("%s has %d paths", name, paths)
		}
		for _, want := range pictureWords[name] {
			found := false
			for _, one := range strings.Split(want, "|") {
				found = found || strings.Contains(said.String(), one)
			}
			if !found {
				t.Errorf("%s does not say %q:\n%s", name, want, said.String())
			}
		}
		if strings.Contains(said.String(), "NaN") {
			t.Errorf("%s says NaN", name)
		}
	}
}

func TestWordsInPicturesDoNotOverlap(t *testing.T) {
	t.Parallel()
	for name, a := range pictured() {
		image, err := a.Drawn("png")
		if err != nil {
			t.Fatal(name, err)
		}
		size, err := png.DecodeConfig(bytes.NewReader(image))
		if err != nil || size.Width != 2*pictureWidth || size.Height != 2*pictureHeight {
			t.Errorf("%s: %+v, %v", name, size, err)
		}
		for _, p := range []*Picture{a.Picture, a.Picture.Lower} {
			if p == nil {
				continue
			}
			if len(p.placed) == 0 {
				t.Errorf("%s has no words", name)
			}
			for i, r := range p.placed {
				if outside(r, p.room) > 1 {
					t.Errorf("%s: words %d stick out of the axes", name, i)
				}
				for _, other := range p.placed[:i] {
					if overlap(r, other) > 0 {
						t.Errorf("%s: words %d lie on others", name, i)
					}
				}
			}
		}
	}
}

func TestSeriesAsCSV(t *testing.T) {
	t.Parallel()
	for name, a := range pictured() {
		text, err := a.CSV()
		if err != nil {
			t.Fatal(name, err)
		}
		rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
		if err != nil || len(rows) < 20 || rows[0][0] != "elapsed_minutes" || rows[1][0] != "0" {
			t.Errorf("%s: %d rows, %v", name, len(rows), err)
		}
	}
	if _, err := (&Answer{}).CSV(); err == nil {
		t.Error("an answer without a series was written")
	}
	if _, err := (&Answer{}).Drawn("svg"); err == nil {
		t.Error("an answer without a picture was drawn")
	}
}

func TestTicksAreRound(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		low, high float64
		minutes   bool
		want      string
	}{{0, 6, false, "0 1 2 3 4 5 6"}, {0, 1, true, "0 10 20 30 40 50 60"}, {-20, 10, false, "-20 -15 -10 -5 0 5 10"}, {0, 11.6, false, "0 2 4 6 8 10"}} {
		var labels []string
		for _, tick := range (ticks{minutes: c.minutes, most: 9}).Ticks(c.low, c.high) {
			labels = append(labels, tick.Label)
		}
		if got := strings.Join(labels, " "); got != c.want {
			t.Errorf("%v to %v: %s, want %s", c.low, c.high, got, c.want)
		}
	}
}
