// Command passes goes three times through the point "x" and says how far it came.
package main

import "rondeau.internal/pkg/fault"

func main() {
	defer println("deferred")
	for range 3 {
		fault.Point("x")
		println("passed")
	}
}
