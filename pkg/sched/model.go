package sched

// Forever is a span of time longer than any horizon. All times and durations of an Instance lie in [-Forever, Forever],
// so sums of a few of them cannot overflow. As Lag.Min, -Forever means "no minimum".
const Forever = int64(1) << 40

// Span is the half-open interval [Start, End).
type Span struct {
	Start, End int64
}

// Instance is one complete scheduling problem. Things refer to each other by name; a name is unique among things of its
// kind, and the empty name means "none". Validate reports every fault. Solve does not change an Instance and keeps no
// reference to it.
type Instance struct {
	// Name is used in messages only.
	Name string
	// Horizon bounds everything that is still to be planned: no activity or cleaning begins before Start or ends after
	// End. Start >= 0. The
	// service takes End generously (late is better than no plan): a short horizon makes an instance infeasible.
	Horizon Span
	// Vessels are the unary resources: kettles, ovens, pans, chillers that take one load at a time, and named people.
	Vessels []Vessel
	// Calendars say when work may be done.
	Calendars []Calendar
	// Resources are the cumulative limits: crew heads, power, chiller load, shelves.
	Resources []Resource
	// Setups are the cleaning matrices that vessels refer to.
	Setups []Setup
	// Activities are the steps to plan.
	Activities []Activity
	// Lags tie the start or end of two activities by a least and a greatest time between them.
	Lags []Lag
	// Holds keep a vessel occupied after an activity until another one takes the material out of it.
	Holds []Hold
	// Stores occupy a cumulative resource (shelves) between the end of one activity and the start of another.
	Stores []Store
	// Links restrict which modes of two activities go together (the same kettle; kettles joined by a pipe).
	Links []Link
	// Weights say what a good plan is.
	Weights Weights
}

// Vessel is a unary resource: it serves one activity at a time.
type Vessel struct {
	Name string
	// Setup names the cleaning matrix; empty when the vessel needs no cleaning between activities. With a matrix, every
	// activity that has a mode in this vessel must have a State of that matrix.
	Setup string
	// State is the state in which the vessel is found at the start of the horizon; empty means clean for anything, so
	// the first activity needs no cleaning.
	State string
	// Down lists windows in which the vessel cannot be occupied or cleaned. Windows may overlap and need no order.
	Down []Span
}

// Calendar lists when something is open. A phase of an activity lies in open time of its calendar; touching or
// overlapping spans count as one. The empty calendar name means always open.
type Calendar struct {
	Name string
	Open []Open
}

// Open is one span of open time.
type Open struct {
	Span
	// Overtime marks paid extra time: work here counts in Objective.Overtime. Where spans overlap, time is overtime only
	// if every span that covers it is overtime.
	Overtime bool
}

// Resource is a cumulative limit: at any moment the demands on it sum to at most its capacity of that moment.
type Resource struct {
	Name string
	// Capacity holds from the start of the horizon until the first of Levels. Unit as the demands: heads, watts, kg.
	Capacity int64
	// Levels change the capacity from a moment on, in ascending order of At.
	Levels []Level
}

// Level is the capacity of a resource from a moment on, until the next Level.
type Level struct {
	At       int64
	Capacity int64
}

// Setup is a matrix of cleaning (change-over) times between states: material, allergen, cleanliness.
type Setup struct {
	Name string
	// States names the rows and columns of Change.
	States []string
	// Change[i][j] is what must happen between an activity of state i and the next one, of state j, in the same vessel.
	// It is square, len(States) on each side. It need not be symmetric.
	Change [][]Change
	// Calendar is where attended changes must lie, uninterrupted. Empty: any time.
	Calendar string
	// Needs are taken by an attended change over its whole duration (one crew head, say). Need.During and
	// Need.WhilePaused are not looked at.
	Needs []Need
}

