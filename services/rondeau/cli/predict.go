package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"rondeau.internal/services/rondeau/cli/view"
	"rondeau.internal/services/rondeau/predict"
)

const predictLong = `Answer a question at the bench, without a suite and without a login: how long, how cold, how much.

Quantities are written with their unit, in kitchen units or SI, and the answer comes in the units of the question:
  volume       3.8L  500mL  1gal  8qt  2cup          length      60cm  65mm  24in
  mass         4kg  250g  10lb  8oz                  power       18kW  60000BTU/h
  temperature  95C  203F  "4 °C"                     pressure    1.5bar  22psi
  time         2h30min  90min                        share       45%  and solids 50Brix
A mistake names the flag, the value, what is allowed and a right example.

Vessels and products come from a library with usual sizes and compositions; every property has a flag. What was assumed
stands below each answer. -o json gives the same with stable field names that carry their units; --svg and --png draw the
course, --csv writes it.

These results support and do not replace the validated HACCP plan, the local code and the qualified person.`

const predictExamples = `  rondeau predict reduce --vessel household --volume 3.8L --to 0.6L --heat gentle
  rondeau predict chill --product brown-stock --vessel pan-65 --means blast --depth 50mm
  rondeau predict freeze --product demi-glace --vessel pouch-500
  rondeau predict growth --schedule "57C@0,21C@2h,5C@6h"
  rondeau predict vessels`

func (a *app) predictCommand() *cobra.Command {
	command := &cobra.Command{
		Use: "predict", Short: "Forecast a reduction, a chill, a freeze or growth, without a suite",
		Long: predictLong, Example: predictExamples, Args: cobra.NoArgs, RunE: helpOf,
	}
	command.AddCommand(a.predictReduce(), a.predictChill(), a.predictGrowth(), a.predictFreeze(), a.predictThaw(), a.predictHeat(), a.predictVessels(), a.predictProducts())
	for _, child := range command.Commands() {
		child.Flags().SortFlags = false // the question first, then vessel, product, room and files
		predictCompletion(child)
	}
	return command
}

// predictCompletion offers the words of the libraries and lists.
func predictCompletion(command *cobra.Command) {
	vessels, products := []string{predict.Own}, []string{}
	for _, v := range predict.Vessels() {
		vessels = append(vessels, v.Name+"\t"+v.Title)
	}
	for _, p := range predict.Products() {
		products = append(products, p.Name+"\t"+p.Title)
	}
	words := map[string][]string{
		"vessel": vessels, "product": products, "profile": predict.ProfileWords(), "units": {"metric", "us"}, "heat": {"gentle", "simmer", "boil"},
		"lid": {"off", "half", "on"}, "shelf": {"wire", "solid"}, "air": nil, "category": {"stock", "beef", "pork", "poultry"}, "means": predict.MeansWords(command.Name()),
	}
	for flag, of := range words {
		if command.Flags().Lookup(flag) != nil && len(of) > 0 {
			_ = command.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(of, cobra.ShellCompDirectiveNoFileComp)) // fails only for a flag that is not there
		}
	}
}

// predictOutput are the files an answer is written to beside the terminal.
type predictOutput struct{ svg, png, csv string }

func (o *predictOutput) flags(f *pflag.FlagSet) {
	f.StringVar(&o.svg, "svg", "", "file for a picture, as SVG")
	f.StringVar(&o.png, "png", "", "file for a picture, as PNG")
	f.StringVar(&o.csv, "csv", "", "file for the course, as CSV in minutes, °C and L")
}

// predicted computes an answer and shows it.
func (a *app) predicted(o *predictOutput, answer *predict.Answer, err error) error {
	if err != nil {
		return predictFault(err)
	}
	for _, file := range []struct {
		flag, path string
		make       func() ([]byte, error)
	}{{"csv", o.csv, answer.CSV}, {"svg", o.svg, func() ([]byte, error) { return answer.Drawn("svg") }}, {"png", o.png, func() ([]byte, error) { return answer.Drawn("png") }}} {
		if file.path == "" {
			continue
		}
		content, err := file.make()
		if err != nil {
			return err
		}
		err = os.WriteFile(file.path, content, 0o644)
		if err != nil {
			return usagef("--%s %q: the file cannot be written (%v)", file.flag, file.path, errors.Unwrap(err))
		}
	}
	if a.output == "json" {
		return answer.JSON(a.out)
	}
	return a.writeAnswer(answer)
}

