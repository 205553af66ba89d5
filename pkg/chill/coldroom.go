package chill

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Machine is the refrigeration of a room.
type Machine struct {
	// Setting is the air temperature it is set to, -45 to 30 C. It runs from nothing at
	// Setting to its whole capacity Band above; 0 means 1 K.
	Setting units.Celsius
	Band    units.CelsiusDelta
	// Capacity at air of RatedAt, above 0. It falls by the part Fall of it per K of
	// colder air, 0 to 0.2 (0.03 is usual, from memory), and never below nothing.
	Capacity units.Power
	RatedAt  units.Celsius
	Fall     float64
}

// power at an air temperature, W.
func (m Machine) power(air float64) float64 {
	duty := math.Max(0, math.Min(1, (air-float64(m.Setting))/float64(m.Band)))
	return duty * float64(m.Capacity) * math.Max(0, 1+m.Fall*(air-float64(m.RatedAt)))
}

// ColdRoom is a walk-in, a cold store or a blast chiller whose air warms under load.
type ColdRoom struct {
	// Volume of the air, 0.05 to 1e5 m3. Fabric is the heat capacity of lining, racks and
	// packaging that follow the air, J/K; goods that lag behind are Loads.
	Volume units.Volume
	Fabric float64
	// WallUA is the coefficient times the area of walls, floor and ceiling, W/K, 0 to 1e5.
	WallUA float64
	// Outside of the room: temperature -30 to 60 C, relative humidity 0 to 1 (0 means
	// 0.5); Humidity of the room's own air (0 means 0.85).
	Outside                   units.Celsius
	OutsideHumidity, Humidity float64
	Doors                     []Door
	Machine                   Machine
	// Gain of fans, lights, defrosting and people.
	Gain units.Power
	// Start is the air at time 0, -45 to 60 C.
	Start units.Celsius
	Loads []Exchanger
}

// RoomBalance is the ledger of a room since time 0, J: what the loads, the walls, the
// doors and the gains have brought in, what the machine has taken away, and what the
// air and fabric have kept: Stored = Loads + Walls + Doors + Gain - Machine.
type RoomBalance struct {
	Loads, Walls, Doors, Gain, Machine, Stored units.Energy
}

// CautionNeighbours goes with every answer about hot food in a cold room.
const CautionNeighbours = "Hot food warms the room and what stands beside it: chill it first, and watch the temperature of food that was cold already."

// Room is the model of a ColdRoom: one air temperature, implicit in steps of at most
// 20 s, and the loads, each stepped in that air. Moisture that comes in counts as heat at
// once, which is a little warm. Core is the warmest core of the loads, Mean the
// plain mean of theirs, Heat what the loads give off. Create it with NewRoom.
type Room struct {
	r        ColdRoom
	air      float64
	capacity float64 // J/K
	balance  [6]float64
	elapsed  time.Duration
	outside  MoistAir
}

