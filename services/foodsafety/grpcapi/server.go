package grpcapi

import (
	"errors"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/services/foodsafety"
)

// Server implements the generated service over the domain.
type Server struct {
	foodsafetypb.UnimplementedFoodSafetyServiceServer
	service *foodsafety.Service
}

var _ foodsafetypb.FoodSafetyServiceServer = (*Server)(nil)

// New returns a server over the domain service.
func New(service *foodsafety.Service) (*Server, error) {
	if service == nil {
		return nil, errors.New("foodsafety API needs the domain service")
	}
	return &Server{service: service}, nil
}