// predictFault makes mistakes in flags mistakes of the command line, one line each.
func predictFault(err error) error {
	var faults predict.Faults
	if !errors.As(err, &faults) {
		return err
	}
	var all []error
	for _, one := range faults {
		all = append(all, usagef("%s", one.Error()))
	}
	return errors.Join(all...)
}

func (a *app) writeAnswer(answer *predict.Answer) error {
	fmt.Fprintf(a.out, "%s\n\n", answer.Sentence)
	err := view.Rows(answer.Table).Write(a.out)
	if err != nil {
		return err
	}
	if len(answer.Notes) > 0 {
		fmt.Fprintln(a.out)
		var rows view.Rows
		for _, one := range answer.Notes {
			rows.Lines = append(rows.Lines, one[:])
		}
		writeIndented(a, rows)
	}
	if len(answer.Assumptions) > 0 {
		fmt.Fprintln(a.out, "\nAssumed:")
		var rows view.Rows
		for _, one := range answer.Assumptions {
			text := one.Value
			note := strings.Trim(one.Flags+"; "+one.Source, "; ")
			if len([]rune(note)) > 90 {
				note = one.Flags + "; source: -o json"
			}
			if note != "" {
				text += " (" + note + ")"
			}
			rows.Lines = append(rows.Lines, []string{one.Name, text})
		}
		writeIndented(a, rows)
	}
	if len(answer.Cautions) > 0 {
		fmt.Fprintln(a.out, "\nCautions:")
		for _, one := range answer.Cautions {
			fmt.Fprintf(a.out, "%s\n", wrapped("  - ", "    ", one, 110))
		}
	}
	return nil
}

// writeIndented prints names and texts in two columns, texts broken to lines.
func writeIndented(a *app, rows view.Rows) {
	width := 0
	for _, line := range rows.Lines {
		width = max(width, len([]rune(line[0])))
	}
	indent := strings.Repeat(" ", width+4)
	for _, line := range rows.Lines {
		pad := strings.Repeat(" ", width-len([]rune(line[0])))
		fmt.Fprintln(a.out, wrapped("  "+line[0]+pad+"  ", indent, line[1], 110))
	}
}

// wrapped breaks a text to lines of at most width signs.
func wrapped(first, indent, text string, width int) string {
	var b strings.Builder
	b.WriteString(first)
	at := len([]rune(first))
	start := true
	for _, word := range strings.Fields(text) {
		n := len([]rune(word))
		if !start && at+1+n > width {
			b.WriteString("\n" + indent)
			at, start = len([]rune(indent)), true
		}
		if !start {
			b.WriteByte(' ')
			at++
		}
		b.WriteString(word)
		at += n
		start = false
	}
	return b.String()
}

// predictVesselFlags are the flags of a vessel; sizes and heat for commands that heat.
func predictVesselFlags(f *pflag.FlagSet, c *predict.VesselChoice, otherwise string, heated bool) {
	f.StringVar(&c.Vessel, "vessel", "", "vessel of the library, or own (default "+otherwise+"; see: rondeau predict vessels)")
	f.StringVar(&c.Diameter, "diameter", "", "its inside diameter, such as 30cm or 12in")
	f.StringVar(&c.Length, "length", "", "its inside length when it is rectangular")
	f.StringVar(&c.Width, "width", "", "its inside width when it is rectangular")
	f.StringVar(&c.Height, "height", "", "its inside height to the brim")
	if !heated {
		return
	}
	f.StringVar(&c.Class, "class", "", "how it is heated: steam-kettle, gas-kettle, electric-kettle, open-burner-pot, hot-plate-pot, induction-pot, tilting-pan")
	f.StringVar(&c.Power, "power", "", "rated power of its heat, such as 18kW or 60000BTU/h")
	f.StringVar(&c.Efficiency, "efficiency", "", "share of the power that enters the contents, such as 45%")
	f.StringVar(&c.Steam, "steam", "", "instead: pressure on the gauge of a steam jacket, such as 1bar or 15psi")
	f.StringVar(&c.WallLoss, "wall-loss", "", "heat lost through its wall in W/m²·K (10 bare steel, 3 insulated)")
	f.StringVar(&c.ShellMass, "shell-mass", "", "mass of its metal, such as 3kg")
}

