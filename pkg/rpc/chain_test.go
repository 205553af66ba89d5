package rpc

import (
	"strings"
	"testing"
)

func TestUnaryAndStreamChainsHaveTheSameLinksInTheSameOrder(t *testing.T) {
	t.Parallel()
	var names []string
	for _, l := range (&Server{}).chain() {
		names = append(names, l.name)
		if l.unary == nil || l.stream == nil {
			t.Errorf("%s is missing for one kind of call", l.name)
		}
	}
	want := "request id and log, error mapping, recover, deadline guard, auth, validate, idempotency"
	if got := strings.Join(names, ", "); got != want {
		t.Errorf("order %s\nwant  %s", got, want)
	}
}

func TestRetryConfigRepeatsOnlySafeMethods(t *testing.T) {
	t.Parallel()
	c := retryConfig() // the services linked into this test binary
	for method, want := range map[string]bool{"GetItem": true, "ListItems": true, "CreateItem": true, "StreamReadings": false} {
		if got := strings.Contains(c, `"method":"`+method+`"`); got != want {
			t.Errorf("%s is repeated: %v, want %v", method, got, want)
		}
	}
	if strings.Contains(c, "DEADLINE") || !strings.Contains(c, `"retryableStatusCodes":["UNAVAILABLE"]`) {
		t.Errorf("config %s", c)
	}
}
