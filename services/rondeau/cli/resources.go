package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/kitchen"
)

// resource is a kind of thing that can be listed and shown; its RPCs follow the standard methods, so one piece of code
// serves all. Kinds that a kitchen file holds can also be added and changed.
type resource struct {
	word, about string // command and its help
	group       string
	service     string // short name
	rpcs        string // full name of the gRPC service
	single      string // as in GetX
	plural      string // as in ListXs
	pattern     string // below the site
	columns     []string
	section     string // of a kitchen file; empty when it cannot be added by hand
	example     string // a filter
}

const (
	planningRPCs   = "rondeau.planning.v1.PlanningService"
	inventoryRPCs  = "rondeau.inventory.v1.InventoryService"
	schedulingRPCs = "rondeau.scheduling.v1.SchedulingService"
	foodSafetyRPCs = "rondeau.foodsafety.v1.FoodSafetyService"
)

var resources = []resource{
	{"outlet", "Outlets that order", "kitchen", "planning", planningRPCs, "Outlet", "Outlets", "outlets/{outlet}", []string{"name", "display_name", "dispatch_weekdays", "dispatch_time_of_day", "cut_off_duration", "active"}, "outlets", "active = true"},
	{"product", "Packs that outlets order", "kitchen", "planning", planningRPCs, "Product", "Products", "products/{product}", []string{"name", "display_name", "source_item", "net_mass_kg", "gtin", "active"}, "products", `source_item = "sites/quayside/items/demi-glace"`},
	{"formula", "How each material is made", "kitchen", "planning", planningRPCs, "Formula", "Formulas", "formulas/{formula}", []string{"name", "display_name", "output_item", "state", "approved_version"}, "formulas", "state = APPROVED"},
	{"par", "Levels that outlets and the freezer hold", "kitchen", "planning", planningRPCs, "Par", "Pars", "pars/{par}", []string{"name", "outlet", "product", "container_count", "counted_container_count"}, "pars", ""},
	{"order", "Orders of the outlets", "plan", "planning", planningRPCs, "Order", "Orders", "outlets/{outlet}/orders/{order}", []string{"name", "dispatch_date", "state", "lines", "cut_off_time", "note"}, "", `dispatch_date = "2027-03-03"`},
	{"plan", "Plans: batches and purchases for a horizon", "plan", "planning", planningRPCs, "Plan", "Plans", "plans/{plan}", []string{"name", "start_date", "end_date", "state", "summary.batch_count", "summary.purchase_count", "summary.shortage_count"}, "", "state = RELEASED"},
	{"batch", "Batches of a plan", "plan", "planning", planningRPCs, "Batch", "Batches", "batches/{batch}", []string{"name", "display_name", "state", "planned_output_kg", "container_count", "earliest_start_time", "due_time", "late"}, "", "state = RELEASED"},
	{"supplier", "Suppliers", "kitchen", "inventory", inventoryRPCs, "Supplier", "Suppliers", "suppliers/{supplier}", []string{"name", "display_name", "gln", "address", "contact"}, "suppliers", ""},
	{"item", "Everything that is bought, made or packed", "kitchen", "inventory", inventoryRPCs, "Item", "Items", "items/{item}", []string{"name", "display_name", "kind", "storage", "shelf_life", "max_receipt_temperature_celsius", "net_mass_kg"}, "items", "kind = PURCHASED"},
	{"location", "Where stock is kept", "kitchen", "inventory", inventoryRPCs, "Location", "Locations", "locations/{location}", []string{"name", "display_name", "kind"}, "locations", ""},
	{"delivery", "Deliveries, expected and received", "receive", "inventory", inventoryRPCs, "Delivery", "Deliveries", "deliveries/{delivery}", []string{"name", "supplier", "expected_date", "state", "lines", "receive_time", "receiver"}, "", "state = EXPECTED"},
	{"lot", "Lots of one material with one history", "receive", "inventory", inventoryRPCs, "Lot", "Lots", "lots/{lot}", []string{"name", "item", "on_hand_mass_kg", "use_by_date", "held", "released", "state"}, "", "held = true"},
	{"move", "Moves of stock, in double entry", "receive", "inventory", inventoryRPCs, "Move", "Moves", "moves/{move}", []string{"name", "kind", "batch", "run", "actor", "create_time"}, "", ""},
	{"container", "Sealed packs with their serials", "cook", "inventory", inventoryRPCs, "Container", "Containers", "containers/{container}", []string{"name", "product", "lot", "serial", "state", "shipment"}, "", "state = PACKED"},
	{"shipment", "Shipments to outlets", "plan", "inventory", inventoryRPCs, "Shipment", "Shipments", "shipments/{shipment}", []string{"name", "outlet", "order", "state", "dispatch_time", "receive_time"}, "", "state = DISPATCHED"},
	{"vessel", "Kettles, pans, ovens, chillers, freezers, fillers", "kitchen", "scheduling", schedulingRPCs, "Vessel", "Vessels", "vessels/{vessel}", []string{"name", "display_name", "vessel_class", "max_fill_liters", "load_capacity_kg", "power_watts", "state", "running_runs"}, "vessels", "state = DOWN"},
	{"crew", "Crews", "kitchen", "scheduling", schedulingRPCs, "Crew", "Crews", "crews/{crew}", []string{"name", "display_name", "headcount", "calendar"}, "crews", ""},
	{"calendar", "Shifts", "kitchen", "scheduling", schedulingRPCs, "Calendar", "Calendars", "calendars/{calendar}", []string{"name", "display_name", "time_zone"}, "calendars", ""},
	{"schedule", "Schedules: vessel, crew and time for each step", "plan", "scheduling", schedulingRPCs, "Schedule", "Schedules", "schedules/{schedule}", []string{"name", "plan", "state", "start_time", "end_time", "report.status", "report.late_batches", "report.gap"}, "", "state = PUBLISHED"},
	{"run", "Steps really carried out at a vessel", "cook", "scheduling", schedulingRPCs, "Run", "Runs", "batches/{batch}/runs/{run}", []string{"name", "kind", "state", "vessel", "crew", "planned_start_time", "planned_end_time", "start_time", "finish_time", "operator"}, "", "state = RUNNING"},
	{"profile", "Cooling limits", "safety", "foodsafety", foodSafetyRPCs, "LimitsProfile", "LimitsProfiles", "limitsProfiles/{limits_profile}", []string{"name", "display_name", "start_degrees", "stages", "source"}, "limits_profiles", ""},
	{"probe", "Thermometers", "safety", "foodsafety", foodSafetyRPCs, "Probe", "Probes", "probes/{probe}", []string{"name", "display_name", "device_id", "vessel", "calibration_date"}, "probes", ""},
	{"chill", "Chills: passages through the cooling limits", "safety", "foodsafety", foodSafetyRPCs, "Chill", "Chills", "chills/{chill}", []string{"name", "batch", "vessel", "state", "start_time", "at_risk"}, "", "state = IN_PROGRESS"},
	{"deviation", "Deviations and corrective actions", "safety", "foodsafety", foodSafetyRPCs, "Deviation", "Deviations", "deviations/{deviation}", []string{"name", "kind", "state", "description", "open_time"}, "", "state = OPEN"},
	{"hold", "Holds", "safety", "foodsafety", foodSafetyRPCs, "Hold", "Holds", "holds/{hold}", []string{"name", "subject", "reason", "deviation", "place_time", "lift_time"}, "", ""},
	{"release", "Signed releases of lots", "safety", "foodsafety", foodSafetyRPCs, "Release", "Releases", "releases/{release}", []string{"name", "lot", "signer", "sign_time", "meaning"}, "", ""},
}