func predictProductFlags(f *pflag.FlagSet, c *predict.ProductChoice, otherwise string) {
	f.StringVar(&c.Product, "product", "", "product of the library (default "+otherwise+"; see: rondeau predict products)")
	f.StringVar(&c.Brix, "brix", "", "its solids at the start, such as 4Brix")
	f.StringVar(&c.Composition, "composition", "", "its composition in percent: water=90,protein=6,fat=1,carbohydrate=1,ash=2")
	f.StringVar(&c.PH, "ph", "", "its pH, such as 6.2")
	f.StringVar(&c.Salt, "salt", "", "its salt by weight of the water, such as 0.5%")
	f.StringVar(&c.Gelatin, "gelatin", "", "its gelatin by weight, such as 3%")
}

func predictRoomFlags(f *pflag.FlagSet, c *predict.Room) {
	f.StringVar(&c.Temperature, "room", "", "temperature of the room (default 25C)")
	f.StringVar(&c.Humidity, "humidity", "", "relative humidity of the room (default 50%)")
	f.StringVar(&c.Altitude, "altitude", "", "height above the sea, such as 1600m or 5280ft (default sea level)")
	f.StringVar(&c.Air, "air", "", "air over the surface: still, hood (0.2 m/s), fan (0.5 m/s) (default still)")
}

func (a *app) predictReduce() *cobra.Command {
	var q predict.ReduceQuestion
	var o predictOutput
	command := &cobra.Command{
		Use: "reduce", Short: "How long until a pot has reduced", Args: cobra.NoArgs,
		Long: `Tell how long a reduction takes: likely, and the span that holds it for 8 of 10 vessels of this class that nobody has
measured. Say how much is in the vessel (--volume or --mass) and what is to be left (--to): a volume, a mass, a fraction of
the volume such as 1/5, or solids such as 50Brix. Volumes are those of the hot liquid in the vessel.

--heat is gentle (82 C, a bubble now and then), simmer (93 C, or 6 C below the local boil), boil, a temperature to hold, or a share of the power at which the
vessel boils or settles. Below the boil the surface decides and power hardly matters; at the boil it is the power alone.
With --seen (more than once) tell what was left during this very reduction; the forecast learns from it: --seen 1h=3.2L`,
		Example: `  rondeau predict reduce --vessel household --volume 3.8L --to 0.6L --heat gentle
  rondeau predict reduce --vessel rondeau-60 --volume 10gal --to 1/5 --heat 200F --altitude 5280ft
  rondeau predict reduce --vessel kettle-100 --product brown-stock --volume 80L --to 20Brix --heat boil --bones 15kg --start 15C
  rondeau predict reduce --vessel kettle-200 --volume 40gal --to 12gal --heat boil --steam 10psi
  rondeau predict reduce --vessel own --diameter 40cm --height 20cm --power 9kW --volume 15L --to half --seen "1h=13.1L"`,
		RunE: func(*cobra.Command, []string) error {
			answer, err := predict.Reduce(q)
			return a.predicted(&o, answer, err)
		},
	}
	f := command.Flags()
	f.StringVar(&q.Volume, "volume", "", "liquid in the vessel at the start, such as 3.8L or 1gal")
	f.StringVar(&q.Mass, "mass", "", "or its mass, such as 4kg or 9lb")
	f.StringVar(&q.To, "to", "", "what is to be left: 0.6L, 2kg, 1/5, half, 50Brix")
	f.StringVar(&q.Heat, "heat", "", "gentle, simmer, boil, a temperature such as 93C, or a share of the power such as 60% (default simmer)")
	f.StringVar(&q.Start, "start", "", "temperature at the start; counts the heating (default already hot)")
	f.StringVar(&q.Bones, "bones", "", "mass of bones in the liquid, such as 8kg")
	f.StringVar(&q.Lid, "lid", "", "off, half, on, or the share that is covered such as 30% (default off)")
	f.StringArrayVar(&q.Seen, "seen", nil, "what was left after a time in this vessel, such as 1h30min=3.2L; repeatable")
	predictVesselFlags(f, &q.VesselChoice, "household", true)
	predictProductFlags(f, &q.ProductChoice, "thin-stock")
	f.StringVar(&q.ScorchAt, "scorch-at", "", "solids at which the bottom can scorch, such as 25%")
	predictRoomFlags(f, &q.Room)
	predictUnits(f, &q.Units)
	o.flags(f)
	return command
}

