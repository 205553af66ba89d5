// Package cli is the command line of Rondeau: it starts the suite, and it is the client of the six people who use it.
// Client commands speak to the suite through the generated clients only.
package cli

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/user"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/auth"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/cli/view"
	"rondeau.internal/services/rondeau/suite"
)

// app is one invocation of the program.
type app struct {
	in       io.Reader
	out, err io.Writer

	// Persistent flags.
	data, address, ca, tokenFile string
	as, who                      string
	site, output, request, etag  string
	timeout                      time.Duration
	addresses                    map[string]string // per service, of a suite that does not run on a data folder

	conns map[string]*grpc.ClientConn
	zone  *time.Location
}

// Main runs the program and gives its exit status.
func Main(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) int {
	a := &app{in: in, out: out, err: errOut}
	defer a.close()
	root := a.root()
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	if err != nil {
		return a.report(errOut, err)
	}
	return 0
}

func (a *app) close() {
	for _, conn := range a.conns {
		_ = conn.Close() // the program ends
	}
}

// conn connects to a service on first use.
func (a *app) conn(service string) (*grpc.ClientConn, error) {
	target, key := a.address, "suite"
	if own := a.addresses[service]; own != "" {
		target, key = own, service
	}
	if conn := a.conns[key]; conn != nil {
		return conn, nil
	}
	ca := a.ca
	if target == "" {
		connection, err := suite.ReadConnection(a.data)
		if err != nil {
			return nil, err
		}
		target, ca = connection.Address, connection.CA
	}
	token, err := a.token()
	if err != nil {
		return nil, err
	}
	conn, err := rpc.Dial(target, rpc.DialConfig{CAFile: ca, Token: func() string { return token }})
	if err != nil {
		return nil, fmt.Errorf("connect to %s: %w", target, err)
	}
	if a.conns == nil {
		a.conns = map[string]*grpc.ClientConn{}
	}
	a.conns[key] = conn
	return conn, nil
}

// token is read from a file, or signed with the key of the data folder for the role that --as names.
func (a *app) token() (string, error) {
	if a.tokenFile != "" {
		text, err := os.ReadFile(a.tokenFile)
		if err != nil {
			return "", fmt.Errorf("read token: %w", err)
		}
		return strings.TrimSpace(string(text)), nil
	}
	principal, err := a.principal()
	if err != nil {
		return "", err
	}
	keys, err := auth.LoadOrCreateKeys(suite.KeyFile(a.data))
	if err != nil {
		return "", fmt.Errorf("sign token with the key of %s: %w", a.data, err)
	}
	return keys.Sign(principal, time.Hour)
}

// principal reads --as: a role, for an outlet with its id behind a slash.
func (a *app) principal() (auth.Principal, error) {
	role, outlet, _ := strings.Cut(a.as, "/")
	p := auth.Principal{Subject: a.who, Role: auth.Role(strings.ReplaceAll(role, "-", "_"))}
	if p.Subject == "" {
		if current, err := user.Current(); err == nil {
			p.Subject = current.Username
		} else {
			p.Subject = "somebody"
		}
	}
	switch p.Role {
	case "manager", "cook", "receiver", "safety_lead", "auditor":
		if outlet != "" {
			return p, usagef("--as %s: only the role outlet is followed by an outlet", a.as)
		}
	case "outlet":
		if outlet == "" {
			return p, usagef("--as outlet needs the outlet's id: --as outlet/corner-bistro")
		}
		p.Outlet = a.siteName() + "/outlets/" + outlet
	default:
		return p, usagef("--as %s: the roles are manager, cook, receiver, outlet/ID, safety_lead and auditor", a.as)
	}
	return p, nil
}

func (a *app) planning() (planningpb.PlanningServiceClient, error) {
	conn, err := a.conn("planning")
	return planningpb.NewPlanningServiceClient(conn), err
}

func (a *app) inventory() (inventorypb.InventoryServiceClient, error) {
	conn, err := a.conn("inventory")
	return inventorypb.NewInventoryServiceClient(conn), err
}

func (a *app) scheduling() (schedulingpb.SchedulingServiceClient, error) {
	conn, err := a.conn("scheduling")
	return schedulingpb.NewSchedulingServiceClient(conn), err
}

