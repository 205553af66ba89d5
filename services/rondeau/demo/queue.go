package demo

import (
	"container/heap"
	"context"
	"time"
)

// event is something that happens at a moment of the story.
type event struct {
	at    time.Time
	order int // of two events at one moment the one that was added first comes first
	name  string
	do    func(ctx context.Context) error
}

// queue holds events in the order of time. The zero value is empty and usable.
type queue struct {
	events eventHeap
	added  int
}

// add puts an event into the queue. One that lies in the past happens next.
func (q *queue) add(at time.Time, name string, do func(ctx context.Context) error) {
	q.added++
	heap.Push(&q.events, event{at: at, order: q.added, name: name, do: do})
}

// next takes the earliest event out, false when there is none.
func (q *queue) next() (event, bool) {
	if len(q.events) == 0 {
		return event{}, false
	}
	return heap.Pop(&q.events).(event), true
}

type eventHeap []event

// Len implements heap.Interface.
func (h eventHeap) Len() int { return len(h) }

// Less implements heap.Interface.
func (h eventHeap) Less(i, j int) bool {
	if !h[i].at.Equal(h[j].at) {
		return h[i].at.Before(h[j].at)
	}
	return h[i].order < h[j].order
}

// Swap implements heap.Interface.
func (h eventHeap) Swap(i, j int) { h[i], h[j] = h[j], h[i] }

// Push implements heap.Interface.
func (h *eventHeap) Push(x any) { *h = append(*h, x.(event)) }

// Pop implements heap.Interface.
func (h *eventHeap) Pop() any {
	old := *h
	last := old[len(old)-1]
	*h = old[:len(old)-1]
	return last
}