// NewRoom checks a room and returns its model at time 0. The room keeps its own
// copies of the loads.
func NewRoom(r ColdRoom) (*Room, error) {
	if r.Machine.Band == 0 {
		r.Machine.Band = 1
	}
	if r.OutsideHumidity == 0 {
		r.OutsideHumidity = 0.5
	}
	if r.Humidity == 0 {
		r.Humidity = 0.85
	}
	if err := first(
		within("room volume", float64(r.Volume), 0.05, 1e5, "m3"),
		within("fabric", r.Fabric, 0, 1e9, "J/K"),
		within("wall conductance", r.WallUA, 0, 1e5, "W/K"),
		within("outside temperature", float64(r.Outside), -30, 60, "C"),
		within("outside humidity", r.OutsideHumidity, 0, 1, ""),
		within("room humidity", r.Humidity, 0, 1, ""),
		within("setting", float64(r.Machine.Setting), -45, 30, "C"),
		within("band", float64(r.Machine.Band), 0.01, 20, "K"),
		within("refrigeration capacity", float64(r.Machine.Capacity), 0, 1e7, "W"),
		within("temperature of the rated capacity", float64(r.Machine.RatedAt), -45, 30, "C"),
		within("fall of the capacity", r.Machine.Fall, 0, 0.2, "1/K"),
		within("heat gain", float64(r.Gain), 0, 1e6, "W"),
		within("air temperature", float64(r.Start), -45, 60, "C"),
	); err != nil {
		return nil, err
	}
	if len(r.Doors) > 50 {
		return nil, fmt.Errorf("%d doors: a room has at most 50", len(r.Doors))
	}
	for i, d := range r.Doors {
		if err := d.Check(); err != nil {
			return nil, fmt.Errorf("door %d: %w", i+1, err)
		}
	}
	outside, err := MoistAirAt(r.Outside, r.OutsideHumidity)
	if err != nil {
		return nil, err
	}
	r.Doors = append([]Door(nil), r.Doors...)
	m := &Room{r: r, air: float64(r.Start), capacity: float64(r.Volume)*1.2*1006 + r.Fabric, outside: outside}
	loads := r.Loads
	m.r.Loads = nil
	for _, x := range loads {
		if err := m.Add(x); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// Add puts a copy of a load in, from now on in the room's air.
func (m *Room) Add(x Exchanger) error {
	if x == nil {
		return errors.New("a load is missing")
	}
	if len(m.r.Loads) >= 500 {
		return errors.New("a room holds at most 500 loads")
	}
	c, ok := x.Clone().(Exchanger)
	if !ok {
		return errors.New("the copy of a load must be an Exchanger as well")
	}
	if err := c.SetSurroundings(units.Celsius(m.air)); err != nil {
		return err
	}
	m.r.Loads = append(m.r.Loads, c)
	return nil
}

// SetDoor changes the share of the time that a door (from 0, in the order of
// ColdRoom.Doors) stands open, for busy hours and nights.
func (m *Room) SetDoor(i int, open float64) error {
	if i < 0 || i >= len(m.r.Doors) {
		return fmt.Errorf("door %d: there are %d", i, len(m.r.Doors))
	}
	if err := within("share of the time that the door is open", open, 0, 1, ""); err != nil {
		return err
	}
	m.r.Doors[i].Open = open
	return nil
}

// SetMachine changes setting and capacity, for nights, defrosting and breakdowns.
func (m *Room) SetMachine(setting units.Celsius, capacity units.Power) error {
	if err := first(
		within("setting", float64(setting), -45, 30, "C"),
		within("refrigeration capacity", float64(capacity), 0, 1e7, "W"),
	); err != nil {
		return err
	}
	m.r.Machine.Setting, m.r.Machine.Capacity = setting, capacity
	return nil
}

// Air is the present air temperature.
func (m *Room) Air() units.Celsius { return units.Celsius(m.air) }

// Load returns the state of one load, in the order in which they came in.
func (m *Room) Load(i int) (State, error) {
	if i < 0 || i >= len(m.r.Loads) {
		return State{}, fmt.Errorf("load %d: there are %d", i, len(m.r.Loads))
	}
	return m.r.Loads[i].State(), nil
}

// Balance returns the ledger since time 0.
func (m *Room) Balance() RoomBalance {
	b := m.balance
	return RoomBalance{
		Loads: units.Energy(b[0]), Walls: units.Energy(b[1]), Doors: units.Energy(b[2]),
		Gain: units.Energy(b[3]), Machine: units.Energy(b[4]), Stored: units.Energy(b[5]),
	}
}

// State implements Model.
func (m *Room) State() State {
	s := State{Elapsed: m.elapsed, Core: units.Celsius(m.air), Mean: units.Celsius(m.air), Surroundings: units.Celsius(m.air)}
	for i, x := range m.r.Loads {
		l := x.State()
		if i == 0 {
			s.Core, s.Mean = l.Core, 0
		}
		s.Core = max(s.Core, l.Core)
		s.Mean += l.Mean / units.Celsius(len(m.r.Loads))
		s.Heat += l.Heat
	}
	return s
}

// Step implements Model.
func (m *Room) Step(dt time.Duration) (State, error) {
	if err := checkStep(dt); err != nil {
		return m.State(), err
	}
	const longest = 20 * time.Second
	for left := dt; left > 0; {
		h := left
		if n := (left + longest - 1) / longest; n > 1 {
			h = left / n
		}
		if err := m.step(h); err != nil {
			return m.State(), err
		}
		left -= h
		m.elapsed += h
	}
	return m.State(), nil
}

// step finds the air at the end of the step from a balance in which the loads
// follow their conductance, steps the loads in that air, and books what they really
// gave.
func (m *Room) step(dt time.Duration) error {
	h := dt.Seconds()
	heat, g := 0.0, 0.0
	for _, x := range m.r.Loads {
		c, s := conductance(x), x.State()
		g += c
		heat += float64(s.Heat) + c*float64(s.Surroundings)
	}
	room, err := MoistAirAt(units.Celsius(m.air), m.r.Humidity)
	if err != nil {
		return err
	}
	doors := 0.0
	for _, d := range m.r.Doors {
		doors += d.exchange(room, m.outside)
	}
	// The exchange grows with the difference to the power of about 1.5.
	slope := 0.0
	out := float64(m.r.Outside)
	if d := out - m.air; math.Abs(d) > 0.1 {
		slope = math.Max(0, 1.5*doors/d)
	}
	gain := float64(m.r.Gain)
	rest := func(x float64) float64 { // everything but the loads, W
		return m.r.WallUA*(out-x) + doors - slope*(x-m.air) + gain - m.r.Machine.power(x)
	}
	low, high := m.air-100, m.air+150
	for range 60 {
		x := (low + high) / 2
		if heat-g*x+rest(x) > m.capacity*(x-m.air)/h {
			low = x
		} else {
			high = x
		}
	}
	air := (low + high) / 2
	if err := within("air temperature that the room comes to", air, -45, 60, "C"); err != nil {
		return err // before any load has moved
	}
	given := 0.0
	for _, x := range m.r.Loads {
		e, err := stepLoad(x, units.Celsius(air), dt)
		if err != nil {
			return fmt.Errorf("the room gets to %.1f C: %w", air, err)
		}
		given += e
	}
	stored := given + rest(air)*h
	for i, e := range [6]float64{given, m.r.WallUA * (out - air) * h, (doors - slope*(air-m.air)) * h, gain * h, m.r.Machine.power(air) * h, stored} {
		m.balance[i] += e
	}
	m.air += stored / m.capacity
	return nil
}

// stepLoad advances a load in air and returns the heat it gave, J.
func stepLoad(x Exchanger, air units.Celsius, dt time.Duration) (float64, error) {
	if err := x.SetSurroundings(air); err != nil {
		return 0, err
	}
	if v, ok := x.(giver); ok {
		before := v.Given()
		_, err := x.Step(dt)
		return float64(v.Given() - before), err
	}
	before := x.State().Heat
	after, err := x.Step(dt)
	return float64(before+after.Heat) / 2 * dt.Seconds(), err
}

// Clone implements Model.
func (m *Room) Clone() Model {
	c := *m
	c.r.Doors = append([]Door(nil), m.r.Doors...)
	c.r.Loads = make([]Exchanger, len(m.r.Loads))
	for i, x := range m.r.Loads {
		c.r.Loads[i] = x.Clone().(Exchanger) // Add made sure of it
	}
	return &c
}

// watched is a room seen from one load.
type watched struct {
	room *Room
	load int
}

// Watch returns a model of the whole room whose Core, Mean and Heat are those of one
// load, for Predict and TimeTo. It is a copy: stepping it does not step m.
func (m *Room) Watch(load int) (Model, error) {
	if _, err := m.Load(load); err != nil {
		return nil, err
	}
	return &watched{room: m.Clone().(*Room), load: load}, nil
}

func (w *watched) State() State {
	x := w.room.r.Loads[w.load]
	s := x.State()
	s.Elapsed, s.Surroundings = w.room.elapsed, w.room.Air()
	return s
}

func (w *watched) Step(dt time.Duration) (State, error) {
	_, err := w.room.Step(dt)
	return w.State(), err
}

func (w *watched) Clone() Model { return &watched{room: w.room.Clone().(*Room), load: w.load} }
