package scheduling_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/scheduling"
	"rondeau.internal/services/scheduling/sqlite"
)

// crashDatabase names the database of a worker that runs in a process of its own, to be killed.
const crashDatabase = "RONDEAU_TEST_CRASH_DATABASE"

func crashKitchen(t *testing.T, path string) *kitchen {
	t.Helper()
	db, err := sqldb.OpenSQLite(t.Context(), path)
	must(t, err)
	t.Cleanup(func() { must(t, db.Close()) })
	store, err := sqlite.New(t.Context(), db)
	must(t, err)
	return serviceOn(t, store)
}

// TestWorkerToBeKilled is the process that the test below kills; by itself it does nothing.
func TestWorkerToBeKilled(t *testing.T) {
	path := os.Getenv(crashDatabase)
	if path == "" {
		t.Skip("runs only as a process of the test of a killed worker")
	}
	k := crashKitchen(t, path)
	must(t, scheduling.NewWorker(k.Service, scheduling.WorkerTiming{Poll: 10 * time.Millisecond, Report: 20 * time.Millisecond, Lease: time.Second}).Run(t.Context()))
}

// A process killed in the middle of a search leaves its best plan behind; another worker takes it up when the lease is
// over, begins with that plan, has the time that is left, and a cancellation then keeps a schedule that is no worse.
func TestAKilledSearchGoesOnFromItsBestPlan(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "scheduling.db")
	k := crashKitchen(t, path)
	k.masters()
	for _, b := range []string{"b1", "b2", "b3", "b4", "b5", "b6"} {
		k.planning.put(stock(b, 100, monday.Add(16*time.Hour)))
	}
	op, err := k.SolveSchedule(t.Context(), scheduling.Solve{Site: site, Budget: 1000000, MaxDuration: time.Hour})
	must(t, err)
	child := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestWorkerToBeKilled$")
	child.Env = append(os.Environ(), crashDatabase+"="+path)
	must(t, child.Start())
	killed := false
	defer func() {
		if !killed {
			_ = child.Process.Kill() // the test has failed before
		}
		_ = child.Wait() // a killed process ends with an error
	}()
	until := func(what string, ok func(scheduling.Operation) bool) scheduling.Operation {
		t.Helper()
		var o scheduling.Operation
		for end := time.Now().Add(30 * time.Second); time.Now().Before(end); {
			o, err = k.WaitOperation(t.Context(), op.Name, 30*time.Millisecond)
			must(t, err)
			if ok(o) {
				return o
			}
		}
		t.Fatalf("%s never came: %+v", what, o)
		return o
	}
	until("a plan of the first process", func(o scheduling.Operation) bool { return len(o.Warm) > 0 })
	must(t, child.Process.Kill()) // SIGKILL: nothing is tidied up
	killed = true
	left, err := k.Operation(t.Context(), op.Name)
	must(t, err)
	if left.Stage != scheduling.StageSolving || left.Best == nil || len(left.Warm) != 18 || left.Attempts != 1 || left.Elapsed <= 0 {
		t.Fatalf("the killed process left %s, best %+v, %d places", left.Stage, left.Best, len(left.Warm))
	}
	defer worker(t, k)()
	taken := until("the second attempt", func(o scheduling.Operation) bool { return o.Attempts == 2 && o.Iterations > left.Iterations })
	goesOn(t, left, taken)
	_, err = k.CancelOperation(t.Context(), op.Name)
	must(t, err)
	done := until("the end", scheduling.Operation.Done)
	if done.Stage != scheduling.StageCancelled || done.End != scheduling.EndStopped || done.Schedule == "" || worse(done.Best, left.Best) {
		t.Fatalf("ended %s (%s), best %+v after %+v", done.Stage, done.End, done.Best, left.Best)
	}
	kept, err := k.Schedule(t.Context(), done.Schedule)
	must(t, err)
	if len(kept.Assignments) != 18 || kept.Report.Cost != *done.Best {
		t.Errorf("kept %d steps that cost %+v, told %+v", len(kept.Assignments), kept.Report.Cost, done.Best)
	}
}