// resourceCommands gives the command of each kind; more subcommands are added to them by word.
func (a *app) resourceCommands(root *cobra.Command) map[string]*cobra.Command {
	commands := map[string]*cobra.Command{}
	for _, r := range resources {
		command := &cobra.Command{Use: r.word, Short: r.about, Args: cobra.NoArgs, RunE: helpOf}
		command.AddCommand(a.listCommand(r), a.showCommand(r))
		if r.section != "" {
			command.AddCommand(a.addCommand(r), a.changeCommand(r))
		}
		group(root, r.group, command)
		commands[r.word] = command
	}
	return commands
}

// helpOf answers a command that only groups others.
func helpOf(cmd *cobra.Command, _ []string) error { return cmd.Help() }

func (a *app) connections() kitchen.Conns {
	return func(service string) grpc.ClientConnInterface {
		conn, err := a.conn(service)
		if err != nil {
			return failing{err}
		}
		return conn
	}
}

// failing is a connection that could not be made; each call on it tells why.
type failing struct{ err error }

func (f failing) Invoke(context.Context, string, any, any, ...grpc.CallOption) error { return f.err }

func (f failing) NewStream(context.Context, *grpc.StreamDesc, string, ...grpc.CallOption) (grpc.ClientStream, error) {
	return nil, f.err
}