func predictUnits(f *pflag.FlagSet, to *string) {
	f.StringVar(to, "units", "", "metric or us (default: the units of the question)")
}

func (a *app) predictVessels() *cobra.Command {
	return &cobra.Command{
		Use: "vessels", Short: "List the library of vessels", Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return a.predictList(predict.ListVessels()) },
	}
}

func (a *app) predictProducts() *cobra.Command {
	return &cobra.Command{
		Use: "products", Short: "List the library of products", Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return a.predictList(predict.ListProducts()) },
	}
}

func (a *app) predictList(l predict.Listing) error {
	if a.output == "json" {
		return l.JSON(a.out)
	}
	err := view.Rows(l.Table).Write(a.out)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.out, "\n%s\n", l.Note)
	return err
}

func (a *app) predictChill() *cobra.Command {
	var q predict.ChillQuestion
	var o predictOutput
	command := &cobra.Command{
		Use: "chill", Short: "Whether a cooling keeps its limits, and what would help", Args: cobra.NoArgs,
		Long: `Tell when the core of the food reaches each limit against when it must, with the margin, and what would keep the limits:
the deepest pan, the least ice, the most in this vessel.

--means is what cools: ice-bath (pots and pans stirred in ice water, or pouches and tubs in it), blast (a blast chiller),
walk-in, still-air, plate (a plate cooler), or jacket (a kettle with a cooling jacket). --profile is the rule: food-code
(US FDA Food Code 2022, 3-501.14(A)), food-code-ambient, fsis (Appendix B, option 1), uk (cook-chill guideline 1989),
fsanz (3.2.2 clause 7), or your own with --limit FROM,TO,TIME for each stage.

The late end of the range assumes a third less heat transfer and, for stocks that set, no convection at all. A verdict counts
on the late end.

` + safetyLine,
		Example: `  rondeau predict chill --means blast --vessel pan-65 --product brown-stock --depth 50mm
  rondeau predict chill --means ice-bath --vessel stockpot-20 --volume 4gal --start 200F --ice 40lb
  rondeau predict chill --means walk-in --vessel stockpot-20 --product thin-stock --profile fsanz
  rondeau predict chill --means blast --vessel pan-100 --count 10 --machine-power 6kW --profile uk --air=-18C
  rondeau predict chill --means walk-in --vessel container-1 --limit 60C,21C,2h --limit 60C,5C,6h`,
		RunE: func(*cobra.Command, []string) error {
			answer, err := predict.Chill(q)
			return a.predicted(&o, answer, err)
		},
	}
	f := command.Flags()
	f.StringVar(&q.Means, "means", "", "what cools: ice-bath, blast, walk-in, still-air, plate, jacket")
	f.StringVar(&q.Depth, "depth", "", "depth of the food in the vessel, such as 50mm or 2in")
	f.StringVar(&q.Volume, "volume", "", "or its volume, such as 5L (default the vessel's usual fill)")
	f.StringVar(&q.Mass, "mass", "", "or its mass")
	f.StringVar(&q.Start, "start", "", "temperature of the food at the start (default 90C)")
	f.StringVar(&q.Air, "air", "", "temperature of the air or of the jacket's water, such as 3C (default by --means)")
	f.StringVar(&q.Profile, "profile", "", "food-code, food-code-ambient, fsis, uk, fsanz, own (default food-code)")
	f.StringArrayVar(&q.Limits, "limit", nil, "own limit FROM,TO,TIME, such as 60C,21C,2h; repeatable, in order")
	f.StringVar(&q.Ice, "ice", "", "ice in the bath, such as 20kg (default half as much again as stock)")
	f.StringVar(&q.Water, "water", "", "water in the bath at the start (default half as much as stock)")
	f.StringVar(&q.Film, "film", "", "heat transfer coefficient in W/m²·K (default by --means)")
	f.StringVar(&q.Shelf, "shelf", "", "wire (both faces cool) or solid (only the upper one) (default wire)")
	f.StringVar(&q.Count, "count", "", "pans that share the machine (default 1)")
	f.StringVar(&q.MachinePower, "machine-power", "", "cooling power that the pans share, such as 5kW (default enough)")
	f.StringVar(&q.Pass, "pass", "", "time in which the whole batch passes the plate cooler (default 1h)")
	f.StringVar(&q.Plates, "plates", "", "its plates of 0.1 m² (default 40)")
	predictVesselFlags(f, &q.VesselChoice, "by --means", false)
	predictProductFlags(f, &q.ProductChoice, "brown-stock")
	f.StringVar(&q.GelAt, "gel-at", "", "temperature at which it sets, such as 15C")
	f.StringVar(&q.Convection, "convection", "", "share of a thin stock's convection that is left, such as 50%")
	predictUnits(f, &q.Units)
	o.flags(f)
	return command
}