// Change is one cell of a cleaning matrix. The change lies anywhere between the moment when the vessel is left and the
// start of the next activity in it. No change is needed between an activity and the one that its Hold waits for, in the
// same vessel: the material has not left it.
type Change struct {
	// Duration >= 0; zero means that nothing has to be done.
	Duration int64
	// Attended changes need crew: they lie in open time of Setup.Calendar and take Setup.Needs.
	Attended bool
}

// Phases is a set of the three phases of a mode.
type Phases uint8

// The phases of a mode, in the order in which they happen.
const (
	InStart    Phases = 1 << iota // attended start: loading, browning, bringing to the boil
	InMiddle                      // unattended middle: the long simmer, the chill
	InEnd                         // attended end: emptying, weighing, checks
	Attended   = InStart | InEnd
	Throughout = InStart | InMiddle | InEnd
)

// Activity is one step of one batch. It is done once, in one of its modes, without interruption other than the pauses
// that its mode allows.
type Activity struct {
	Name string
	// Order is the order or batch that the activity serves; used in reports only.
	Order string
	// Modes are the alternatives. With none, the instance is infeasible and Refusals are reported as the reason.
	// Mode names are unique within the activity.
	Modes []Mode
	// Refusals say why some vessels are no mode of the activity (too small, out of service).
	Refusals []Refusal
	// State is the state that the activity needs and leaves in its vessels, for cleaning matrices.
	State string
	// Release is the earliest start; zero means the start of the horizon.
	Release int64
	// Deadline is the latest end, never broken; zero means none.
	Deadline int64
	// Due is the end that was promised. With DueWeight > 0 each unit of time later costs DueWeight in
	// Objective.Tardiness. With DueWeight 0 there is no due time.
	Due       int64
	DueWeight int64
	// Fixed gives the mode and the start; nil leaves both free.
	Fixed *Fixed
	// Previous is where the published plan has the activity; nil when it had it nowhere.
	Previous *Previous
}

// Refusal says why a vessel is not among the modes of an activity.
type Refusal struct {
	Vessel string
	Reason string // in plain words: "holds 60 L, the batch is 85 L"
}

// Mode is one way to do an activity: in which vessels, for how long, with what.
type Mode struct {
	Name string
	// Uses are the vessels that the activity occupies, all of them from its start to its end (and on while a Hold lasts).
	// None is allowed: work at a table.
	Uses []Use
	// The activity passes through three phases in this order. Each duration >= 0, in open time of its calendar. A wholly
	// attended activity has only Start.
	Start, Middle, End int64
	// AttendedCalendar governs Start and End (crew on shift); UnattendedCalendar governs Middle (where and when the
	// kitchen allows unattended work). Empty: always open. A phase of zero duration is not governed.
	AttendedCalendar   string
	UnattendedCalendar string
	// Pausable phases may be interrupted where their calendar is closed and may wait for it to open: they end when
	// their duration of open time has passed. The activity begins only in open time of its first phase. A phase that is
	// not pausable begins the moment the one before ends and lies in open time as a whole. Vessels stay occupied in
	// pauses.
	Pausable Phases
	// Needs are demands on cumulative resources.
	Needs []Need
	// Energy is a cost of choosing this mode, in a unit of the caller's choice, for Objective.Energy; >= 0.
	Energy int64
}

// Use is one vessel occupied by a mode.
type Use struct {
	Vessel string
	// FreeAtEnd lets go of this vessel at the end of the activity even if a Hold keeps the others (the kettle that was
	// strained into a pot).
	FreeAtEnd bool
}

// Need is a demand of a mode on a cumulative resource.
type Need struct {
	Resource string
	Amount   int64 // >= 0
	// During limits the demand to some phases; zero means Throughout.
	During Phases
	// WhilePaused keeps the demand through pauses and waits of those phases (shelf space); otherwise it is present only
	// while the phase is at work (crew).
	WhilePaused bool
}

