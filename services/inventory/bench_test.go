package inventory_test

import (
	"fmt"
	"testing"

	"rondeau.internal/services/inventory"
)

// BenchmarkConsume is one weighing at the vessel: a durable transaction on SQLite.
func BenchmarkConsume(b *testing.B) {
	k := newKitchen(b)
	k.receive("bones", 90_000, "b1", "2027-01-01")
	b.ResetTimer()
	for b.Loop() {
		k.must(k.consume("one", "bones", 0.001, ""))
	}
}

// BenchmarkTrace traces one container back and its bones forward in a kitchen that cooked fifty batches of a shared delivery and packed a
// thousand containers.
func BenchmarkTrace(b *testing.B) {
	k := newKitchen(b)
	bones := k.receive("bones", 5000, "b1", "2027-01-01")
	container := ""
	for i := range 50 {
		name := fmt.Sprintf("n%d", i)
		k.must(k.consume(name, "bones", 40, bones))
		g := k.produce(name, "glace", 20, "")
		p, err := k.PackContainers(k.ctx, inventory.Packing{Site: site, Batch: batch("pack-" + name), Item: item("pouch"), Sources: []inventory.PackingSource{{Lot: g}}, Count: 20})
		k.must(err)
		container = p.Containers[0].Name
	}
	b.ResetTimer()
	for b.Loop() {
		if _, err := k.TraceBackward(k.ctx, container); err != nil {
			b.Fatal(err)
		}
		t, err := k.TraceForward(k.ctx, bones, false)
		if err != nil || t.Summary.Containers != 1000 {
			b.Fatalf("%v, %d containers", err, t.Summary.Containers)
		}
	}
}
