package cli

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/gs1"
	"rondeau.internal/pkg/label"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/units"
)

func (a *app) labelCommand() *cobra.Command {
	var png, lot string
	var scale, width int
	command := &cobra.Command{
		Use: "label CONTAINER ...", Short: "Print the label of a container, as text or as a GS1 DataMatrix symbol", ValidArgsFunction: a.completeIDs(resourceByWord("container")),
		Long: `Print the label of each container that is named, or with --lot of each container of a lot. With --png the GS1 DataMatrix symbol
of one container is written to a file.

A label repeats what the records say. It supports and does not replace the local labelling law and the qualified person who
answers for dates and allergens.`,
		Example: "  rondeau label c-118 --png c-118.png\n  rondeau label --lot p-31",
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 && lot == "" {
				return usagef("rondeau label needs CONTAINER ..., or --lot LOT; see: rondeau label --help")
			}
			if scale < 1 || scale > 64 {
				return usagef("--scale %d: give pixels from 1 to 64", scale)
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			containers, err := a.labelled(ctx, args, lot)
			if err != nil {
				return err
			}
			if png != "" {
				if len(containers) != 1 {
					return usagef("--png writes the symbol of one container; %d are named", len(containers))
				}
				return a.writeSymbol(containers[0], png, scale)
			}
			if a.output == "json" {
				return table(ctx, a, containers)
			}
			for i, c := range containers {
				if i > 0 {
					fmt.Fprintln(a.out)
				}
				err = a.writeLabel(ctx, c, width)
				if err != nil {
					return err
				}
			}
			return nil
		},
	}
	command.Flags().StringVar(&png, "png", "", "file for the GS1 DataMatrix symbol of one container")
	command.Flags().IntVar(&scale, "scale", 6, "pixels for each module of the symbol, 1 to 64")
	command.Flags().StringVar(&lot, "lot", "", "all containers of this lot")
	command.Flags().IntVar(&width, "width", 48, "signs in a line of text")
	return command
}

// labelled reads the containers of a label command.
func (a *app) labelled(ctx context.Context, ids []string, lot string) ([]*inventorypb.Container, error) {
	client, err := a.inventory()
	if err != nil {
		return nil, err
	}
	var containers []*inventorypb.Container
	for _, id := range ids {
		name, err := a.name("containers/{container}", id)
		if err != nil {
			return nil, err
		}
		container, err := client.GetContainer(ctx, &inventorypb.GetContainerRequest{Name: name})
		if err != nil {
			return nil, rpc.FromStatus(err)
		}
		containers = append(containers, container)
	}
	if lot == "" {
		return containers, nil
	}
	name, err := a.name("lots/{lot}", lot)
	if err != nil {
		return nil, err
	}
	of, err := pages(0, func(token string) ([]*inventorypb.Container, string, error) {
		response, err := client.ListContainers(ctx, &inventorypb.ListContainersRequest{Parent: a.siteName(), Filter: fmt.Sprintf("lot = %q", name), PageToken: token, PageSize: 200})
		return response.GetContainers(), response.GetNextPageToken(), err
	})
	if err == nil && len(of) == 0 {
		err = usagef("lot %s has no containers; `rondeau container list` shows those there are", lot)
	}
	return append(containers, of...), err
}

// writeLabel prints a label as text. A container without a GTIN has no symbol; its label is printed as plain lines.
func (a *app) writeLabel(ctx context.Context, c *inventorypb.Container, width int) error {
	if c.GetLabel().GetElementString() == "" {
		return a.style(ctx).Detail(a.out, c.GetLabel())
	}
	l, err := labelOf(c.GetLabel())
	if err != nil {
		return fmt.Errorf("label of %s: %w", c.GetName(), err)
	}
	text, err := l.Text(width)
	if err != nil {
		return usagef("label of %s: %v", c.GetName(), err)
	}
	_, err = fmt.Fprintln(a.out, strings.TrimRight(text, "\n"))
	return err
}

func (a *app) writeSymbol(c *inventorypb.Container, path string, scale int) error {
	if c.GetLabel().GetElementString() == "" {
		return usagef("%s has no GTIN, so it has no symbol; give its item one before packing: rondeau item change %s gtin=...", c.GetName(), c.GetItem()[strings.LastIndex(c.GetItem(), "/")+1:])
	}
	message, err := gs1.ParseBracketed(c.GetLabel().GetElementString())
	if err != nil {
		return fmt.Errorf("label of %s: %w", c.GetName(), err)
	}
	symbol, err := label.NewMatrix(message)
	if err != nil {
		return fmt.Errorf("label of %s: %w", c.GetName(), err)
	}
	var picture bytes.Buffer
	err = symbol.PNG(&picture, scale)
	if err != nil {
		return fmt.Errorf("label of %s: %w", c.GetName(), err)
	}
	err = os.WriteFile(path, picture.Bytes(), 0o644)
	if err != nil {
		return usagef("%v", err)
	}
	_, err = fmt.Fprintf(a.out, "%s holds the symbol of %s\n", path, message)
	return err
}

// labelOf gives the parts of a container's label back to the printer of labels.
func labelOf(printed *inventorypb.Container_Label) (*label.Label, error) {
	message, err := gs1.ParseBracketed(printed.GetElementString())
	if err != nil {
		return nil, err
	}
	l := &label.Label{Product: printed.GetTitle(), Lot: printed.GetLotCode(), Serial: printed.GetSerial(), Storage: printed.GetStorage(), Allergens: []string{}}
	if contains := strings.TrimSuffix(strings.TrimPrefix(printed.GetAllergens(), "Contains: "), "."); contains != "" {
		l.Allergens = strings.Split(contains, ", ")
	}
	l.Stem, _, _ = strings.Cut(printed.GetDigitalLink(), "/01/")
	l.Packed = gs1Date(printed.GetPackDate())
	for _, element := range message {
		switch {
		case element.AI == "01":
			l.GTIN = element.Value
		case element.AI == "15":
			l.BestBefore = gs1Date(printed.GetUseByDate())
		case element.AI == "17":
			l.UseBy = gs1Date(printed.GetUseByDate())
		case strings.HasPrefix(element.AI, "310"):
			net, err := gs1.Milligrams(element)
			if err != nil {
				return nil, err
			}
			l.Net = units.Milligrams(net)
		}
	}
	return l, nil
}

// gs1Date is a civil day as labels carry it; the zero date when there is none.
func gs1Date(day string) gs1.Date {
	var d gs1.Date
	_, err := fmt.Sscanf(day, "%d-%d-%d", &d.Year, &d.Month, &d.Day)
	if err != nil {
		return gs1.Date{}
	}
	return d
}