func (r resource) message(kind string) (protoreflect.Message, error) {
	name := r.rpcs[:strings.LastIndex(r.rpcs, ".")] + "." + kind
	found, err := protoregistry.GlobalTypes.FindMessageByName(protoreflect.FullName(name))
	if err != nil {
		return nil, fmt.Errorf("message %s: %w", name, err)
	}
	return found.New(), nil
}

// nested reports whether the resource lies below another one, such as an order below its outlet.
func (r resource) nested() bool { return strings.Count(r.pattern, "/") > 1 }

// parentPattern is the pattern of what the resource lies below.
func (r resource) parentPattern() string {
	parts := strings.Split(r.pattern, "/")
	return strings.Join(parts[:len(parts)-2], "/")
}

func setString(m protoreflect.Message, field, value string) {
	m.Set(m.Descriptor().Fields().ByName(protoreflect.Name(field)), protoreflect.ValueOfString(value))
}

// scope names the outlet in a request of an outlet, which may see what is its own only.
func (a *app) scope(request protoreflect.Message) {
	field := request.Descriptor().Fields().ByName("outlet")
	if id, own := strings.CutPrefix(a.as, "outlet/"); own && field != nil {
		request.Set(field, protoreflect.ValueOfString(a.siteName()+"/outlets/"+id))
	}
}

func (a *app) listCommand(r resource) *cobra.Command {
	var filter string
	var limit int
	use, args := "list", cobra.NoArgs
	if r.nested() {
		use, args = "list ["+strings.ToUpper(idShape(strings.Split(r.parentPattern(), "/")))+"]", cobra.MaximumNArgs(1)
	}
	command := &cobra.Command{Use: use, Short: "List " + strings.ToLower(r.plural), Args: args, RunE: func(cmd *cobra.Command, args []string) error {
		parent := a.siteName()
		if r.nested() {
			id := "-"
			if _, own, found := strings.Cut(a.as, "outlet/"); found && r.parentPattern() == "outlets/{outlet}" {
				id = own // an outlet sees its own
			}
			if len(args) == 1 {
				id = args[0]
			}
			name, err := a.name(r.parentPattern(), id)
			if err != nil {
				return err
			}
			parent = name
		}
		ctx, cancel := a.call(cmd)
		defer cancel()
		messages, err := a.list(ctx, r, parent, filter, limit)
		if err != nil {
			return err
		}
		return table(ctx, a, messages, r.columns...)
	}}
	hint := "only those that match, in the filter language of AIP-160"
	if r.example != "" {
		hint += ", such as: " + r.example
	}
	command.Flags().StringVar(&filter, "filter", "", hint)
	command.Flags().IntVar(&limit, "limit", 0, "at most this many (0: all)")
	return command
}

func (a *app) list(ctx context.Context, r resource, parent, filter string, limit int) ([]proto.Message, error) {
	request, err := r.message("List" + r.plural + "Request")
	if err != nil {
		return nil, err
	}
	setString(request, "parent", parent)
	a.scope(request)
	if filter != "" {
		if request.Descriptor().Fields().ByName("filter") == nil {
			return nil, usagef("%s list takes no --filter", r.word)
		}
		setString(request, "filter", filter)
	}
	size := request.Descriptor().Fields().ByName("page_size")
	request.Set(size, protoreflect.ValueOfInt32(200))
	return pages(limit, func(token string) ([]proto.Message, string, error) {
		response, err := r.message("List" + r.plural + "Response")
		if err != nil {
			return nil, "", err
		}
		setString(request, "page_token", token)
		err = a.connections()(r.service).Invoke(ctx, "/"+r.rpcs+"/List"+r.plural, request.Interface(), response.Interface())
		if err != nil {
			return nil, "", err
		}
		fields := response.Descriptor().Fields()
		list := response.Get(fields.Get(0)).List()
		page := make([]proto.Message, list.Len())
		for i := range list.Len() {
			page[i] = list.Get(i).Message().Interface()
		}
		return page, response.Get(fields.ByName("next_page_token")).String(), nil
	})
}

