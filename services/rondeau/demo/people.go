package demo

import (
	"rondeau.internal/pkg/auth"
)

// The people of the demo kitchen, all invented.
var (
	manager     = auth.Principal{Subject: "nora.quill", Role: auth.Manager}
	receiver    = auth.Principal{Subject: "ezra.holt", Role: auth.Receiver}
	firstSafety = auth.Principal{Subject: "iris.vance", Role: auth.SafetyLead}
	otherSafety = auth.Principal{Subject: "paul.adeyemi", Role: auth.SafetyLead}
	auditor     = auth.Principal{Subject: "june.marsh", Role: auth.Auditor}
)

// cooks are the people of each crew, by the last part of the crew's name.
var cooks = map[string][]string{
	"early": {"ada.finch", "bruno.keller", "wen.castell", "sol.varga"},
	"late":  {"mina.okafor", "tomas.reyes", "olu.brandt", "pia.lindqvist"},
}

// here binds a person to the kitchen of the story.
func (w *world) here(p auth.Principal) *desk {
	p.Site = w.site
	return w.calls.as(p)
}

// cook is the next person of a crew in turn; a crew that the demo does not know has cooks numbered by its name.
func (w *world) cook(crew string) auth.Principal {
	id := idOf(crew)
	names := cooks[id]
	if len(names) == 0 {
		names = []string{"cook.of." + id}
	}
	turn := w.turns[id]
	w.turns[id]++
	return auth.Principal{Subject: names[turn%len(names)], Role: auth.Cook}
}

// orderer is the person who orders for an outlet.
func orderer(outlet string) auth.Principal {
	return auth.Principal{Subject: "orders." + idOf(outlet), Role: auth.Outlet, Outlet: outlet}
}
