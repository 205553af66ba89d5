package kitchen

import (
	"context"
	"encoding/csv"
	"errors"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
)

// office keeps orders and deliveries as the services do, and counts what was written.
type office struct {
	kept   map[string]proto.Message
	closed string // an order for this day comes too late
	writes int
}

func (o *office) NewStream(context.Context, *grpc.StreamDesc, string, ...grpc.CallOption) (grpc.ClientStream, error) {
	return nil, errors.New("no streams here")
}

func (o *office) Invoke(_ context.Context, _ string, in, out any, _ ...grpc.CallOption) error {
	read := func(name string) error {
		found := o.kept[name]
		if found == nil {
			return status.Errorf(codes.NotFound, "%s does not exist", name)
		}
		proto.Merge(out.(proto.Message), found)
		return nil
	}
	write := func(name string, m proto.Message) error {
		o.writes++
		o.kept[name] = proto.Clone(m)
		return read(name)
	}
	switch r := in.(type) {
	case *planningpb.GetOrderRequest:
		return read(r.GetName())
	case *planningpb.CreateOrderRequest:
		if r.GetOrder().GetDispatchDate() == o.closed {
			return status.Errorf(codes.FailedPrecondition, "orders for %s are closed", o.closed)
		}
		r.Order.Name = r.GetParent() + "/orders/" + r.GetOrderId()
		return write(r.Order.Name, r.GetOrder())
	case *planningpb.UpdateOrderRequest:
		return write(r.GetOrder().GetName(), r.GetOrder())
	case *inventorypb.GetDeliveryRequest:
		return read(r.GetName())
	case *inventorypb.CreateDeliveryRequest:
		r.Delivery.Name = r.GetParent() + "/deliveries/" + r.GetDeliveryId()
		return write(r.Delivery.Name, r.GetDelivery())
	case *inventorypb.UpdateDeliveryRequest:
		return write(r.GetDelivery().GetName(), r.GetDelivery())
	default:
		return status.Errorf(codes.Unimplemented, "%T", in)
	}
}

func (o *office) apply(t *testing.T, text string, preview bool) (string, error) {
	t.Helper()
	sheet, err := ReadSheet("sheet.csv", csv.NewReader(strings.NewReader(text)), "sites/harbour")
	if err != nil {
		t.Fatal(err)
	}
	report, err := sheet.Apply(t.Context(), func(string) grpc.ClientConnInterface { return o }, preview)
	return strings.Join(report, "\n"), err
}

const (
	orderSheet    = "outlet,dispatch_date,product,containers,reference\nbar,2027-03-03,demi,6,17\nbar,2027-03-03,stock,4,17\ngrill,2027-03-04,demi,2,18\n"
	deliverySheet = "supplier,expected_date,item,mass,reference\nvale,2027-03-02,veal-bones,60 kg,HV-1\nvale,2027-03-02,chicken-bones,10 lb,HV-1\n"
)

func TestEveryFaultOfASheetIsToldWithItsLine(t *testing.T) {
	t.Parallel()
	cases := []struct{ name, text, says string }{
		{"an empty file", "", "the first line is outlet,dispatch_date"},
		{"another heading", "a,b,c,d,e\n", "sheet.csv:1: the heading is neither"},
		{"a column too few", strings.Replace(orderSheet, ",4,17", ",4", 1), "sheet.csv:3:"},
		{"a day that is none", strings.Replace(orderSheet, "2027-03-04", "2027-02-30", 1), `sheet.csv:4:7: "2027-02-30" is not a day`},
		{"a negative count", strings.Replace(orderSheet, ",6,", ",-6,", 1), `sheet.csv:2:21: "-6" is not a number of containers`},
		{"half a container", strings.Replace(orderSheet, ",6,", ",1.5,", 1), `"1.5" is not a number of containers`},
		{"a name for an id", strings.Replace(orderSheet, "grill,", "The Grill,", 1), `"The Grill" is not the id of any outlet`},
		{"a product twice", strings.Replace(orderSheet, "stock,4", "demi,4", 1), "stands twice in the order of bar for 2027-03-03"},
		{"a negative mass", strings.Replace(deliverySheet, "60 kg", "-60 kg", 1), `"-60 kg" is not a mass`},
		{"a mass that is no number", strings.Replace(deliverySheet, "60 kg", "NaN", 1), `"NaN" is not a mass`},
		{"a mass without end", strings.Replace(deliverySheet, "60 kg", "+Inf", 1), `"+Inf" is not a mass`},
		{"a mass in no unit", strings.Replace(deliverySheet, "60 kg", "3 stone", 1), `"3 stone" is not a mass`},
		{"an open quote", orderSheet + "\"bar,2027-03-05,demi,1,19\n", "sheet.csv:5:"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, err := ReadSheet("sheet.csv", csv.NewReader(strings.NewReader(c.text)), "sites/harbour")
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v, want %q", err, c.says)
			}
		})
	}
	_, err := ReadSheet("sheet.csv", csv.NewReader(strings.NewReader("outlet,dispatch_date,product,containers,reference\nB,2027-03-03,demi,1,1\nbar,soon,demi,1,1\nbar,2027-03-03,demi,0,1\n")), "sites/harbour")
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 3 || faults[0].Line != 2 || faults[2].Line != 4 {
		t.Errorf("got %v, want three faults in the order of the file", err)
	}
}

