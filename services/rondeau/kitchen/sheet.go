package kitchen

import (
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"rondeau.internal/pkg/apierr"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/units"
)

// Headings of the two sheets.
var (
	orderHeading    = []string{"outlet", "dispatch_date", "product", "containers", "reference"}
	deliveryHeading = []string{"supplier", "expected_date", "item", "mass", "reference"}
)

// Sheet is a CSV file of orders or of deliveries; lines that share partner, day and reference make one document.
type Sheet struct {
	site      string
	path      string
	orders    bool
	documents []*document
}

type document struct {
	line                int
	partner, date, mark string
	order               *planningpb.Order
	delivery            *inventorypb.Delivery
}

// id is the same for the same partner, day and reference, so that reading a sheet twice makes nothing twice.
func (d *document) id() string {
	sum := sha256.Sum256([]byte(d.partner + "\x00" + d.date + "\x00" + d.mark))
	return "sheet-" + hex.EncodeToString(sum[:8])
}

// ReadSheet reads all rows and checks them; its error names every faulty line.
func ReadSheet(path string, rows *csv.Reader, site string) (*Sheet, error) {
	rows.FieldsPerRecord = 5
	rows.TrimLeadingSpace = true
	heading, err := rows.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: %w; the first line is %s or %s", path, err, strings.Join(orderHeading, ","), strings.Join(deliveryHeading, ","))
	}
	heading[0] = strings.TrimPrefix(heading[0], "\ufeff") // spreadsheets begin a file with it
	for i := range heading {
		heading[i] = strings.ToLower(strings.TrimSpace(heading[i]))
	}
	sheet := &Sheet{site: site, path: path, orders: slices.Equal(heading, orderHeading)}
	if !sheet.orders && !slices.Equal(heading, deliveryHeading) {
		return nil, fmt.Errorf("%s:1: the heading is neither %s nor %s", path, strings.Join(orderHeading, ","), strings.Join(deliveryHeading, ","))
	}
	var faults Faults
	byKey := map[string]*document{}
	for {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var broken *csv.ParseError
		if errors.As(err, &broken) {
			faults = append(faults, Fault{path, broken.Line, broken.Column, "", broken.Err.Error()})
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		sheet.row(row, rows, byKey, &faults)
	}
	if len(faults) > 0 {
		return nil, faults.sorted()
	}
	return sheet, nil
}

func (s *Sheet) row(row []string, rows *csv.Reader, byKey map[string]*document, faults *Faults) {
	fault := func(column int, format string, args ...any) {
		line, at := rows.FieldPos(column)
		*faults = append(*faults, Fault{s.path, line, at, "", fmt.Sprintf(format, args...)})
	}
	for i := range row {
		row[i] = strings.TrimSpace(row[i])
	}
	for _, id := range []struct {
		column          int
		order, delivery string
	}{{0, "outlet", "supplier"}, {2, "product", "item"}} {
		what := id.delivery
		if s.orders {
			what = id.order
		}
		if !idShape.MatchString(row[id.column]) {
			fault(id.column, "%q is not the id of any %s; ids have small letters, digits and hyphens", row[id.column], what)
			return
		}
	}
	_, err := time.Parse(time.DateOnly, row[1])
	if err != nil {
		fault(1, "%q is not a day such as 2027-03-01", row[1])
		return
	}
	key := row[0] + "\x00" + row[1] + "\x00" + row[4]
	doc := byKey[key]
	if doc == nil {
		line, _ := rows.FieldPos(0)
		doc = &document{line: line, partner: row[0], date: row[1], mark: row[4]}
		byKey[key] = doc
		s.documents = append(s.documents, doc)
	}
	if s.orders {
		n, err := strconv.Atoi(row[3])
		if err != nil || n < 1 || n > 100000 {
			fault(3, "%q is not a number of containers from 1 to 100000", row[3])
			return
		}
		if doc.order == nil {
			doc.order = &planningpb.Order{DispatchDate: row[1], Note: row[4]}
		}
		product := s.site + "/products/" + row[2]
		if slices.ContainsFunc(doc.order.GetLines(), func(l *planningpb.Order_Line) bool { return l.GetProduct() == product }) {
			fault(2, "%q stands twice in the order of %s for %s; give one line with the sum", row[2], row[0], row[1])
			return
		}
		doc.order.Lines = append(doc.order.Lines, &planningpb.Order_Line{Product: product, ContainerCount: int32(n)})
		return
	}
	kg, err := strconv.ParseFloat(row[3], 64)
	if err != nil {
		m, unitErr := units.ParseMass(row[3])
		kg, err = m.Kilograms(), unitErr
	}
	if err != nil || !(kg > 0) || math.IsInf(kg, 0) {
		fault(3, "%q is not a mass such as 60 kg or 10 lb", row[3])
		return
	}
	if doc.delivery == nil {
		doc.delivery = &inventorypb.Delivery{Supplier: s.site + "/suppliers/" + row[0], ExpectedDate: row[1], DocumentNumber: row[4]}
	}
	doc.delivery.Lines = append(doc.delivery.Lines, &inventorypb.DeliveryLine{Item: s.site + "/items/" + row[2], ExpectedMassKg: kg})
}