// Fixed pins an activity to a mode and a start.
type Fixed struct {
	Mode  string
	Start int64
	// Started marks a fact rather than a wish; it may have started, and even ended, before the horizon (Start may then
	// be negative). A fact is not checked against release, deadline, calendars, vessel windows, capacities, links,
	// cleaning, nor against lags and overlaps with other facts; everything still to be planned respects it. Its pausable
	// phases pause while their calendar is closed, as long as it opens again; its other phases run through closed time.
	// It takes its demands through pauses.
	Started bool
	// End of a started activity, real or forecast; zero means computed from the mode. With an End the phases do not
	// pause: the attended start follows Start, the attended end precedes End, the middle is what remains between; when
	// the time is too short for both, the start phase comes first. Without a middle the last phase is what remains.
	End int64
}

// Previous is where the published plan has an activity.
type Previous struct {
	Mode  string // empty: the mode is not compared
	Start int64
	// MoveWeight is the cost in Objective.Change of each unit of time by which the start moves, in either direction.
	MoveWeight int64
	// ModeWeight is the cost in Objective.Change of another mode.
	ModeWeight int64
}

// Edge is the start or the end of an activity.
type Edge uint8

// The edges. The zero value makes Lag{From: "a", To: "b"} read "b starts after a ends".
const (
	EdgeDefault Edge = iota // end for Lag.FromEdge, start for Lag.ToEdge
	EdgeStart
	EdgeEnd
)

// Lag requires Min <= time(To) - time(From), and <= Max if HasMax. Lags run in clock time, whatever the calendars say.
// The zero edges make it finish-to-start.
type Lag struct {
	From     string
	FromEdge Edge
	To       string
	ToEdge   Edge
	// Min may be negative (overlap allowed); -Forever means no minimum.
	Min int64
	// Max is kept only if HasMax.
	Max    int64
	HasMax bool
	// With FreshWeight > 0, each unit of time beyond Fresh costs FreshWeight in Objective.Freshness.
	Fresh       int64
	FreshWeight int64
	// Why is quoted in explanations: "hot stock goes to the chiller within 30 min".
	Why string
	// Firm: Max is a limit of safety. Explain and ExplainLate never offer to exceed it. The search does not look at it.
	Firm bool
}

// Hold keeps the vessels of Activity occupied from its end until the start of Until (except those with FreeAtEnd). It
// implies that Until does not start before Activity ends. At the moment when Until starts the vessel is free, also for
// Until itself. An activity has at most one Hold.
type Hold struct {
	Activity string
	Until    string
}

// Store occupies Amount of a cumulative resource from the end of Producer to the start of Consumer, and implies that
// Consumer does not start before Producer ends. An empty Consumer stores until the moment Until (zero: end of horizon);
// nothing is stored when the producer ends later than that.
type Store struct {
	Resource string
	Amount   int64
	Producer string
	Consumer string
	Until    int64
}

// Link allows only the listed pairs of modes (by name) of two activities.
type Link struct {
	First, Second string
	Pairs         [][2]string
}

// Weights turn the parts of an Objective into what the search minimises: first the tardiness, then the weighted sum of
// the other parts. All weights >= 0.
type Weights struct {
	Overtime  int64
	Energy    int64
	Freshness int64
	Change    int64
	Makespan  int64
	// Blend, when positive, gives up the strict order: the sum of Blend * tardiness and the other weighted parts is
	// minimised as one number, so that a small delay may be traded for calm.
	Blend int64
}

// DefaultWeights prefers, after punctuality, no overtime, then calm, then fresh material, energy and an early finish.
// The numbers are a house choice (common practice, no source); they are data, to be replaced by the kitchen's own.
func DefaultWeights() Weights {
	return Weights{Overtime: 20, Energy: 1, Freshness: 2, Change: 5, Makespan: 1}
}