func TestASheetWithTheMarkOfASpreadsheetIsRead(t *testing.T) {
	t.Parallel()
	o := &office{kept: map[string]proto.Message{}}
	report, err := o.apply(t, "\ufeff"+strings.ReplaceAll(strings.ReplaceAll(orderSheet, ",", ", "), "\n", "\r\n"), false)
	if err != nil || !strings.Contains(report, "placed order grill 2027-03-04 18") {
		t.Errorf("got %s, %v", report, err)
	}
}

func TestAnOrderSheetIsAppliedOnce(t *testing.T) {
	t.Parallel()
	o := &office{kept: map[string]proto.Message{}}
	steps := []struct {
		name, text, report string
		preview            bool
		writes             int
	}{
		{"a preview writes nothing", orderSheet, "would place order bar 2027-03-03 17\nwould place order grill 2027-03-04 18", true, 0},
		{"lines of one reference make one order", orderSheet, "placed order bar 2027-03-03 17\nplaced order grill 2027-03-04 18", false, 2},
		{"the same sheet again changes nothing", orderSheet, "kept order bar 2027-03-03 17\nkept order grill 2027-03-04 18", false, 2},
		{"a preview of a change writes nothing", strings.Replace(orderSheet, "stock,4", "stock,5", 1), "would change order bar 2027-03-03 17\nkept order grill 2027-03-04 18", true, 2},
		{"a change writes what differs", strings.Replace(orderSheet, "stock,4", "stock,5", 1), "changed order bar 2027-03-03 17\nkept order grill 2027-03-04 18", false, 3},
	}
	for _, step := range steps {
		report, err := o.apply(t, step.text, step.preview)
		if err != nil || report != step.report || o.writes != step.writes {
			t.Errorf("%s: got %q after %d writes, %v; want %q after %d", step.name, report, o.writes, err, step.report, step.writes)
		}
	}
	if len(o.kept) != 2 {
		t.Errorf("%d orders are kept, want 2", len(o.kept))
	}
}

func TestARefusedDocumentNamesItsLineAndDoesNotStopTheOthers(t *testing.T) {
	t.Parallel()
	o := &office{kept: map[string]proto.Message{}, closed: "2027-03-03"}
	report, err := o.apply(t, orderSheet, false)
	if report != "placed order grill 2027-03-04 18" {
		t.Errorf("got %q", report)
	}
	if err == nil || !strings.Contains(err.Error(), "sheet.csv:2: bar 2027-03-03: ") || !strings.Contains(err.Error(), "are closed") {
		t.Errorf("got %v", err)
	}
}

func TestADeliverySheetIsAppliedOnce(t *testing.T) {
	t.Parallel()
	o := &office{kept: map[string]proto.Message{}}
	for _, step := range []struct {
		preview bool
		text    string
		report  string
	}{
		{true, deliverySheet, "would expect delivery vale 2027-03-02 HV-1"},
		{false, deliverySheet, "expected delivery vale 2027-03-02 HV-1"},
		{false, deliverySheet, "kept delivery vale 2027-03-02 HV-1"},
		{true, strings.Replace(deliverySheet, "60 kg", "55", 1), "would change delivery vale 2027-03-02 HV-1"},
		{false, strings.Replace(deliverySheet, "60 kg", "55", 1), "changed delivery vale 2027-03-02 HV-1"},
	} {
		report, err := o.apply(t, step.text, step.preview)
		if err != nil || report != step.report {
			t.Errorf("got %q, %v; want %q", report, err, step.report)
		}
	}
	for _, m := range o.kept {
		lines := m.(*inventorypb.Delivery).GetLines()
		// 1 lb is 0.45359237 kg exactly (NIST Special Publication 811, appendix B.8; from memory).
		if len(lines) != 2 || lines[0].GetExpectedMassKg() != 55 || lines[1].GetExpectedMassKg() < 4.5359 || lines[1].GetExpectedMassKg() > 4.536 {
			t.Errorf("got %v", lines)
		}
	}
}