func (a *app) get(ctx context.Context, r resource, name string) (proto.Message, error) {
	request, err := r.message("Get" + r.single + "Request")
	if err != nil {
		return nil, err
	}
	response, err := r.message(r.single)
	if err != nil {
		return nil, err
	}
	setString(request, "name", name)
	a.scope(request)
	err = a.connections()(r.service).Invoke(ctx, "/"+r.rpcs+"/Get"+r.single, request.Interface(), response.Interface())
	if err != nil {
		return nil, rpc.FromStatus(err)
	}
	return response.Interface(), nil
}

func (a *app) showCommand(r resource) *cobra.Command {
	shape := strings.ToUpper(idShape(strings.Split(r.pattern, "/")))
	return &cobra.Command{
		Use: "show " + shape, Short: "Show one " + r.word, Args: exactly(1, shape), ValidArgsFunction: a.completeIDs(r),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name(r.pattern, args[0])
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			message, err := a.get(ctx, r, name)
			if err != nil {
				return err
			}
			switch found := message.(type) {
			case *planningpb.Plan:
				return a.showPlan(ctx, found)
			case *planningpb.Batch:
				return a.showBatch(ctx, found)
			case *planningpb.Formula:
				return a.showFormula(ctx, found)
			}
			return a.show(ctx, message)
		},
	}
}

func (a *app) addCommand(r resource) *cobra.Command {
	return &cobra.Command{
		Use: "add ID KEY=VALUE ...", Short: "Add " + article(r.word), Args: atLeast(2, "an ID and KEY=VALUE words"),
		Long: "Add " + article(r.word) + ". Keys and values are those of a kitchen file:\n\n" + kitchen.Keys(r.section),
		RunE: func(cmd *cobra.Command, args []string) error {
			entry, err := kitchen.Single(a.siteName(), r.section, args[0], args[1:])
			if err != nil {
				return usagef("%v", err)
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			message, err := kitchen.CreateOne(ctx, a.connections(), entry)
			if err != nil {
				return err
			}
			return a.show(ctx, message)
		},
	}
}

func (a *app) changeCommand(r resource) *cobra.Command {
	return &cobra.Command{
		Use: "change ID KEY=VALUE ...", Short: "Change " + article(r.word), Args: atLeast(2, "an ID and KEY=VALUE words"), ValidArgsFunction: a.completeIDs(r),
		Long: "Change " + article(r.word) + "; keys that are not named keep their values. The keys are those of a kitchen file:\n\n" + kitchen.Keys(r.section),
		RunE: func(cmd *cobra.Command, args []string) error {
			entry, err := kitchen.Single(a.siteName(), r.section, args[0], args[1:])
			if err != nil {
				return usagef("%v", err)
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			message, err := kitchen.ChangeOne(ctx, a.connections(), entry, args[1:])
			if err != nil {
				return err
			}
			if message == nil {
				return usagef("there is no %s %s; `rondeau %s list` shows those there are", r.word, args[0], r.word)
			}
			return a.show(ctx, message)
		},
	}
}

// completeIDs offers the ids of a kind to the shell.
func (a *app) completeIDs(r resource) func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return func(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
		if len(args) > 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		ctx, cancel := a.call(cmd)
		defer cancel()
		parent := a.siteName()
		if r.nested() {
			name, err := a.name(r.parentPattern(), "-")
			if err != nil {
				return nil, cobra.ShellCompDirectiveError
			}
			parent = name
		}
		messages, err := a.list(ctx, r, parent, "", 500)
		if err != nil {
			return nil, cobra.ShellCompDirectiveError
		}
		style := a.style(ctx)
		var ids []string
		for _, message := range messages {
			m := message.ProtoReflect()
			id := style.ID(m.Get(m.Descriptor().Fields().ByName("name")).String())
			if strings.HasPrefix(id, typed) {
				ids = append(ids, id)
			}
		}
		slices.Sort(ids)
		return ids, cobra.ShellCompDirectiveNoFileComp
	}
}

func resourceByWord(word string) resource {
	for _, r := range resources {
		if r.word == word {
			return r
		}
	}
	panic("cli: no resource " + word)
}

// exactly refuses another number of arguments and says what is missing.
func exactly(n int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != n {
			return usagef("%s needs %s; see: %s --help", cmd.CommandPath(), what, cmd.CommandPath())
		}
		return nil
	}
}

func atLeast(n int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < n {
			return usagef("%s needs %s; see: %s --help", cmd.CommandPath(), what, cmd.CommandPath())
		}
		return nil
	}
}