// Objective holds the parts of a plan's cost. Units: time units times the weights of the instance, Energy as Mode.Energy.
type Objective struct {
	// Tardiness is the sum over activities of DueWeight * max(0, end - Due).
	Tardiness int64
	// Overtime is the working time of phases and attended changes in overtime spans of their calendars.
	Overtime int64
	// Energy is the sum of Mode.Energy over the chosen modes.
	Energy int64
	// Freshness is the sum over lags of FreshWeight * max(0, lag - Fresh).
	Freshness int64
	// Change is the cost against the published plan.
	Change int64
	// Makespan is the latest end of an activity minus the start of the horizon; zero without activities.
	Makespan int64
	// First and Rest are what is compared, First before Rest: the tardiness and the weighted sum of the other parts; or,
	// with Weights.Blend, zero and the blended sum.
	First, Rest int64
}

// Less reports whether o is strictly better than p.
func (o Objective) Less(p Objective) bool {
	if o.First != p.First {
		return o.First < p.First
	}
	return o.Rest < p.Rest
}

// Weigh fills First and Rest from the parts.
func (w Weights) Weigh(o Objective) Objective {
	o.First = o.Tardiness
	o.Rest = w.Overtime*o.Overtime + w.Energy*o.Energy + w.Freshness*o.Freshness + w.Change*o.Change + w.Makespan*o.Makespan
	if w.Blend > 0 {
		o.First = 0
		o.Rest += w.Blend * o.Tardiness
	}
	return o
}

// Plan says where and when everything is done. A Plan of Solve has one Assignment per activity, in the order of
// Instance.Activities, or none at all when no plan was found.
type Plan struct {
	Assignments []Assignment
	Objective   Objective
}

// Assignment is the place of one activity.
type Assignment struct {
	Activity string
	Order    string
	Mode     string
	Vessels  []string // as in the mode's Uses
	Start    int64
	End      int64
	// HeldUntil is when the held vessels become free: End without a Hold.
	HeldUntil int64
	// Changes are the cleanings that precede the activity, at most one per vessel; those of zero duration are left out.
	Changes []ChangeRun
}

// ChangeRun is one cleaning of one vessel before an activity.
type ChangeRun struct {
	Vessel   string
	From, To string // states
	Start    int64
	End      int64
	Attended bool
}

// Options steer Solve. The zero value is usable.
type Options struct {
	// Seed of the search's randomness.
	Seed uint64
	// Iterations is the budget: plans tried, the first ones included. Zero means DefaultIterations. The result depends
	// only on instance, seed and budget unless Stop ends the search.
	Iterations int
	// Stop is polled between iterations and, before the first plan exists, within them. True ends the search; the best
	// plan so far is returned. Nil: never. Problems that are shops are searched by two goroutines, which both poll it.
	Stop func() bool
	// Progress is told the state after each better plan and every few hundred iterations. It runs in Solve's goroutine.
	Progress func(Report)
	// Incumbent is handed each better plan (its own copy) with the report of that moment.
	Incumbent func(Plan, Report)
	// Warm is a plan to begin from, such as the published one; it may be incomplete, outdated or infeasible. What is
	// possible of it stays where it is to begin with.
	Warm *Plan

	rebuildAlways bool // small problems too; for tests
}

// DefaultIterations is the budget of an Options that names none.
const DefaultIterations = 2000

// Status says what is known about the result.
type Status uint8

// The statuses.
const (
	// StatusBudgetSpent: no plan was found within the budget and none was proved impossible. Report.Conflicts holds what
	// stood in the way most often.
	StatusBudgetSpent Status = iota
	// StatusFeasible: the plan respects everything; a better one may exist (see Gap).
	StatusFeasible
	// StatusOptimal: the plan's cost equals the bound.
	StatusOptimal
	// StatusInfeasible: proved that there is no plan. Report.Conflicts says why.
	StatusInfeasible
)

// String names the status in lower-case words.
func (s Status) String() string {
	switch s {
	case StatusFeasible:
		return "feasible"
	case StatusOptimal:
		return "optimal"
	case StatusInfeasible:
		return "infeasible"
	default:
		return "budget spent"
	}
}

