package inventory

import (
	"context"
	"fmt"
	"regexp"
	"strings"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/gs1"
)

// Scan is what a code means.
type Scan struct {
	Container *Container
	Lot       *LotView
	Shipment  *Shipment
	Warnings  []string
	Elements  []string // application identifiers and values of the code
}

var eighteenDigits = regexp.MustCompile(`^[0-9]{18}$`)

// ScanContainer reads a code: an element string with or without brackets or symbology identifier, a Digital Link, a serial number, an SSCC or a
// resource name. When outlet is given, what belongs to another outlet does not exist for the caller.
func (s *Service) ScanContainer(ctx context.Context, site, code, outlet string) (*Scan, error) {
	code = strings.Trim(code, " \t\r\n")
	var out *Scan
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		out = &Scan{}
		m, err := s.find(ctx, site, code, out)
		if err != nil {
			return err
		}
		for _, e := range m {
			out.Elements = append(out.Elements, "("+e.AI+")"+e.Value)
		}
		unknown := apierr.New(apierr.KindNotFound, CodeUnknown, "no container and no shipment of %s carries the code %q; check that it was packed here", site, code).
			With("site", site).With("code", code)
		switch {
		case out.Shipment != nil:
			if outlet != "" && out.Shipment.Outlet != outlet {
				return unknown
			}
			return nil
		case out.Container == nil, outlet != "" && out.Container.Outlet != outlet:
			return unknown
		}
		l, err := s.store.Lots().Get(ctx, out.Container.Lot)
		if err != nil {
			return err
		}
		if out.Lot, err = s.view(ctx, l); err != nil {
			return err
		}
		return s.warn(ctx, out, m)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// find looks a code up; the message is empty for codes that are none of GS1.
func (s *Service) find(ctx context.Context, site, code string, out *Scan) (gs1.Message, error) {
	var err error
	if strings.HasPrefix(code, "sites/") {
		if err := sameSite(site, code); err != nil {
			return nil, err
		}
		if Collection(code) == "shipments" {
			out.Shipment, err = s.store.Shipments().Get(ctx, code)
		} else {
			out.Container, err = s.store.Containers().Get(ctx, code)
		}
		return nil, err
	}
	if out.Container, err = s.store.ContainerBySerial(ctx, site, "", strings.ToUpper(code)); err != nil || out.Container != nil {
		return nil, err
	}
	if eighteenDigits.MatchString(code) && gs1.SSCC.Check(code) == nil {
		out.Shipment, err = s.store.ShipmentBySSCC(ctx, site, code)
		return nil, err
	}
	m, err := readCode(code)
	if err != nil {
		return nil, apierr.InvalidArgument(CodeUnreadable, "the code cannot be read (%v); scan again or type the serial number under the symbol", err).
			With("code", code).WithViolation("code", "%v", err)
	}
	if sscc, ok := m.Get("00"); ok {
		out.Shipment, err = s.store.ShipmentBySSCC(ctx, site, sscc)
		return m, err
	}
	serial, ok := m.Get("21")
	if !ok {
		return nil, apierr.InvalidArgument(CodeUnreadable, "the code %s names no single container: it has no serial number (21); scan the label of the container", m).
			With("code", code).WithViolation("code", "has no serial number (21)")
	}
	gtin, _ := m.Get("01")
	out.Container, err = s.store.ContainerBySerial(ctx, site, gtin, serial)
	return m, err
}

func readCode(code string) (gs1.Message, error) {
	switch {
	case strings.HasPrefix(code, "http://"), strings.HasPrefix(code, "https://"):
		return gs1.ParseDigitalLink(code)
	case strings.HasPrefix(code, "("):
		return gs1.ParseBracketed(code)
	case strings.HasPrefix(code, "]"):
		_, m, err := gs1.ParseScan(code)
		return m, err
	}
	return gs1.Parse(code)
}

// warn says what to mind about a container.
func (s *Service) warn(ctx context.Context, out *Scan, m gs1.Message) error {
	c, l := out.Container, out.Lot
	say := func(format string, args ...any) { out.Warnings = append(out.Warnings, fmt.Sprintf(format, args...)) }
	if l.Held {
		say("Lot %s is on hold (%s): do not use, sell or ship it.", l.Code, strings.Join(l.Holds, ", "))
	}
	b, err := s.open(ctx, SiteOf(c.Name), MoveShip, s.now())
	if err != nil {
		return err
	}
	held, err := b.heldAncestor(l.Lot)
	if err != nil {
		return err
	}
	if held != "" {
		say("Lot %s was made with %s, which is on hold: do not use, sell or ship it.", l.Code, held)
	}
	if l.Expired {
		say("The last day of use was %s.", l.UseBy)
	}
	if l.ReleaseRequired && !l.Released {
		say("Lot %s is not released.", l.Code)
	}
	switch c.State {
	case ContainerDestroyed, ContainerUsed, ContainerMissed:
		say("By the books this container is %s.", strings.ToLower(string(c.State)))
	}
	if code, ok := m.Get("10"); ok && code != l.Code {
		say("The code says lot %s, the books say %s.", code, l.Code)
	}
	for _, ai := range []string{"15", "17"} {
		if day, ok := m.Get(ai); ok && l.UseBy != "" {
			if want, err := gs1Day(l.UseBy); err == nil && day != want {
				say("The code says last day %s, the books say %s.", day, l.UseBy)
			}
		}
	}
	return nil
}
