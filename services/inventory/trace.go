package inventory

import (
	"context"
	"slices"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// maxTraceNodes keeps an answer below the 8 MiB that a server sends.
const maxTraceNodes = 20_000

// NodeKind says what a node of a trace is.
type NodeKind string

// The kinds of node.
const (
	NodeSupplier  NodeKind = "SUPPLIER"
	NodeDelivery  NodeKind = "DELIVERY"
	NodeLot       NodeKind = "LOT"
	NodeBatch     NodeKind = "BATCH"
	NodePacking   NodeKind = "PACKING"
	NodeContainer NodeKind = "CONTAINER"
	NodeShipment  NodeKind = "SHIPMENT"
	NodeOutlet    NodeKind = "OUTLET"
)

// TraceNode is one thing of a trace.
type TraceNode struct {
	Name           string
	Kind           NodeKind
	DisplayName    string
	Item           string
	Code           string
	Mass           units.Milligrams
	State          string
	Held           bool
	Time           time.Time
	Batch          string
	Run            string
	Depth          int
	ContainerCount int
}

// TraceEdge joins two nodes in the direction of the goods.
type TraceEdge struct {
	Source, Target string
	Mass           units.Milligrams
}

// Trace is a complete genealogy.
type Trace struct {
	Root    string
	Nodes   []*TraceNode // nearer ones first
	Edges   []TraceEdge
	Summary TraceSummary
}

// TraceSummary is figures over a whole trace.
type TraceSummary struct {
	Lots, Batches, Deliveries, Containers int
	PackedContainers                      int // in the kitchen
	ShippedContainers                     int // on the way, received or missing
	GoneContainers                        int // thrown away or used
	Outlets                               []string
	HeldLots                              []string
	Recoveries                            []LotRecovery
	Recovery                              float64 // per cent of what came into the lots and batches of the trace
}

// LotRecovery is the recovery of one lot or batch.
type LotRecovery struct {
	Name        string
	Recovery    float64
	Unexplained units.Milligrams
}

// tracer walks the genealogy breadth first. Every node is expanded once.
type tracer struct {
	ctx     context.Context
	s       *Service
	trace   *Trace
	nodes   map[string]*TraceNode
	edges   map[[2]string]int
	queue   []string
	expand  map[string]func() error
	outlets map[string]bool
}

func (s *Service) newTracer(ctx context.Context, root string) *tracer {
	return &tracer{
		ctx: ctx, s: s, trace: &Trace{Root: root}, nodes: map[string]*TraceNode{}, edges: map[[2]string]int{},
		expand: map[string]func() error{}, outlets: map[string]bool{},
	}
}

// add notes a node and what to do when it is its turn. A node that is there already stays as it is.
func (t *tracer) add(depth int, n TraceNode, expand func() error) error {
	if _, ok := t.nodes[n.Name]; ok {
		return nil
	}
	if len(t.nodes) >= maxTraceNodes {
		return apierr.ResourceExhausted(TraceTooLarge, "the trace of %s has more than %d parts; leave containers out, or trace one lot at a time", t.trace.Root, maxTraceNodes).
			With("root", t.trace.Root)
	}
	n.Depth = depth
	t.nodes[n.Name] = &n
	t.trace.Nodes = append(t.trace.Nodes, &n)
	if expand != nil {
		t.expand[n.Name] = expand
		t.queue = append(t.queue, n.Name)
	}
	return nil
}

// edge notes a connection once; a second call for the same pair changes nothing.
func (t *tracer) edge(source, target string, mass units.Milligrams) {
	k := [2]string{source, target}
	if _, ok := t.edges[k]; ok {
		return
	}
	t.edges[k] = len(t.trace.Edges)
	t.trace.Edges = append(t.trace.Edges, TraceEdge{Source: source, Target: target, Mass: mass})
}

// grow adds mass to a connection.
func (t *tracer) grow(source, target string, mass units.Milligrams) {
	k := [2]string{source, target}
	if i, ok := t.edges[k]; ok {
		t.trace.Edges[i].Mass += mass
		return
	}
	t.edge(source, target, mass)
}

func (t *tracer) run() (*Trace, error) {
	for len(t.queue) > 0 {
		name := t.queue[0]
		t.queue = t.queue[1:]
		if err := t.expand[name](); err != nil {
			return nil, err
		}
	}
	return t.trace, t.summarize()
}

func (t *tracer) lotNode(l *Lot) (TraceNode, error) {
	item, err := t.s.store.Items().Get(t.ctx, l.Item)
	if err != nil {
		return TraceNode{}, err
	}
	state := "OPEN"
	if l.OnHand == 0 {
		state = "DEPLETED"
	}
	return TraceNode{Name: l.Name, Kind: NodeLot, DisplayName: item.DisplayName, Item: l.Item, Code: l.Code, Mass: l.Initial, State: state, Held: l.Held, Time: l.ProduceTime, Batch: l.Batch, Run: l.Run}, nil
}

func (t *tracer) batchNode(batch string) (TraceNode, error) {
	a, err := t.s.store.Account(t.ctx, batch)
	if err != nil {
		return TraceNode{}, err
	}
	n := TraceNode{Name: batch, Kind: NodeBatch, DisplayName: lastID(batch), Batch: batch, State: "OPEN"}
	if a != nil {
		n.Mass = a.Input
		if a.Closed {
			n.State, n.Time = "CLOSED", a.CloseTime
		}
	}
	holds, err := t.s.store.Holds(t.ctx, batch)
	for _, h := range holds {
		n.Held = n.Held || !h.Lifted
	}
	return n, err
}

func (t *tracer) packingNode(p packing, l *Lot) TraceNode {
	n := TraceNode{Name: p.move, Kind: NodePacking, DisplayName: "Packing", Time: l.ProduceTime, Batch: l.Batch, Run: l.Run, State: "DONE"}
	for _, in := range p.inputs {
		n.Mass += in.Mass
	}
	return n
}

func containerNode(c *Container) TraceNode {
	return TraceNode{Name: c.Name, Kind: NodeContainer, DisplayName: c.Label.Title, Item: c.Item, Code: c.Serial, Mass: c.NetMass, State: string(c.State), Time: c.CreateTime}
}

func shipmentNode(sh *Shipment) TraceNode {
	at := sh.CreateTime
	if !sh.DispatchTime.IsZero() {
		at = sh.DispatchTime
	}
	return TraceNode{Name: sh.Name, Kind: NodeShipment, DisplayName: lastID(sh.Name), Code: sh.SSCC, Mass: sh.NetMass, State: string(sh.State), Time: at}
}

// summarize counts, and balances every lot and batch of the trace.
func (t *tracer) summarize() error {
	sum := &t.trace.Summary
	var input, accounted units.Milligrams
	balance := func(m *MassBalance) {
		sum.Recoveries = append(sum.Recoveries, LotRecovery{Name: m.Name, Recovery: m.Recovery(), Unexplained: m.Unexplained})
		input += m.Input
		accounted += m.Accounted
	}
	for _, n := range t.trace.Nodes {
		switch n.Kind {
		case NodeLot:
			sum.Lots++
			if n.Held {
				sum.HeldLots = append(sum.HeldLots, n.Name)
			}
			l, err := t.s.store.Lots().Get(t.ctx, n.Name)
			if err != nil {
				return err
			}
			m, err := t.s.lotBalance(t.ctx, l)
			if err != nil {
				return err
			}
			balance(m)
		case NodeBatch:
			sum.Batches++
			m, err := t.s.batchBalance(t.ctx, n.Name)
			if err != nil {
				return err
			}
			balance(m)
		case NodeDelivery:
			sum.Deliveries++
		case NodeContainer:
			t.count(ContainerState(n.State), 1)
		case NodeOutlet:
			t.outlets[n.Name] = true
		}
	}
	for o := range t.outlets {
		sum.Outlets = append(sum.Outlets, o)
	}
	slices.Sort(sum.Outlets)
	slices.Sort(sum.HeldLots)
	if input > 0 {
		sum.Recovery = 100 * float64(accounted) / float64(input)
	}
	return nil
}

func (t *tracer) count(state ContainerState, n int) {
	sum := &t.trace.Summary
	sum.Containers += n
	switch state {
	case ContainerPacked:
		sum.PackedContainers += n
	case ContainerShipped, ContainerReceived, ContainerMissed:
		sum.ShippedContainers += n
	default:
		sum.GoneContainers += n
	}
}
