package sqlstore

import (
	"context"
	"errors"
	"fmt"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/sqlstore/internal/db"
)

// PutLot implements foodsafety.LotStore.
func (s *Store) PutLot(ctx context.Context, l *foodsafety.Lot) error {
	err := s.q(ctx).PutLot(ctx, db.PutLotParams{
		Name: l.Name, Site: foodsafety.SiteOf(l.Name), Item: l.Item, Batch: l.Batch, CreateUs: us(l.CreateTime),
	})
	if err != nil {
		return fmt.Errorf("put %s: %w", l.Name, sqldb.Translate(err))
	}
	for _, input := range l.Inputs {
		if err := s.q(ctx).PutLotInput(ctx, db.PutLotInputParams{Lot: l.Name, Input: input}); err != nil {
			return fmt.Errorf("input of %s: %w", l.Name, sqldb.Translate(err))
		}
	}
	return nil
}

// GetLot implements foodsafety.LotStore.
func (s *Store) GetLot(ctx context.Context, name string) (*foodsafety.Lot, error) {
	row, err := s.q(ctx).GetLot(ctx, name)
	err = sqldb.Translate(err)
	if errors.Is(err, sqldb.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", name, err)
	}
	inputs, err := s.q(ctx).LotInputs(ctx, name)
	if err != nil {
		return nil, fmt.Errorf("inputs of %s: %w", name, sqldb.Translate(err))
	}
	return &foodsafety.Lot{Name: row.Name, Item: row.Item, Batch: row.Batch, Inputs: inputs, CreateTime: sqldb.FromMicros(row.CreateUs)}, nil
}

// AddBatchInput implements foodsafety.LotStore.
func (s *Store) AddBatchInput(ctx context.Context, batch, lot string) error {
	return sqldb.Translate(s.q(ctx).AddBatchInput(ctx, db.AddBatchInputParams{Batch: batch, Lot: lot}))
}

// BatchInputs implements foodsafety.LotStore.
func (s *Store) BatchInputs(ctx context.Context, batch string) ([]string, error) {
	list, err := s.q(ctx).BatchInputs(ctx, batch)
	return list, sqldb.Translate(err)
}

// AddBatchPerson implements foodsafety.LotStore.
func (s *Store) AddBatchPerson(ctx context.Context, batch, person string) error {
	return sqldb.Translate(s.q(ctx).AddBatchPerson(ctx, db.AddBatchPersonParams{Batch: batch, Person: person}))
}

// BatchPeople implements foodsafety.LotStore.
func (s *Store) BatchPeople(ctx context.Context, batch string) ([]string, error) {
	list, err := s.q(ctx).BatchPeople(ctx, batch)
	return list, sqldb.Translate(err)
}
