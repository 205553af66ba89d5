package cli

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
)

func TestMessagesOfServicesAreToldInTheWordsOfTheCommandLine(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ says, plain string }{
		{"outlet sites/harbour/outlets/bar does not exist", "outlet bar does not exist"},
		{"delivery sites/harbour/deliveries/d-1 does not exist", "delivery d-1 does not exist"},
		{"batch sites/harbour/batches/b-1 does not exist", "batch b-1 does not exist"},
		{"order sites/harbour/outlets/bar/orders/o-1 exists already", "order bar/o-1 exists already"},
		{"sites/other/outlets/bar is of another kitchen", "sites/other/outlets/bar is of another kitchen"},
		{"the request is not valid: order.lines[1].container_count: must be greater than or equal to 1 and less than or equal to 9", "line 2, container count: must be from 1 to 9"},
		{"the request is not valid: measurement.temperature_celsius: must be finite", "temperature: must be finite"},
		{"outlet.dispatch_time_of_day: does not match regex pattern `^([01][0-9]|2[0-3]):[0-5][0-9]$`", "dispatch time of day: give a time of day such as 06:30"},
		{"order.dispatch_date: does not match regex pattern `^[0-9]{4}-[0-9]{2}-[0-9]{2}$`", "dispatch date: give a day such as 2027-03-01"},
		{"request_id \"r\" was used before for another /rondeau.planning.v1.PlanningService/CreateOrder", "request_id \"r\" was used before for another CreateOrder"},
		{"sites/harbour/chills/c is PASSED: it was finished already", "chills/c is passed: it was finished already"},
	} {
		if got := plain(c.says, "sites/harbour"); got != c.plain {
			t.Errorf("%q is told as %q, want %q", c.says, got, c.plain)
		}
	}
}

func TestAnErrorIsReportedOnceWithWhatWasDone(t *testing.T) {
	t.Parallel()
	a := &app{site: "harbour", zone: time.FixedZone("", -5*3600)}
	refused := apierr.FailedPrecondition("CLOSED", "sites/harbour/outlets/bar closed at 2027-03-01T17:00:00Z").
		WithViolation("request_id", "used before").WithViolation("order.dispatch_date", "is over")
	var out bytes.Buffer
	status := a.report(&out, errors.Join(fmt.Errorf("sheet.csv:2: %w", refused), usagef("give a day")))
	want := "rondeau: sheet.csv:2: outlets/bar closed at Mon 2027-03-01 12:00\n  dispatch date: is over\n  (CLOSED)\nrondeau: give a day\n"
	if status != exitUsage || out.String() != want {
		t.Errorf("status %d, said\n%s\nwant\n%s", status, out.String(), want)
	}
	if strings.Contains(out.String(), "request_id") {
		t.Error("the violation of the request id says nothing new")
	}
}
