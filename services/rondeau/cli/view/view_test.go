package view_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/rondeau/cli/view"
)

func style(t *testing.T) view.Style {
	t.Helper()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	return view.Style{Site: "sites/quayside", Zone: zone}
}

func TestATableShowsIDsUnitsAndLeavesEmptyColumnsOut(t *testing.T) {
	t.Parallel()
	items := []*inventorypb.Item{
		{Name: "sites/quayside/items/demi", DisplayName: "Demi-glace", Kind: inventorypb.Item_PACK, Storage: inventorypb.Storage_STORAGE_FROZEN, NetMassKg: 1.5},
		{Name: "sites/quayside/items/bones", DisplayName: "Bones", Kind: inventorypb.Item_PURCHASED, ShelfLife: durationpb.New(120 * time.Hour)},
	}
	var b strings.Builder
	err := view.Table(style(t), items, "name", "display_name", "kind", "storage", "shelf_life", "net_mass_kg", "gtin").Write(&b)
	if err != nil {
		t.Fatal(err)
	}
	want := `ITEM   DISPLAY NAME  KIND       STORAGE  SHELF LIFE  NET MASS kg
demi   Demi-glace    pack       frozen                       1.5
bones  Bones         purchased           5 days                0
`
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
}

func TestDetailWritesTimesInTheKitchensZoneAndNestedLists(t *testing.T) {
	t.Parallel()
	order := &planningpb.Order{
		Name: "sites/quayside/outlets/bistro/orders/o-1", DispatchDate: "2027-03-03", State: planningpb.Order_PLACED,
		CutOffTime: timestamppb.New(time.Date(2027, 3, 1, 23, 30, 0, 0, time.UTC)),
		Lines:      []*planningpb.Order_Line{{Product: "sites/quayside/products/demi-1kg", ContainerCount: 6}},
	}
	var b strings.Builder
	err := style(t).Detail(&b, order)
	if err != nil {
		t.Fatal(err)
	}
	want := `name           outlets/bistro/orders/o-1
dispatch date  2027-03-03
lines:
  PRODUCT   CONTAINER COUNT
  demi-1kg                6
state          placed
cut off time   Mon 2027-03-01 18:30
`
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
}

func TestEnumWordsReadBack(t *testing.T) {
	t.Parallel()
	enum := inventorypb.Storage_STORAGE_AMBIENT.Descriptor()
	for i := range enum.Values().Len() {
		value := enum.Values().Get(i)
		number, found := view.EnumValue(enum, view.EnumWords(value))
		if found != (value.Number() != 0) || found && number != value.Number() {
			t.Errorf("%s is written %q and read %d, %v", value.Name(), view.EnumWords(value), number, found)
		}
	}
	if _, found := view.EnumValue(enum, "tepid"); found {
		t.Error("an unknown word was read")
	}
}

func TestNumbersAndDurations(t *testing.T) {
	t.Parallel()
	for value, want := range map[float64]string{0: "0", 0.25: "0.25", 12.5: "12.5", 151.26: "151.3", 48000: "48000", -3.999: "-4"} {
		if got := view.Number(value); got != want {
			t.Errorf("%v is written %q, want %q", value, got, want)
		}
	}
	for value, want := range map[time.Duration]string{
		0: "0s", 90 * time.Second: "1m 30s", 45 * time.Minute: "45m", 6*time.Hour + 5*time.Minute: "6h 05m", 120 * time.Hour: "5 days", 50 * time.Hour: "2 days 2h", -time.Hour: "-1h",
	} {
		if got := view.Duration(value); got != want {
			t.Errorf("%v is written %q, want %q", value, got, want)
		}
	}
}

func TestJSONIsTheSameEachTime(t *testing.T) {
	t.Parallel()
	var first string
	for range 20 {
		var b strings.Builder
		err := view.JSON(&b, true, &planningpb.Order{DispatchDate: "2027-03-03", Note: "two  spaces"}, &planningpb.Order{})
		if err != nil {
			t.Fatal(err)
		}
		if first == "" {
			first = b.String()
		}
		if b.String() != first {
			t.Fatalf("got\n%s\nthen\n%s", first, b.String())
		}
	}
	if !strings.Contains(first, `"dispatch_date": "2027-03-03"`) {
		t.Errorf("got %s", first)
	}
}

func TestTextOfAServiceIsWrittenForAPersonOfTheSite(t *testing.T) {
	t.Parallel()
	got := style(t).Text("sites/quayside/lots/l-1 was held at 2027-03-01T17:00:30Z by \x1b[31mada\x1d")
	if want := "lots/l-1 was held at Mon 2027-03-01 12:00 by \u241b[31mada\u241d"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestNamesInAListLoseTheirCollectionAndSentencesKeepIt(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	err := style(t).Detail(&b, &inventorypb.Lot{Name: "sites/quayside/lots/l-1", Holds: []string{"sites/quayside/holds/h-1", "sites/quayside/holds/h-2: weak seals"}})
	if err != nil || !strings.Contains(b.String(), "h-1; holds/h-2: weak seals") {
		t.Errorf("%v\n%s", err, b.String())
	}
}
