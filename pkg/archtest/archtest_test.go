// Package archtest checks who imports whom, so that `go test ./...` tells the truth about the layering on every machine.
package archtest

import (
	"bufio"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

const module = "rondeau.internal/"

// rule forbids imports to the packages that match. Patterns are regular expressions over paths below the module.
type rule struct {
	name      string
	packages  string
	forbidden string // over full import paths
	because   string
}

var services = []string{"planning", "inventory", "scheduling", "foodsafety"}

var rules = []rule{
	{
		name:      "the pure cores know no transport, storage, clock or log",
		packages:  `^pkg/(units|thermo|simmer|chill|microbe|explode|sched|gs1)(/.*)?$`,
		forbidden: `^(context|database/sql|log|log/slog|net|net/http|google\.golang\.org/.*|github\.com/(nats-io|jackc)/.*|modernc\.org/.*|go\.opentelemetry\.io/.*|rondeau\.internal/(pkg/(gen|clock|rpc|sqldb|bus|outbox|auth)|services)(/.*)?)$`,
		because:   "they are inputs in, result out",
	},
	{
		name:      "a domain package knows no protos, drivers, broker or tracing",
		packages:  `^services/(planning|inventory|scheduling|foodsafety)$`,
		forbidden: `^(database/sql|google\.golang\.org/.*|github\.com/(nats-io|jackc|pressly)/.*|modernc\.org/.*|go\.opentelemetry\.io/.*|rondeau\.internal/(pkg/(gen|rpc|sqldb|bus|outbox)|services)(/.*)?)$`,
		because:   "technologies are its subpackages",
	},
	{
		name:      "an API adapter knows no store",
		packages:  `^services/(planning|inventory|scheduling|foodsafety)/grpcapi$`,
		forbidden: `^(database/sql|github\.com/(nats-io|jackc|pressly)/.*|modernc\.org/.*|rondeau\.internal/(pkg/(bus|outbox)|services/[a-z]+/(sqlstore|postgres|sqlite|events|server))(/.*)?)$`,
		because:   "it converts protos and calls the domain, nothing else",
	},
	{
		name:      "a store knows no protos",
		packages:  `^services/(planning|inventory|scheduling|foodsafety)/(sqlstore|postgres|sqlite)(/.*)?$`,
		forbidden: `^(google\.golang\.org/grpc(/.*)?|rondeau\.internal/(pkg/(gen|rpc|bus)|services/[a-z]+/(grpcapi|events|server))(/.*)?)$`,
		because:   "an API change must not reach the storage",
	},
}

// imports maps each package of the module to its direct, non-test imports.
func imports(t *testing.T) map[string][]string {
	t.Helper()
	command := exec.Command("go", "list", "-f", `{{.ImportPath}}{{range .Imports}} {{.}}{{end}}`, module+"...")
	command.Dir = filepath.Join("..", "..")
	command.Stderr = os.Stderr
	output, err := command.Output()
	if err != nil {
		t.Fatalf("list packages: %v", err)
	}
	found := map[string][]string{}
	scanner := bufio.NewScanner(strings.NewReader(string(output)))
	scanner.Buffer(nil, 1<<20)
	for scanner.Scan() {
		words := strings.Fields(scanner.Text())
		if len(words) > 0 {
			found[strings.TrimPrefix(words[0], module)] = words[1:]
		}
	}
	if len(found) == 0 {
		t.Fatal("no packages listed")
	}
	return found
}

func TestImportsFollowTheLayers(t *testing.T) {
	all := imports(t)
	for _, r := range rules {
		t.Run(r.name, func(t *testing.T) {
			packages, forbidden := regexp.MustCompile(r.packages), regexp.MustCompile(r.forbidden)
			matched := false
			for name, list := range all {
				if !packages.MatchString(name) {
					continue
				}
				matched = true
				for _, imported := range list {
					if forbidden.MatchString(imported) && imported != module+name {
						t.Errorf("%s imports %s: %s", name, imported, r.because)
					}
				}
			}
			if !matched {
				t.Errorf("no package matches %s: the rule checks nothing", r.packages)
			}
		})
	}
}

// A service reaches another only through its generated client, wrapped in a package of its own.
func TestServicesMeetOnlyThroughTheirAPIs(t *testing.T) {
	all := imports(t)
	for name, list := range all {
		parts := strings.Split(name, "/")
		if len(parts) < 2 || parts[0] != "services" || !isService(parts[1]) {
			continue
		}
		own := parts[1]
		for _, imported := range list {
			local, inside := strings.CutPrefix(imported, module)
			if !inside {
				continue
			}
			other := strings.Split(local, "/")
			if other[0] == "services" && other[1] != own && isService(other[1]) {
				t.Errorf("%s imports %s", name, local)
			}
			if strings.HasPrefix(local, "pkg/gen/rondeau/") && isService(other[3]) && other[3] != own {
				base := path.Base(name)
				if base != other[3]+"client" && base != "events" {
					t.Errorf("%s imports the generated code of %s outside %sclient or events", name, other[3], other[3])
				}
			}
		}
	}
}

func isService(name string) bool {
	for _, service := range services {
		if service == name {
			return true
		}
	}
	return false
}

func TestNoPackageIsNamedAfterNothing(t *testing.T) {
	vague := regexp.MustCompile(`(^|/)(util|utils|common|helpers|models|types|misc|shared|base)$`)
	for name := range imports(t) {
		if vague.MatchString(name) {
			t.Errorf("%s has no subject", name)
		}
	}
}
