// Package grpcapi serves rondeau.foodsafety.v1.FoodSafetyService: it converts between protos and the domain, and does
// nothing else.
package grpcapi