const safetyLine = "Supports and does not replace the validated HACCP plan, the local code and the qualified person."

func (a *app) predictGrowth() *cobra.Command {
	var q predict.GrowthQuestion
	var o predictOutput
	command := &cobra.Command{
		Use: "growth", Short: "What a history of temperatures lets grow", Args: cobra.NoArgs,
		Long: `Estimate the growth of Clostridium perfringens over a history of temperatures of cooked food, likely and on the cautious
side, against a limit (1 log10 unless --limit says otherwise).

The history is a CSV file with a header (--history), or a schedule of straight lines (--schedule): points such as
57C@0,21C@2h,5C@6h, or the slowest cooling that a rule allows: food-code, fsis, uk, fsanz, fsis-2, fsis-cured. In the file
the column of time holds moments such as 2027-03-01T14:30:00Z, or minutes or hours when its name says so; the column of
temperature is in C or F as its name says (temperature_c, temperature_f), or has the scale behind each number.

Gaps of more than 30 min (--max-gap) are taken on the cautious side and listed. A critical limit that was missed stays
missed, whatever growth is predicted. Other bacteria are not covered.

` + safetyLine,
		Example: `  rondeau predict growth --schedule "57C@0,21C@2h,5C@6h"
  rondeau predict growth --schedule "135F@0,90F@2h,70F@4h,41F@9h" --ph 6.0 --salt 0.8%
  rondeau predict growth --schedule fsis --category beef
  rondeau predict growth --history readings.csv --product demi-glace`,
		RunE: func(*cobra.Command, []string) error {
			err := a.readHistory(&q)
			if err != nil {
				return err
			}
			answer, err := predict.Growth(q)
			return a.predicted(&o, answer, err)
		},
	}
	f := command.Flags()
	f.StringVar(&q.HistoryName, "history", "", "CSV file with a header: time (or minutes) and temperature_c or temperature_f; - reads from the input")
	f.StringVar(&q.Schedule, "schedule", "", "points such as 57C@0,21C@2h,5C@6h, or food-code, fsis, uk, fsanz, fsis-2, fsis-cured")
	f.StringVar(&q.Category, "category", "", "stock, beef, pork or poultry: whose growth data to use (default stock)")
	f.BoolVar(&q.Cured, "cured", false, "it holds nitrite (the models give no credit for it)")
	f.StringVar(&q.Limit, "limit", "", "growth that is acceptable, log10 (default 1)")
	f.StringVar(&q.MaxGap, "max-gap", "", "longest time between readings that counts as watched (default 30min)")
	f.StringVar(&q.Probe, "probe", "", "how far the probe may be off, such as 1C or 2F (default 1C)")
	predictProductFlags(f, &q.ProductChoice, "brown-stock")
	predictUnits(f, &q.Units)
	o.flags(f)
	return command
}

