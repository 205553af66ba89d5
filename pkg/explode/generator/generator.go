// Package generator makes large, invented planning problems for benchmarks and load tests.
package generator

import (
	"fmt"
	"math/rand/v2"
	"strconv"

	"rondeau.internal/pkg/explode"
)

// OrderShare is the share of outlet, product and day combinations with a demand.
const OrderShare = 0.3

// Generate returns a problem of a commissary with so many outlets, frozen packs (products) and days. Every
// pack is filled from one of a few sauces, every sauce is reduced from one of a few
// stocks, stocks are cooked from purchased bones and vegetables and give fat and bones for a second
// wash, which again feeds the stocks' water. Each outlet orders about OrderShare of the products a day.
// The same arguments give the same problem. Arguments below 1 count as 1.
func Generate(seed uint64, outlets, products, days int) explode.Problem {
	outlets, products, days = max(outlets, 1), max(products, 1), max(days, 1)
	rng := rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15))
	p := explode.Problem{Days: days, StartWeekday: 1, SameDayHours: 4}
	packs := nodes(&p, rng, products, max(1, float64(outlets)/400))
	demands(&p, rng, packs, outlets)
	stock(&p, rng)
	return p
}

// nodes adds the items and returns the indexes of the packs. A kitchen for more outlets has larger vessels, by scale.
func nodes(p *explode.Problem, rng *rand.Rand, products int, scale float64) []int {
	add := func(n explode.Node) int {
		p.Nodes = append(p.Nodes, n)
		return len(p.Nodes) - 1
	}
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	var bought []int
	for i := range max(4, products/10) {
		bought = append(bought, add(explode.Node{
			ID: fmt.Sprintf("ingredient-%03d", i), Kind: explode.Purchased, LeadDays: 1 + rng.IntN(3), ShelfLife: 7 + rng.IntN(21),
			Sizing:   explode.Sizing{Multiple: float64(5 * (1 + rng.IntN(4)))},
			Delivery: explode.Delivery{Weekdays: explode.Weekdays(1<<1 | 1<<2 | 1<<3 | 1<<4 | 1<<5)},
		}))
	}
	vessel := func(id string, lo, hi float64) explode.Vessel {
		return explode.Vessel{ID: id, MinFill: lo * scale, MaxFill: hi * scale}
	}
	kettles := []explode.Vessel{vessel("kettle-small", 20, 55), vessel("kettle-medium", 70, 180), vessel("kettle-large", 180, 460)}
	pans := []explode.Vessel{vessel("rondeau", 8, 30), vessel("tilting-pan", 25, 100)}
	fat := add(explode.Node{ID: "rendered-fat", Kind: explode.Recovered, ShelfLife: 14})
	spent := add(explode.Node{ID: "spent-bones", Kind: explode.Recovered, ShelfLife: 2})
	var stocks, sauces []int
	for i := range max(2, products/20) {
		stocks = append(stocks, add(explode.Node{
			ID: fmt.Sprintf("stock-%03d", i), Kind: explode.Made, LeadDays: 1, LeadHours: 10, ShelfLife: 5,
			Inputs: []explode.Input{
				{Node: bought[i%len(bought)], PerOne: between(0.9, 1.3)},
				{Node: bought[(i+1)%len(bought)], PerOne: between(0.1, 0.25)},
			},
			ByProducts: []explode.ByProduct{{Node: fat, PerOne: between(0.01, 0.04)}, {Node: spent, PerOne: between(0.5, 0.8)}},
			Yield:      explode.Yield{Mean: between(0.9, 0.98), SD: 0.04, Service: 0.9},
			Sizing:     explode.Sizing{Vessels: kettles, Period: 2},
		}))
	}
	wash := add(explode.Node{
		ID: "second-wash", Kind: explode.Made, LeadHours: 12, ShelfLife: 4, Inputs: []explode.Input{{Node: spent, PerOne: 1}},
		Yield: explode.Yield{Mean: 0.95, SD: 0.03}, Sizing: explode.Sizing{Vessels: kettles},
	})
	p.Nodes[wash].Safety = 20
	for i := range max(2, products/8) {
		sauces = append(sauces, add(explode.Node{
			ID: fmt.Sprintf("sauce-%03d", i), Kind: explode.Made, LeadHours: 14, ShelfLife: 6,
			Inputs: []explode.Input{{Node: stocks[i%len(stocks)], PerOne: between(3, 5)}, {Node: bought[rng.IntN(len(bought))], PerOne: between(0.02, 0.1)}},
			Yield:  explode.Yield{Mean: between(0.85, 0.97), SD: 0.06, Service: 0.95, Distribution: explode.Lognormal},
			Sizing: explode.Sizing{Vessels: pans, Period: 2},
		}))
	}
	packs := make([]int, products)
	for i := range packs {
		packs[i] = add(explode.Node{
			ID: fmt.Sprintf("pack-%04d", i), Kind: explode.Pack, LeadDays: 1, ShelfLife: 90,
			Inputs: []explode.Input{{Node: sauces[i%len(sauces)], PerOne: between(0.1, 0.4)}},
			Sizing: explode.Sizing{Multiple: 6, Period: 1 + rng.IntN(3)}, Safety: float64(rng.IntN(40)),
		})
	}
	return packs
}

// demands adds the outlets' orders. IDs share one string, so that millions of them stay small.
func demands(p *explode.Problem, rng *rand.Rand, packs []int, outlets int) {
	kinds := [...]explode.DemandKind{
		explode.Order, explode.Order, explode.Order, explode.Order, explode.Order, explode.Order,
		explode.Forecast, explode.Forecast, explode.Par, explode.Par,
	}
	estimate := int(float64(outlets*len(packs)*p.Days) * OrderShare * 1.02)
	p.Demands = make([]explode.Demand, 0, estimate)
	text := make([]byte, 0, estimate*12)
	ends := make([]int, 0, estimate)
	for outlet := range outlets {
		for _, pack := range packs {
			for day := range p.Days {
				v := rng.Uint64()
				if float64(v>>11)/(1<<53) >= OrderShare {
					continue
				}
				text = append(text, 'o')
				text = strconv.AppendInt(text, int64(outlet), 36)
				text = append(text, '-')
				text = strconv.AppendInt(text, int64(pack), 36)
				text = append(text, '-')
				text = strconv.AppendInt(text, int64(day), 36)
				ends = append(ends, len(text))
				p.Demands = append(p.Demands, explode.Demand{
					Quantity: float64(1 + v%4), Node: int32(pack), Day: int32(day), Kind: kinds[v>>4%uint64(len(kinds))],
					Priority: uint8(outlet % 3),
				})
			}
		}
	}
	all := string(text)
	from := 0
	for i, end := range ends {
		p.Demands[i].ID = all[from:end]
		from = end
	}
}

// stock adds a few lots on hand and deliveries on the way.
func stock(p *explode.Problem, rng *rand.Rand) {
	for i := range p.Nodes {
		n := &p.Nodes[i]
		switch n.Kind {
		case explode.Pack:
			p.Supplies = append(p.Supplies, explode.Supply{
				ID: "lot-" + n.ID, Node: i, Kind: explode.OnHand, Quantity: float64(50 + rng.IntN(4000)), Expires: true, LastDay: 20 + rng.IntN(60),
			})
		case explode.Purchased:
			p.Supplies = append(p.Supplies, explode.Supply{
				ID: "delivery-" + n.ID, Node: i, Kind: explode.Expected, Quantity: float64(100 + rng.IntN(2000)), Day: min(1, p.Days-1),
			})
		}
	}
}
