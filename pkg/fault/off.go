//go:build !faultpoints

package fault

// Enabled says whether this binary was built with crash points.
const Enabled = false

// Point does nothing in a normal build; the compiler removes the call.
func Point(string) {}
