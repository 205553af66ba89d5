package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/benchfmt"
	"rondeau.internal/pkg/sched/kitchengen"
)

const kitchenFamily = "kitchen"

// benchCase is one instance to be measured.
type benchCase struct {
	family, group, name string
	read                func() (sched.Instance, error)
	known               known
	disturb             func(seed uint64) (replan, error) // of family replan, instead of read
}

// known is what is published about an instance.
type known struct {
	lower, upper       int64
	hasLower, hasUpper bool
	infeasible         bool
}

// family is how the instances of one kind are found: the list of best-known values names them.
type family struct {
	folder, list, extension string
	read                    func(r io.Reader, name string) (sched.Instance, error)
	// adapt makes the variant of the instance that a row of the list is about; nil takes the instance as it is.
	adapt func(dir string, row map[string]string) (variant, error)
}

// variant is a published instance with a change.
type variant struct {
	file, name string // of the file, without its extension; of the variant
	change     func(sched.Instance) sched.Instance
}

var families = map[string]family{
	"fjsp":         {folder: "fjsp", list: "best-known.csv", extension: ".fjs", read: benchfmt.FlexibleJobShop},
	"fjsp-workers": {folder: "fjsp-workers", list: "best-known.csv", extension: ".fjsw", read: benchfmt.FlexibleJobShopWorkers},
	"jsp":          {folder: "jsp", list: "best-known.csv", extension: ".txt", read: benchfmt.JobShop},
	"jsp-blocking": {folder: "jsp", list: "best-known-blocking.csv", extension: ".txt", read: benchfmt.JobShop, adapt: blocking},
	"jsp-operators": {
		folder: "jsp", list: "best-known-operators.csv", extension: ".txt", read: benchfmt.JobShop, adapt: operators,
	},
	"jsp-tardiness": {folder: "jsp", list: "best-known-twt.csv", extension: ".txt", read: benchfmt.JobShop, adapt: tardiness},
	"rcpsp":         {folder: "rcpsp", list: "best-known.csv", extension: ".sm", read: benchfmt.RCPSP},
	"rcpspmax":      {folder: "rcpspmax", list: "best-known.csv", extension: ".sch", read: benchfmt.RCPSPMax},
}

