package sched

// bandit chooses among ways to do something by how well they have done: every so many choices the weights move towards
// what each way earned per unit of work since (adaptive large neighbourhood search: Ropke and Pisinger, Transportation
// Science 40, 2006, from memory; work counts here, since the ways differ much in what they cost).
type bandit struct {
	weight []float64
	earned []float64
	work   []float64
	picks  int
}

// The constants were chosen by trial on generated kitchens.
const (
	banditSegment = 200  // choices between two adjustments of the weights
	banditInertia = 0.7  // share of the old weight
	banditFloor   = 0.02 // least share of the sum that a way keeps, so that it can come back
)

func newBandit(weights ...float64) bandit {
	return bandit{weight: weights, earned: make([]float64, len(weights)), work: make([]float64, len(weights))}
}

// pick draws a way by its weight; ways of weight zero never come.
func (b *bandit) pick(r *rng) int {
	var sum float64
	for _, w := range b.weight {
		sum += w
	}
	x := r.unit() * sum
	last := 0
	for i, w := range b.weight {
		if w <= 0 {
			continue
		}
		last = i
		if x -= w; x < 0 {
			break
		}
	}
	return last
}

// pay notes what way i earned for so much work.
func (b *bandit) pay(i int, reward, work float64) {
	b.earned[i] += reward
	b.work[i] += work
	if b.picks++; b.picks < banditSegment {
		return
	}
	b.picks = 0
	var rates, sum float64
	for k := range b.weight {
		if b.work[k] > 0 {
			b.earned[k] /= b.work[k]
			rates += b.earned[k]
		}
		sum += b.weight[k]
	}
	for k := range b.weight {
		if b.work[k] > 0 && rates > 0 {
			b.weight[k] = banditInertia*b.weight[k] + (1-banditInertia)*sum*b.earned[k]/rates
		}
		if b.weight[k] > 0 {
			b.weight[k] = max(b.weight[k], banditFloor*sum)
		}
		b.earned[k], b.work[k] = 0, 0
	}
}
