package planning

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"
)

// suretyWait is how long an answer about a promise waits for scheduling; the promise does not need it.
const suretyWait = 2 * time.Second

// FinishQuestion asks how sure it is that a batch is done by a moment.
type FinishQuestion struct {
	Batch string
	By    time.Time
}

// Finish says so.
type Finish struct {
	// Known is false when the published schedule does not tell; Refusal says why.
	Known       bool
	Probability float64 // 0 to 1
	Refusal     string
}

// Surety is how sure a promise is.
type Surety struct {
	// Known is false when nothing but the plan speaks for the promise.
	Known       bool
	Probability float64 // 0 to 1
	Basis       string  // in words; why there is none when it is not known
}

// surety says how sure it is that the packs which a promise needs beyond the stock are ready by the moment of dispatch, as
// the published schedule looks. Batches are counted the surest first until they suffice. Their probabilities are
// multiplied, as if one going wrong said nothing about the others; batches share vessels and crews and go wrong together
// rather, so that this is on the cautious side.
func (s *Service) surety(ctx context.Context, site *Site, asked time.Time, a *Availability, batches []*Batch) Surety {
	if a.Promised == 0 {
		return Surety{Basis: "Nothing is promised."}
	}
	need := a.Committed + a.Promised - a.Stock
	if need <= 0 {
		return Surety{Known: true, Probability: 1, Basis: "The stock suffices."}
	}
	var ready []*Batch
	var questions []FinishQuestion
	for _, b := range batches {
		if !b.readyMoment(site.Zone()).After(asked) {
			ready = append(ready, b)
			questions = append(questions, FinishQuestion{Batch: b.Name, By: asked})
		}
	}
	ctx, cancel := context.WithTimeout(ctx, suretyWait)
	defer cancel()
	finishes, err := s.scheduling.Finishes(ctx, site.Name, questions)
	if err != nil || len(finishes) != len(ready) {
		return Surety{Basis: "Scheduling does not answer how sure the batches are: the promise rests on the plan alone."}
	}
	type chance struct {
		batch *Batch
		Finish
	}
	chances := make([]chance, len(ready))
	for i := range ready {
		chances[i] = chance{ready[i], finishes[i]}
	}
	slices.SortStableFunc(chances, func(x, y chance) int {
		if x.Known != y.Known {
			if x.Known {
				return -1
			}
			return 1
		}
		return cmp.Compare(y.Probability, x.Probability)
	})
	out := Surety{Known: true, Probability: 1}
	used := 0
	for _, c := range chances {
		if need <= 0 {
			break
		}
		if !c.Known {
			return Surety{Basis: fmt.Sprintf("How sure %s is cannot be said (%s): the promise rests on the plan alone.", c.batch.Name, c.Refusal)}
		}
		out.Probability *= c.Probability
		need -= c.batch.Containers
		used++
	}
	what := "The batch that it needs is"
	if used > 1 {
		what = fmt.Sprintf("The %d batches that it needs are", used)
	}
	out.Basis = fmt.Sprintf("%s done by the dispatch with %s, as the published schedule looks.", what, percent(out.Probability))
	return out
}

// percent writes a probability for people; certainty is never claimed.
func percent(p float64) string {
	switch {
	case p > 0.99:
		return "more than 99 %"
	case p < 0.01:
		return "less than 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}
