package kitchen

import (
	"strings"

	"google.golang.org/protobuf/proto"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
)

// section is one kind of resource in a kitchen file.
type section struct {
	key       string        // key in the file
	service   string        // full name of the gRPC service that owns it
	resource  string        // singular CamelCase as in the RPC names
	plural    string        // plural CamelCase
	pattern   string        // name pattern
	prototype proto.Message // empty message of the kind
	single    bool          // one per site: the section holds its fields directly
	about     string        // what the section is for, shown by `rondeau import --help` and in written files
}

const (
	planningService   = "rondeau.planning.v1.PlanningService"
	inventoryService  = "rondeau.inventory.v1.InventoryService"
	schedulingService = "rondeau.scheduling.v1.SchedulingService"
	foodSafetyService = "rondeau.foodsafety.v1.FoodSafetyService"
)

// sections stand in the order in which they are written, so that what is referred to exists first.
var sections = []section{
	{"site", planningService, "Site", "Sites", "sites/{site}", &planningpb.Site{}, true, "the kitchen itself"},
	{"suppliers", inventoryService, "Supplier", "Suppliers", "sites/{site}/suppliers/{supplier}", &inventorypb.Supplier{}, false, "who delivers"},
	{"locations", inventoryService, "Location", "Locations", "sites/{site}/locations/{location}", &inventorypb.Location{}, false, "where stock is kept"},
	{"items", inventoryService, "Item", "Items", "sites/{site}/items/{item}", &inventorypb.Item{}, false, "everything that is bought, made or packed"},
	{"stock_policy", inventoryService, "StockPolicy", "StockPolicies", "sites/{site}/stockPolicy", &inventorypb.StockPolicy{}, true, "rules of the store"},
	{"calendars", schedulingService, "Calendar", "Calendars", "sites/{site}/calendars/{calendar}", &schedulingpb.Calendar{}, false, "shifts"},
	{"crews", schedulingService, "Crew", "Crews", "sites/{site}/crews/{crew}", &schedulingpb.Crew{}, false, "people who work a calendar together"},
	{"vessels", schedulingService, "Vessel", "Vessels", "sites/{site}/vessels/{vessel}", &schedulingpb.Vessel{}, false, "kettles, pans, ovens, chillers, freezers, fillers"},
	{"kitchen_limits", schedulingService, "KitchenLimits", "KitchenLimits", "sites/{site}/kitchenLimits", &schedulingpb.KitchenLimits{}, true, "power and what a schedule weighs"},
	{"limits_profiles", foodSafetyService, "LimitsProfile", "LimitsProfiles", "sites/{site}/limitsProfiles/{limits_profile}", &foodsafetypb.LimitsProfile{}, false, "cooling limits beside the built-in ones"},
	{"probes", foodSafetyService, "Probe", "Probes", "sites/{site}/probes/{probe}", &foodsafetypb.Probe{}, false, "thermometers"},
	{"formulas", planningService, "Formula", "Formulas", "sites/{site}/formulas/{formula}", &planningpb.Formula{}, false, "how each material is made; a change makes a new approved version"},
	{"products", planningService, "Product", "Products", "sites/{site}/products/{product}", &planningpb.Product{}, false, "packs that outlets order"},
	{"outlets", planningService, "Outlet", "Outlets", "sites/{site}/outlets/{outlet}", &planningpb.Outlet{}, false, "who orders"},
	{"pars", planningService, "Par", "Pars", "sites/{site}/pars/{par}", &planningpb.Par{}, false, "levels to hold"},
}

func sectionByKey(key string) *section {
	for i := range sections {
		if sections[i].key == key {
			return &sections[i]
		}
	}
	return nil
}

// name is the resource name of an id in this section.
func (s *section) name(site, id string) string {
	if s.single {
		return strings.Replace(s.pattern, "sites/{site}", site, 1)
	}
	return expand(s.pattern, site, id)
}

// typeName is the section's resource type as the protos name it.
func (s *section) typeName() string { return "rondeau.internal/" + s.resource }

// package name of the service's protos: "rondeau.planning.v1".
func (s *section) protoPackage() string { return s.service[:strings.LastIndex(s.service, ".")] }

// snake is the field that carries the resource in requests: "limits_profile".
func (s *section) snake() string {
	var b strings.Builder
	for i, r := range s.resource {
		if r >= 'A' && r <= 'Z' {
			if i > 0 {
				b.WriteByte('_')
			}
			r += 'a' - 'A'
		}
		b.WriteRune(r)
	}
	return b.String()
}

// patterns maps each resource type that kitchen files refer to to its name pattern.
func patterns() map[string]string {
	all := map[string]string{"rondeau.internal/Order": "sites/{site}/outlets/{outlet}/orders/{order}"}
	for i := range sections {
		all[sections[i].typeName()] = sections[i].pattern
	}
	return all
}