// mostHistory bounds the file of a history, bytes.
const mostHistory = 16 << 20

// readHistory reads the file that --history names.
func (a *app) readHistory(q *predict.GrowthQuestion) error {
	if q.HistoryName == "" {
		return nil
	}
	from, name := a.in, "the input"
	if q.HistoryName != "-" {
		file, err := os.Open(q.HistoryName)
		if err != nil {
			return usagef("--history %q: the file cannot be read (%v)", q.HistoryName, errors.Unwrap(err))
		}
		defer file.Close()
		from, name = file, filepath.Base(q.HistoryName)
	}
	text, err := io.ReadAll(io.LimitReader(from, mostHistory+1))
	if err != nil {
		return usagef("--history %q: the file cannot be read (%v)", q.HistoryName, err)
	}
	if len(text) > mostHistory {
		return usagef("--history %q: the file is larger than %d MB; thin it out", q.HistoryName, mostHistory>>20)
	}
	q.History, q.HistoryName = text, name
	return nil
}

func (a *app) predictFreeze() *cobra.Command {
	var q predict.FreezeQuestion
	var o predictOutput
	command := &cobra.Command{
		Use: "freeze", Short: "How long until the core is frozen", Args: cobra.NoArgs,
		Long: `Tell how long freezing takes until the core is at -18 °C (--core), by three methods side by side: the numerical enthalpy
method, Pham (1986), and Cleland and Earle (1984); how long the plateau lasts in which the water freezes; when the piece may
go to the store because it comes to that temperature by itself; and how it settles there.

The early and late end come from 30 % more and less heat transfer and from the spread of the methods in their ranges.

` + safetyLine,
		Example: `  rondeau predict freeze --product demi-glace --vessel pouch-500
  rondeau predict freeze --vessel tub-4 --air=-22F --start 39F --units us
  rondeau predict freeze --vessel container-1 --film 8 --air=-20C --core=-15C`,
		RunE: func(*cobra.Command, []string) error {
			answer, err := predict.Freeze(q)
			return a.predicted(&o, answer, err)
		},
	}
	f := command.Flags()
	f.StringVar(&q.Depth, "depth", "", "thickness of the piece or depth of the food, such as 25mm or 1in")
	f.StringVar(&q.Volume, "volume", "", "or its volume, such as 0.5L (default the vessel's usual fill)")
	f.StringVar(&q.Mass, "mass", "", "or its mass")
	f.StringVar(&q.Start, "start", "", "temperature at the start (default 4C)")
	f.StringVar(&q.Air, "air", "", "temperature of the freezer's air, such as -30C (default -30C)")
	f.StringVar(&q.Core, "core", "", "core temperature wanted (default -18C)")
	f.StringVar(&q.Store, "store", "", "temperature of the store it goes to (default -20C)")
	f.StringVar(&q.Film, "film", "", "heat transfer coefficient in W/m²·K: 20 in moving air, 8 in still air (default 20)")
	f.StringVar(&q.Shelf, "shelf", "", "wire (freezes all round) or solid (not from below) (default wire)")
	predictVesselFlags(f, &q.VesselChoice, "pouch-500", false)
	predictProductFlags(f, &q.ProductChoice, "brown-stock")
	f.StringVar(&q.FreezingPoint, "freezing-point", "", "its initial freezing point, such as -0.6C")
	predictUnits(f, &q.Units)
	o.flags(f)
	return command
}