// Report says how good the plan is and what stands in the way of a better one.
type Report struct {
	Status Status
	// Objective of the best plan so far; zero without a plan.
	Objective Objective
	// Bound: no plan has smaller (First, Rest). Its parts are the bounds of the parts.
	Bound Objective
	// BoundBy says what the bound of the tardiness comes from. Filled when the search ends with a plan.
	BoundBy []BoundReason
	// Gap is (cost - bound) / max(1, cost), of First if that is not at its bound, else of Rest. In [0, 1]; 1 without a
	// plan.
	Gap float64
	// Iterations used so far.
	Iterations int
	// Stopped is true when Options.Stop ended the search.
	Stopped bool
	// Conflicts explain infeasibility (Proved) or, without a plan, what failed most often.
	Conflicts []Conflict
	// Late lists activities that end after their due time, worst cost first, with what they wait for.
	Late []Late
}

// ConflictKind names what a conflict is about.
type ConflictKind string

// The kinds of conflict.
const (
	ConflictNoMode   ConflictKind = "no-mode"  // no vessel can do the activity
	ConflictWindow   ConflictKind = "window"   // release, lags and durations leave no room before the deadline
	ConflictLags     ConflictKind = "lags"     // minimum and maximum lags contradict each other
	ConflictCalendar ConflictKind = "calendar" // no open time is long enough
	ConflictVessel   ConflictKind = "vessel"   // vessel busy, down or to be cleaned too long
	ConflictCapacity ConflictKind = "capacity" // demand above the capacity of a resource
	ConflictLink     ConflictKind = "link"     // no allowed combination of modes
	ConflictFixed    ConflictKind = "fixed"    // a pinned activity cannot be where it is pinned
)

// Conflict is one reason why no plan exists or none was found.
type Conflict struct {
	Kind ConflictKind
	// Proved is true when the named things alone make every plan impossible.
	Proved bool
	// Activities, Vessels, Resources and Calendars name what is involved, the most important first.
	Activities []string
	Vessels    []string
	Resources  []string
	Calendars  []string
	// Message says it in plain words for the person who plans.
	Message string
	// Relaxations are the smallest single changes that remove this conflict, as far as they are known.
	Relaxations []Relaxation
}

// Relaxation is one change to the instance that would remove a conflict.
type Relaxation struct {
	// Subject names the activity, vessel, resource or calendar to change.
	Subject string
	// What in plain words: "deadline later by".
	What string
	// By is the amount, in time units or units of the resource; zero when it is not a number.
	By int64
}

// Late is one activity that ends after its due time.
type Late struct {
	Activity  string
	Order     string
	Due       int64
	End       int64
	Tardiness int64 // End - Due
	Cost      int64 // Tardiness * DueWeight
	// Waits is the chain that makes it late, from the late activity backwards to the first cause.
	Waits []Wait
}

// WaitKind names what an activity waits for.
type WaitKind string

// The kinds of wait.
const (
	WaitLag      WaitKind = "lag"      // another activity and the time that must pass
	WaitVessel   WaitKind = "vessel"   // a vessel that is occupied, held, cleaned or down
	WaitResource WaitKind = "resource" // a cumulative limit
	WaitCalendar WaitKind = "calendar" // nobody on shift, or unattended work not allowed
	WaitRelease  WaitKind = "release"  // its own earliest start
	WaitPinned   WaitKind = "pinned"   // pinned or already started
	WaitChoice   WaitKind = "choice"   // nothing forces it: the search placed it here
)

// Wait is one link of the chain behind a late activity.
type Wait struct {
	Activity string // that waits
	Kind     WaitKind
	Subject  string // vessel, resource or calendar that binds; empty for lags and releases
	Behind   string // the activity that is waited for; empty when none
	Until    int64  // when the wait ends: the start of Activity
	Message  string // in plain words
}