// Apply writes the documents of the sheet, each by itself: a refused one names its line and does not stop the others.
// The report has a line for each. With preview nothing is written.
func (s *Sheet) Apply(ctx context.Context, conns Conns, preview bool) (report []string, err error) {
	var refused []error
	for _, doc := range s.documents {
		done, err := s.apply(ctx, conns, doc, preview)
		if err != nil {
			refused = append(refused, fmt.Errorf("%s:%d: %s %s: %w", s.path, doc.line, doc.partner, doc.date, err))
			continue
		}
		report = append(report, fmt.Sprintf("%s %s %s %s", done, doc.partner, doc.date, doc.mark))
	}
	return report, errors.Join(refused...)
}

func (s *Sheet) apply(ctx context.Context, conns Conns, doc *document, preview bool) (string, error) {
	if s.orders {
		return s.applyOrder(ctx, planningpb.NewPlanningServiceClient(conns("planning")), doc, preview)
	}
	return s.applyDelivery(ctx, inventorypb.NewInventoryServiceClient(conns("inventory")), doc, preview)
}

func (s *Sheet) applyOrder(ctx context.Context, client planningpb.PlanningServiceClient, doc *document, preview bool) (string, error) {
	parent := s.site + "/outlets/" + doc.partner
	current, err := client.GetOrder(ctx, &planningpb.GetOrderRequest{Name: parent + "/orders/" + doc.id()})
	switch {
	case missing(err) && preview:
		return "would place order", nil
	case missing(err):
		_, err = client.CreateOrder(ctx, &planningpb.CreateOrderRequest{Parent: parent, OrderId: doc.id(), Order: doc.order})
		return "placed order", rpc.FromStatus(err)
	case err != nil:
		return "", rpc.FromStatus(err)
	}
	if sameOrder(current, doc.order) {
		return "kept order", nil
	}
	if preview {
		return "would change order", nil
	}
	doc.order.Name, doc.order.Etag = current.GetName(), current.GetEtag()
	_, err = client.UpdateOrder(ctx, &planningpb.UpdateOrderRequest{Order: doc.order, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"lines"}}})
	return "changed order", rpc.FromStatus(err)
}

func sameOrder(a, b *planningpb.Order) bool {
	return slices.EqualFunc(a.GetLines(), b.GetLines(), func(x, y *planningpb.Order_Line) bool {
		return x.GetProduct() == y.GetProduct() && x.GetContainerCount() == y.GetContainerCount()
	})
}

func (s *Sheet) applyDelivery(ctx context.Context, client inventorypb.InventoryServiceClient, doc *document, preview bool) (string, error) {
	current, err := client.GetDelivery(ctx, &inventorypb.GetDeliveryRequest{Name: s.site + "/deliveries/" + doc.id()})
	switch {
	case missing(err) && preview:
		return "would expect delivery", nil
	case missing(err):
		_, err = client.CreateDelivery(ctx, &inventorypb.CreateDeliveryRequest{Parent: s.site, DeliveryId: doc.id(), Delivery: doc.delivery})
		return "expected delivery", rpc.FromStatus(err)
	case err != nil:
		return "", rpc.FromStatus(err)
	}
	same := slices.EqualFunc(current.GetLines(), doc.delivery.GetLines(), func(x, y *inventorypb.DeliveryLine) bool {
		return x.GetItem() == y.GetItem() && x.GetExpectedMassKg() == y.GetExpectedMassKg()
	})
	if same {
		return "kept delivery", nil
	}
	if preview {
		return "would change delivery", nil
	}
	changed := proto.Clone(doc.delivery).(*inventorypb.Delivery)
	changed.Name, changed.Etag = current.GetName(), current.GetEtag()
	_, err = client.UpdateDelivery(ctx, &inventorypb.UpdateDeliveryRequest{Delivery: changed, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"lines"}}})
	return "changed delivery", rpc.FromStatus(err)
}

func missing(err error) bool {
	if err == nil {
		return false
	}
	return apierr.KindOf(rpc.FromStatus(err)) == apierr.KindNotFound
}

// FormatHelp tells what a kitchen file holds.
func FormatHelp() string {
	var b strings.Builder
	b.WriteString("A kitchen file begins with 'kitchen: 1' and has these sections:\n\n")
	for i := range sections {
		fmt.Fprintf(&b, "  %-16s %s\n", sections[i].key, sections[i].about)
	}
	b.WriteString("\nThe keys of a resource are shown by `rondeau RESOURCE add --help`; `rondeau export` writes a whole file.")
	return b.String()
}