func (a *app) predictThaw() *cobra.Command {
	var q predict.ThawQuestion
	var o predictOutput
	command := &cobra.Command{
		Use: "thaw", Short: "How long until a frozen piece has thawed", Args: cobra.NoArgs,
		Long: `Tell how long a frozen piece takes to thaw in a refrigerator or under cold running water, how warm its surface is by then,
and for how long the surface was above 5 °C.

` + safetyLine,
		Example: `  rondeau predict thaw --product demi-glace --vessel pouch-500
  rondeau predict thaw --vessel tub-4 --means water --air 54F`,
		RunE: func(*cobra.Command, []string) error {
			answer, err := predict.Thaw(q)
			return a.predicted(&o, answer, err)
		},
	}
	f := command.Flags()
	f.StringVar(&q.Means, "means", "", "fridge or water, cold and running (default fridge)")
	f.StringVar(&q.Air, "air", "", "temperature of the air or water (default 4C, water 12C)")
	f.StringVar(&q.Start, "start", "", "temperature of the piece at the start (default -18C)")
	f.StringVar(&q.Depth, "depth", "", "thickness of the piece, such as 25mm or 1in")
	f.StringVar(&q.Volume, "volume", "", "or its volume before it was frozen, such as 0.5L")
	f.StringVar(&q.Mass, "mass", "", "or its mass")
	f.StringVar(&q.Film, "film", "", "heat transfer coefficient in W/m²·K (default 8 in a refrigerator, 200 under water)")
	f.StringVar(&q.Shelf, "shelf", "", "wire (warms all round) or solid (not from below) (default wire)")
	predictVesselFlags(f, &q.VesselChoice, "pouch-500", false)
	predictProductFlags(f, &q.ProductChoice, "brown-stock")
	f.StringVar(&q.FreezingPoint, "freezing-point", "", "its initial freezing point, such as -0.6C")
	predictUnits(f, &q.Units)
	o.flags(f)
	return command
}

func (a *app) predictHeat() *cobra.Command {
	var q predict.HeatQuestion
	var o predictOutput
	command := &cobra.Command{
		Use: "heat", Short: "How long until a pot is hot", Args: cobra.NoArgs,
		Long: `Tell how long a load takes to come up to a temperature, at all of the vessel's power or a share of it, with the span that
holds it for 8 of 10 vessels of this class, and the energy it takes.`,
		Example: `  rondeau predict heat --vessel stockpot-20 --volume 18L --start 15C --to 95C
  rondeau predict heat --vessel kettle-200 --volume 40gal --bones 60lb --start 60F --to 200F --lid on`,
		RunE: func(*cobra.Command, []string) error {
			answer, err := predict.Heat(q)
			return a.predicted(&o, answer, err)
		},
	}
	f := command.Flags()
	f.StringVar(&q.Volume, "volume", "", "liquid in the vessel, such as 18L or 5gal (default the vessel's usual fill)")
	f.StringVar(&q.Mass, "mass", "", "or its mass")
	f.StringVar(&q.Bones, "bones", "", "mass of bones in it, such as 8kg")
	f.StringVar(&q.Start, "start", "", "temperature at the start (default 15C)")
	f.StringVar(&q.To, "to", "", "temperature wanted (default 95C)")
	f.StringVar(&q.Share, "share", "", "share of the power that is on, such as 60% (default all)")
	f.StringVar(&q.Lid, "lid", "", "off, half, on, or the share that is covered such as 30% (default off)")
	predictVesselFlags(f, &q.VesselChoice, "stockpot-20", true)
	predictProductFlags(f, &q.ProductChoice, "thin-stock")
	predictRoomFlags(f, &q.Room)
	predictUnits(f, &q.Units)
	o.flags(f)
	return command
}