func familyNames() []string {
	names := []string{kitchenFamily, replanFamily}
	for name := range families {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

func load(s settings) ([]benchCase, error) {
	var out []benchCase
	for _, name := range s.families {
		if name == kitchenFamily {
			out = append(out, kitchens(s)...)
			continue
		}
		if name == replanFamily {
			out = append(out, replans(s)...)
			continue
		}
		cases, err := families[name].load(name, s)
		if err != nil {
			return nil, err
		}
		out = append(out, cases...)
	}
	return out, nil
}

// kitchens are generated kitchens of given sizes, several of each.
func kitchens(s settings) []benchCase {
	var out []benchCase
	for _, n := range s.sizes {
		for k := range s.kitchens {
			name := fmt.Sprintf("kitchen-%d", n)
			if k > 0 {
				name += fmt.Sprintf("-%d", k+1)
			}
			out = append(out, benchCase{
				family: kitchenFamily, group: fmt.Sprintf("%d batches", n), name: name,
				read: func() (sched.Instance, error) {
					return kitchengen.Kitchen(uint64(k+1), kitchengen.Size{Batches: n}), nil
				},
			})
		}
	}
	return out
}

func (f family) load(name string, s settings) ([]benchCase, error) {
	dir := filepath.Join(s.instances, f.folder)
	rows, err := readRows(filepath.Join(dir, f.list))
	if err != nil {
		return nil, fmt.Errorf("%w; --instances names the folder with the published instances", err)
	}
	var out []benchCase
	for i, row := range rows {
		v := variant{file: row["instance"], name: row["instance"]}
		if f.adapt != nil {
			if v, err = f.adapt(dir, row); err != nil {
				return nil, err
			}
		}
		c := benchCase{family: name, name: v.name, group: groupOf(name, v.name)}
		if ok, _ := path.Match(s.match, c.name); !ok { // the pattern was checked
			continue
		}
		if c.known, err = publishedValues(row); err != nil {
			return nil, fmt.Errorf("%s, line %d: %w", f.list, i+2, err)
		}
		c.read = func() (sched.Instance, error) {
			in, err := f.file(filepath.Join(dir, v.file+f.extension), v.file)
			if err != nil || v.change == nil {
				return in, err
			}
			return v.change(in), nil
		}
		out = append(out, c)
	}
	return out, nil
}

func (f family) file(name, instance string) (sched.Instance, error) {
	b, err := os.ReadFile(name)
	if err != nil {
		return sched.Instance{}, err
	}
	return f.read(bytes.NewReader(b), instance)
}

func readRows(file string) ([]map[string]string, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	all, err := csv.NewReader(f).ReadAll()
	if err := errors.Join(err, f.Close()); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("%s is empty", file)
	}
	var out []map[string]string
	for _, cells := range all[1:] {
		row := map[string]string{}
		for i, head := range all[0] {
			row[head] = cells[i]
		}
		out = append(out, row)
	}
	return out, nil
}

func publishedValues(row map[string]string) (known, error) {
	var k known
	for _, field := range []struct {
		text  string
		value *int64
		there *bool
	}{{row["lower_bound"], &k.lower, &k.hasLower}, {row["upper_bound"], &k.upper, &k.hasUpper}} {
		switch field.text {
		case "":
		case "infeasible":
			k.infeasible = true
		default:
			n, err := strconv.ParseInt(field.text, 10, 64)
			if err != nil {
				return k, err
			}
			*field.value, *field.there = n, true
		}
	}
	return k, nil
}

var (
	flexibility = regexp.MustCompile(`_([a-z]+data)$`)
	letters     = regexp.MustCompile(`^[a-z]+`)
	dueFactor   = regexp.MustCompile(`_(f[0-9]+)$`)
	projectSize = regexp.MustCompile(`^j(30|60|90|120)`)
)

// groupOf names the series that an instance was published in, as far as its name tells. It serves the summary only.
func groupOf(family, name string) string {
	switch family {
	case "fjsp":
		if m := flexibility.FindStringSubmatch(name); m != nil {
			return m[1]
		}
		if strings.HasPrefix(name, "mt") || strings.HasPrefix(name, "setb") || strings.HasPrefix(name, "seti") {
			return "barnes"
		}
	case "rcpsp":
		if m := projectSize.FindStringSubmatch(name); m != nil {
			return "j" + m[1]
		}
	case "jsp-tardiness":
		if m := dueFactor.FindStringSubmatch(name); m != nil {
			return m[1]
		}
	case "jsp-blocking", "jsp-operators", "rcpspmax":
		return family
	}
	return letters.FindString(name)
}

func blocking(_ string, row map[string]string) (variant, error) {
	return variant{file: row["instance"], name: row["instance"], change: benchfmt.WithBlocking}, nil
}

func operators(_ string, row map[string]string) (variant, error) {
	n, err := strconv.ParseInt(row["operators"], 10, 64)
	if err != nil {
		return variant{}, fmt.Errorf("operators of %s: %w", row["instance"], err)
	}
	return variant{
		file: row["instance"], name: row["instance"] + "-" + row["operators"],
		change: func(in sched.Instance) sched.Instance { return benchfmt.WithOperators(in, n) },
	}, nil
}

// tardiness reads the due dates of the jobs from a list beside the instances.
func tardiness(dir string, row map[string]string) (variant, error) {
	rows, err := readRows(filepath.Join(dir, "twt-duedates.csv"))
	if err != nil {
		return variant{}, err
	}
	v := variant{name: row["instance"]}
	var dues []benchfmt.Due
	for _, r := range rows {
		if r["instance"] != row["instance"] {
			continue
		}
		v.file = r["base"]
		var d benchfmt.Due
		var faults [3]error
		d.Job, faults[0] = strconv.Atoi(r["job"])
		d.Weight, faults[1] = strconv.ParseInt(r["weight"], 10, 64)
		d.Due, faults[2] = strconv.ParseInt(r["due"], 10, 64)
		if err := errors.Join(faults[:]...); err != nil {
			return variant{}, fmt.Errorf("due dates of %s: %w", row["instance"], err)
		}
		dues = append(dues, d)
	}
	if len(dues) == 0 {
		return variant{}, fmt.Errorf("no due dates of %s", row["instance"])
	}
	v.change = func(in sched.Instance) sched.Instance { return benchfmt.WithDueDates(in, dues) }
	return v, nil
}
