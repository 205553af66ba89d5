package kitchen

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
)

const small = `kitchen: 1
site:
  id: harbour
  display_name: Harbour Kitchen
  time_zone: Europe/Lisbon
suppliers:
  vale: {display_name: Vale Meats}
items:
  veal-bones:
    display_name: Veal bones
    kind: purchased
    storage: chilled
    shelf_life: 5 days
    max_receipt_temperature: 41 F
    purchase: {supplier: vale, case_mass: 44 lb, lead_days: 1, delivery_weekdays: [1, 3]}
  stock: {display_name: Stock, kind: made}
formulas:
  stock:
    display_name: Stock
    output_item: stock
    base_output: 100 kg
    ingredients:
      - {item: veal-bones, mass: 96 kg}
    steps:
      - {step_id: simmer, display_name: Simmer, kind: simmer, fixed: 10h, attended_start: 40min}
`

func parse(t *testing.T, text string) (*File, Faults) {
	t.Helper()
	file, err := Parse("kitchen.yaml", []byte(text))
	var faults Faults
	if err != nil && !errors.As(err, &faults) {
		t.Fatal(err)
	}
	return file, faults
}

func entry(t *testing.T, file *File, name string) *Entry {
	t.Helper()
	for _, e := range file.Entries {
		if e.Name == name {
			return e
		}
	}
	t.Fatalf("no entry %s", name)
	return nil
}

func TestUnitsReferencesAndWordsAreRead(t *testing.T) {
	t.Parallel()
	file, faults := parse(t, small)
	if faults != nil {
		t.Fatal(faults)
	}
	bones := entry(t, file, "sites/harbour/items/veal-bones").Message.(*inventorypb.Item)
	// 44 lb is 19.95806428 kg exactly (international pound, 0.45359237 kg); 41 F is 5 C exactly.
	if got := bones.GetPurchase().GetCaseMassKg(); got != 19.95806428 {
		t.Errorf("case mass %v", got)
	}
	if got := bones.GetMaxReceiptTemperatureCelsius(); got != 5 {
		t.Errorf("receipt limit %v", got)
	}
	if got := bones.GetPurchase().GetSupplier(); got != "sites/harbour/suppliers/vale" {
		t.Errorf("supplier %q", got)
	}
	if bones.GetKind() != inventorypb.Item_PURCHASED || bones.GetStorage() != inventorypb.Storage_STORAGE_CHILLED || !bones.GetActive() {
		t.Errorf("read %v", bones)
	}
	version := entry(t, file, "sites/harbour/formulas/stock").Version
	if version.GetSteps()[0].GetFixedDuration().AsDuration().Hours() != 10 || version.GetIngredients()[0].GetItem() != "sites/harbour/items/veal-bones" {
		t.Errorf("read %v", version)
	}
}

// Each fault is told with its own line and column, all at once.
func TestEveryFaultIsReportedWhereItStands(t *testing.T) {
	t.Parallel()
	cases := []struct{ name, old, new, at, says string }{
		{"a misspelt key", "storage: chilled", "storag: chilled", ":12:5", `did you mean "storage"?`},
		{"an unknown unit", "44 lb", "44 stone", ":15:", "stone"},
		{"a negative mass", "mass: 96 kg", "mass: -96 kg", ":23:", "mass"},
		{"an unknown word", "kind: purchased", "kind: bought", ":11:11", "none of purchased, made, pack, utility"},
		{"a reference to nothing", "item: veal-bones", "item: veal-bone", ":23:16", `did you mean "veal-bones"?`},
		{"a limit above what a delivery can have", "41 F", "441 F", ":14:", "max_receipt_temperature"},
		{"two durations for one step", "fixed: 10h,", "fixed: 10h, rate_kg_per_hour: 3,", ":25:", "not both"},
		{"an id with capitals", "  veal-bones:", "  Veal-bones:", ":9:3", "small letters"},
		{"a field that the suite sets", "display_name: Stock, kind: made", "display_name: Stock, kind: made, uid: x", ":16:", "set by the suite"},
		{"a key given twice", "  stock: {display_name: Stock, kind: made}", "  stock: {display_name: Stock, kind: made}\n  stock: {display_name: Stock, kind: made}", ":17:3", "first on line 16"},
		{"an unknown section", "suppliers:", "vendors:", ":6:1", "no such section"},
		{"a site without a zone", "  time_zone: Europe/Lisbon\n", "", ":3:", "time_zone"},
		{"a wrong version", "kitchen: 1", "kitchen: 9", ":1:", "kitchen: 1"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			text := strings.Replace(small, c.old, c.new, 1)
			if text == small {
				t.Fatal("the case changes nothing")
			}
			_, faults := parse(t, text)
			for _, fault := range faults {
				if strings.Contains(fault.String(), c.at) && strings.Contains(fault.String(), c.says) {
					return
				}
			}
			t.Errorf("wanted %q at %q, got:\n%v", c.says, c.at, faults)
		})
	}
}

