package outbox_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/wrapperspb"

	"rondeau.internal/pkg/outbox"
)

func TestAMessageComesOutOfAnEventAsItWentIn(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	e, err := outbox.NewEvent("rondeau.test.v1.lot.created", "lots/1", at, wrapperspb.String("stock"))
	if err != nil {
		t.Fatal(err)
	}
	if e.Subject != "rondeau.test.v1.lot.created" || e.Resource != "lots/1" || !e.Time.Equal(at) {
		t.Errorf("%+v", e)
	}
	refused := errors.New("refused")
	err = outbox.Read(e, &wrapperspb.StringValue{}, func(m *wrapperspb.StringValue) error {
		if m.GetValue() != "stock" {
			t.Errorf("read %q", m.GetValue())
		}
		return refused
	})
	if !errors.Is(err, refused) {
		t.Errorf("the error of the reader came back as %v", err)
	}
}

func TestABrokenPayloadIsNotHandedOn(t *testing.T) {
	t.Parallel()
	e := outbox.Event{ID: "e1", Subject: "rondeau.test.v1.lot.created", Payload: []byte{0xff}}
	err := outbox.Read(e, &wrapperspb.StringValue{}, func(*wrapperspb.StringValue) error {
		t.Error("handed on")
		return nil
	})
	if err == nil || !strings.Contains(err.Error(), "rondeau.test.v1.lot.created e1") {
		t.Errorf("got %v", err)
	}
	if _, err := outbox.NewEvent("s", "lots/1", time.Time{}, wrapperspb.String("\xff")); err == nil || !strings.Contains(err.Error(), "s of lots/1") {
		t.Errorf("text that is not UTF-8: %v", err)
	}
}