func (a *app) foodSafety() (foodsafetypb.FoodSafetyServiceClient, error) {
	conn, err := a.conn("foodsafety")
	return foodsafetypb.NewFoodSafetyServiceClient(conn), err
}

func (a *app) siteName() string { return "sites/" + a.site }

// name expands an id from the command line to a resource name of the site; a full name is taken as it is. `pattern`
// is below the site, such as "outlets/{outlet}/orders/{order}", whose ids are then given as OUTLET/ORDER.
func (a *app) name(pattern, id string) (string, error) {
	full := aip.MustPattern("sites/{site}/" + pattern)
	if strings.HasPrefix(id, "sites/") {
		_, err := full.Match(id)
		if err != nil {
			return "", usagef("%s is not the name of such a thing; it looks like sites/%s/%s", id, a.site, pattern)
		}
		return id, nil
	}
	ids := strings.Split(strings.TrimPrefix(id, strings.SplitN(pattern, "/", 2)[0]+"/"), "/")
	parts := strings.Split(pattern, "/")
	if len(ids) != len(parts)/2 {
		return "", usagef("%q: give it as %s", id, strings.ToUpper(idShape(parts)))
	}
	for _, one := range ids {
		err := aip.CheckID(one)
		if err != nil && one != "-" {
			return "", usagef("%v", err)
		}
	}
	return full.Format(append([]string{a.site}, ids...)...), nil
}

// idShape is "outlet/order" for the parts of "outlets/{outlet}/orders/{order}".
func idShape(parts []string) string {
	var ids []string
	for i := 1; i < len(parts); i += 2 {
		ids = append(ids, strings.Trim(parts[i], "{}"))
	}
	return strings.Join(ids, "/")
}

// call bounds a command's calls by --timeout.
func (a *app) call(cmd *cobra.Command) (context.Context, context.CancelFunc) {
	return context.WithTimeout(cmd.Context(), a.timeout)
}

// style shows times in the site's zone; when the site cannot be read they are shown in UTC.
func (a *app) style(ctx context.Context) view.Style {
	if a.zone == nil {
		a.zone = time.UTC
		if client, err := a.planning(); err == nil {
			site, err := client.GetSite(ctx, &planningpb.GetSiteRequest{Name: a.siteName()})
			if err == nil {
				if zone, err := time.LoadLocation(site.GetTimeZone()); err == nil {
					a.zone = zone
				}
			}
		}
	}
	return view.Style{Site: a.siteName(), Zone: a.zone}
}

// show prints one resource, as labelled lines or as JSON.
func (a *app) show(ctx context.Context, message proto.Message) error {
	if a.output == "json" {
		return view.JSON(a.out, false, message)
	}
	return a.style(ctx).Detail(a.out, message)
}

// table prints a list as a table with the given field paths, or as JSON with everything. An empty list says so on the
// error stream, so that it is not mistaken for data.
func table[M proto.Message](ctx context.Context, a *app, messages []M, paths ...string) error {
	if a.output == "json" {
		return view.JSON(a.out, true, messages...)
	}
	if len(messages) == 0 {
		_, err := fmt.Fprintln(a.err, "nothing to list")
		return err
	}
	return view.Table(a.style(ctx), messages, paths...).Write(a.out)
}

// answer prints the part of an answer that a person reads as a table, or as JSON the whole answer.
func answer[M proto.Message](ctx context.Context, a *app, whole proto.Message, list []M, paths ...string) error {
	if a.output == "json" {
		return a.show(ctx, whole)
	}
	return table(ctx, a, list, paths...)
}

// pages reads all pages of a list, up to `limit` resources (0 means all). `next` gets a page token and returns the
// page with the token of the one behind it.
func pages[M proto.Message](limit int, next func(token string) ([]M, string, error)) ([]M, error) {
	var all []M
	token := ""
	for {
		page, following, err := next(token)
		if err != nil {
			return nil, rpc.FromStatus(err)
		}
		all = append(all, page...)
		if limit > 0 && len(all) >= limit {
			return all[:limit], nil
		}
		if following == "" {
			return all, nil
		}
		token = following
	}
}
