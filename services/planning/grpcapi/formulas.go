package grpcapi

import (
	"context"

	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/planning"
)

// GetFormula implements the API.
func (s *Server) GetFormula(ctx context.Context, r *pb.GetFormulaRequest) (*pb.Formula, error) {
	return one(formulaProto)(s.service.Formula(ctx, r.GetName()))
}

// ListFormulas implements the API.
func (s *Server) ListFormulas(ctx context.Context, r *pb.ListFormulasRequest) (*pb.ListFormulasResponse, error) {
	found, next, err := page(r, r.GetParent(), r.GetFilter(), s.service, func(q planning.Query) ([]*planning.Formula, error) {
		return s.service.ListFormulas(ctx, q)
	}, func(v *planning.Formula) []string { return []string{v.Name} })
	if err != nil {
		return nil, err
	}
	return &pb.ListFormulasResponse{Formulas: convertAll(found, formulaProto), NextPageToken: next}, nil
}

// CreateFormula implements the API.
func (s *Server) CreateFormula(ctx context.Context, r *pb.CreateFormulaRequest) (*pb.Formula, error) {
	return one(formulaProto)(s.service.CreateFormula(ctx, r.GetParent(), r.GetFormulaId(), formulaDomain(r.GetFormula()), versionDomain(r.GetVersion())))
}

// UpdateFormula implements the API.
func (s *Server) UpdateFormula(ctx context.Context, r *pb.UpdateFormulaRequest) (*pb.Formula, error) {
	return one(formulaProto)(s.service.UpdateFormula(ctx, r.GetFormula().GetName(), r.GetFormula().GetEtag(), func(v *planning.Formula) error {
		return patch(v, formulaProto, formulaDomain, r.GetUpdateMask(), r.GetFormula())
	}))
}

// ReviseFormula implements the API.
func (s *Server) ReviseFormula(ctx context.Context, r *pb.ReviseFormulaRequest) (*pb.FormulaVersion, error) {
	var version *planning.FormulaVersion
	if r.GetVersion() != nil {
		version = versionDomain(r.GetVersion())
	}
	return one(versionProto)(s.service.ReviseFormula(ctx, r.GetName(), version))
}

// RetireFormula implements the API.
func (s *Server) RetireFormula(ctx context.Context, r *pb.RetireFormulaRequest) (*pb.Formula, error) {
	return one(formulaProto)(s.service.RetireFormula(ctx, r.GetName(), r.GetEtag()))
}

// GetFormulaVersion implements the API.
func (s *Server) GetFormulaVersion(ctx context.Context, r *pb.GetFormulaVersionRequest) (*pb.FormulaVersion, error) {
	return one(versionProto)(s.service.FormulaVersion(ctx, r.GetName()))
}

// ListFormulaVersions implements the API.
func (s *Server) ListFormulaVersions(ctx context.Context, r *pb.ListFormulaVersionsRequest) (*pb.ListFormulaVersionsResponse, error) {
	found, next, err := page(r, r.GetParent(), r.GetFilter(), s.service, func(q planning.Query) ([]*planning.FormulaVersion, error) {
		return s.service.ListFormulaVersions(ctx, q)
	}, versionKey)
	if err != nil {
		return nil, err
	}
	return &pb.ListFormulaVersionsResponse{FormulaVersions: convertAll(found, versionProto), NextPageToken: next}, nil
}

// UpdateFormulaVersion implements the API.
func (s *Server) UpdateFormulaVersion(ctx context.Context, r *pb.UpdateFormulaVersionRequest) (*pb.FormulaVersion, error) {
	in := r.GetFormulaVersion()
	return one(versionProto)(s.service.UpdateFormulaVersion(ctx, in.GetName(), in.GetEtag(), func(v *planning.FormulaVersion) error {
		return patch(v, versionProto, versionDomain, r.GetUpdateMask(), in)
	}))
}

// ApproveFormulaVersion implements the API.
func (s *Server) ApproveFormulaVersion(ctx context.Context, r *pb.ApproveFormulaVersionRequest) (*pb.FormulaVersion, error) {
	return one(versionProto)(s.service.ApproveFormulaVersion(ctx, r.GetName(), r.GetEtag(), actor(ctx)))
}