func TestSeveralFaultsComeTogetherInTheOrderOfTheFile(t *testing.T) {
	t.Parallel()
	text := strings.NewReplacer("44 lb", "44 stone", "mass: 96 kg", "mass: much", "kind: simmer", "kind: boil").Replace(small)
	_, faults := parse(t, text)
	if len(faults) != 3 || faults[0].Line > faults[1].Line || faults[1].Line > faults[2].Line {
		t.Errorf("got %v", faults)
	}
}

func TestWrittenFilesReadBackTheSame(t *testing.T) {
	t.Parallel()
	demo, err := os.ReadFile(filepath.Join("..", "demo", "quayside.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"small": small, "demo": string(demo)} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			first, faults := parse(t, text)
			if faults != nil {
				t.Fatal(faults)
			}
			written, err := Write(first.Site, first.Entries)
			if err != nil {
				t.Fatal(err)
			}
			second, faults := parse(t, string(written))
			if faults != nil {
				t.Fatalf("%v\n%s", faults, written)
			}
			if len(first.Entries) != len(second.Entries) {
				t.Fatalf("%d entries became %d", len(first.Entries), len(second.Entries))
			}
			for i := range first.Entries {
				a, b := first.Entries[i], second.Entries[i]
				if a.Name != b.Name || !proto.Equal(a.Message, b.Message) || !proto.Equal(version(a), version(b)) {
					t.Errorf("%s changed:\n%v\n%v", a.Name, a.Message, b.Message)
				}
			}
		})
	}
}

func version(e *Entry) proto.Message {
	if e.Version == nil {
		return &planningpb.FormulaVersion{}
	}
	return e.Version
}

func TestASingleResourceIsReadFromWords(t *testing.T) {
	t.Parallel()
	got, err := Single("sites/harbour", "outlets", "bistro", []string{"display_name=The Bistro", "dispatch_weekdays=[monday, friday]", "dispatch_time_of_day=06:30", "cut_off=36h"})
	if err != nil {
		t.Fatal(err)
	}
	outlet := got.Message.(*planningpb.Outlet)
	if outlet.GetDisplayName() != "The Bistro" || len(outlet.GetDispatchWeekdays()) != 2 || outlet.GetDispatchTimeOfDay() != "06:30" || outlet.GetCutOffDuration().AsDuration().Hours() != 36 {
		t.Errorf("read %v", outlet)
	}
	_, err = Single("sites/harbour", "outlets", "bistro", []string{"display=The Bistro", "gln=1234567890123"})
	if err == nil || !strings.Contains(err.Error(), "display_name") {
		t.Errorf("got %v", err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add(small)
	f.Add("kitchen: 1\nsite: {id: a}\n")
	f.Add("a: &x [*x]")
	f.Fuzz(func(t *testing.T, text string) {
		file, err := Parse("kitchen.yaml", []byte(text))
		if (file == nil) == (err == nil) {
			t.Fatalf("file %v, error %v", file, err)
		}
	})
}
