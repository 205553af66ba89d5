// Package bench measures the suite the way its promises are worded: requirements of a large kitchen, time until ready,
// reads at a fixed rate, and acknowledged writes beside a raw insert. Each measurement prints what it did, on how many
// cores, and every figure with its unit; none judges.
package bench

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"slices"
	"sync"
	"time"

	"google.golang.org/grpc"

	"rondeau.internal/pkg/explode"
	"rondeau.internal/pkg/explode/generator"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/rpc"
)

// Machine is the line that every measurement begins with.
func Machine() string {
	return fmt.Sprintf("%s on %s/%s, %d cores", runtime.Version(), runtime.GOOS, runtime.GOARCH, runtime.NumCPU())
}

// Requirements solves a generated kitchen `runs` times and prints the time of each and the memory held at its end.
func Requirements(out io.Writer, outlets, products, days, runs int) error {
	fmt.Fprintln(out, Machine())
	problem := generator.Generate(1, outlets, products, days)
	fmt.Fprintf(out, "requirements: %d outlets, %d products, %d days, %d demands, %d items\n", outlets, products, days, len(problem.Demands), len(problem.Nodes))
	runtime.GC()
	var before runtime.MemStats
	runtime.ReadMemStats(&before)
	times := make([]time.Duration, 0, runs)
	for i := range runs {
		begun := time.Now()
		result, err := explode.Solve(&problem)
		if err != nil {
			return fmt.Errorf("solve: %w", err)
		}
		times = append(times, time.Since(begun))
		var after runtime.MemStats
		runtime.ReadMemStats(&after)
		fmt.Fprintf(out, "run %d: %v, %d batches, %d purchases, %d shortages, heap %.0f MB (problem itself %.0f MB)\n",
			i+1, times[i].Round(time.Millisecond), len(result.Batches), len(result.Purchases), len(result.Shortages),
			float64(after.HeapAlloc)/1e6, float64(before.HeapAlloc)/1e6)
	}
	fmt.Fprintf(out, "median %v, from the system %.0f MB\n", quantile(times, 0.5).Round(time.Millisecond), systemMemory())
	return nil
}

func systemMemory() float64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.Sys) / 1e6
}

// quantile of durations by the nearest rank; the slice is sorted.
func quantile(times []time.Duration, q float64) time.Duration {
	slices.Sort(times)
	if len(times) == 0 {
		return 0
	}
	return times[min(len(times)-1, int(q*float64(len(times))))]
}

// Reads calls GetOutlet at a fixed rate, whether or not earlier calls have returned, so that a slow answer is not hidden by
// the calls that wait behind it. Latency counts from the moment at which a call was due.
func Reads(ctx context.Context, out io.Writer, conn grpc.ClientConnInterface, outlet string, rate int, length time.Duration) error {
	client := planningpb.NewPlanningServiceClient(conn)
	for range 100 { // connections, caches
		_, err := client.GetOutlet(ctx, &planningpb.GetOutletRequest{Name: outlet})
		if err != nil {
			return fmt.Errorf("read %s: %w", outlet, rpc.FromStatus(err))
		}
	}
	total := int(length.Seconds() * float64(rate))
	times := make([]time.Duration, total)
	errs := make([]error, total)
	var wait sync.WaitGroup
	begun := time.Now()
	for i := range total {
		due := begun.Add(time.Duration(i) * time.Second / time.Duration(rate))
		pause := time.NewTimer(time.Until(due))
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-pause.C:
		}
		wait.Add(1)
		go func() {
			defer wait.Done()
			_, errs[i] = client.GetOutlet(ctx, &planningpb.GetOutletRequest{Name: outlet})
			times[i] = time.Since(due)
		}()
	}
	wait.Wait()
	for _, err := range errs {
		if err != nil {
			return fmt.Errorf("read %s: %w", outlet, rpc.FromStatus(err))
		}
	}
	_, err := fmt.Fprintf(out, "%d reads at %d/s: median %v, 90%% %v, 99%% %v, largest %v\n", total, rate,
		quantile(times, 0.5), quantile(times, 0.9), quantile(times, 0.99), quantile(times, 1))
	return err
}

// Writes creates orders through the API with `clients` callers at once and counts those acknowledged.
func Writes(ctx context.Context, out io.Writer, write func(ctx context.Context, client, i int) error, clients int, length time.Duration) error {
	var wait sync.WaitGroup
	counts := make([]int, clients)
	errs := make([]error, clients)
	times := make([][]time.Duration, clients)
	begun := time.Now()
	for c := range clients {
		wait.Add(1)
		go func() {
			defer wait.Done()
			for i := 0; time.Since(begun) < length && ctx.Err() == nil; i++ {
				start := time.Now()
				errs[c] = write(ctx, c, i)
				if errs[c] != nil {
					return
				}
				times[c] = append(times[c], time.Since(start))
				counts[c]++
			}
		}()
	}
	wait.Wait()
	elapsed := time.Since(begun)
	sum := 0
	var all []time.Duration
	for c := range clients {
		if errs[c] != nil {
			return errs[c]
		}
		sum += counts[c]
		all = append(all, times[c]...)
	}
	_, err := fmt.Fprintf(out, "%d acknowledged in %.1f s by %d clients: %.0f/s, median %v, 99%% %v\n", sum, elapsed.Seconds(), clients,
		float64(sum)/elapsed.Seconds(), quantile(all, 0.5).Round(10*time.Microsecond), quantile(all, 0.99).Round(10*time.Microsecond))
	return err
}
