package aip_test

import (
	"errors"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
)

func item() *inventorypb.Item {
	return &inventorypb.Item{
		Name: "sites/n/items/bones", Uid: "u", DisplayName: "Veal bones", Gtin: "04006381333931", NetMassKg: 5, Active: true,
		CreateTime: timestamppb.New(timestamppb.Now().AsTime()), Purchase: &inventorypb.PurchaseTerms{},
	}
}

func TestUpdateMaskCopiesWhatItNamesAndNothingElse(t *testing.T) {
	t.Parallel()
	sent := &inventorypb.Item{Name: "sites/n/items/other", Uid: "forged", DisplayName: "Beef bones", CreateTime: timestamppb.New(timestamppb.Now().AsTime().AddDate(1, 0, 0))}
	tests := []struct {
		name string
		mask []string
		want func(i *inventorypb.Item)
	}{
		{"named field", []string{"display_name"}, func(i *inventorypb.Item) { i.DisplayName = "Beef bones" }},
		{"named field that was not sent is cleared", []string{"gtin"}, func(i *inventorypb.Item) { i.Gtin = "" }},
		{"output-only and identifier fields are ignored", []string{"uid", "name", "create_time"}, func(*inventorypb.Item) {}},
		{"no mask means the fields that were sent", nil, func(i *inventorypb.Item) { i.DisplayName = "Beef bones" }},
		{"star replaces all but output-only", []string{"*"}, func(i *inventorypb.Item) {
			i.DisplayName, i.Gtin, i.NetMassKg, i.Active, i.Purchase = "Beef bones", "", 0, false, nil
		}},
	}
	for _, tt := range tests {
		dst := item()
		want := proto.Clone(dst).(*inventorypb.Item)
		tt.want(want)
		if err := aip.UpdateMask(&fieldmaskpb.FieldMask{Paths: tt.mask}, dst, sent); err != nil {
			t.Errorf("%s: %v", tt.name, err)
		}
		if !proto.Equal(dst, want) {
			t.Errorf("%s:\ngot  %v\nwant %v", tt.name, dst, want)
		}
	}
}

func TestUpdateMaskRefusesUnknownPathsAndChangesNothing(t *testing.T) {
	t.Parallel()
	for _, mask := range [][]string{{"colour"}, {"display_name", "colour"}, {"purchase.colour"}, {"*", "gtin"}, {""}} {
		dst, before := item(), item()
		before.CreateTime = dst.CreateTime
		err := aip.UpdateMask(&fieldmaskpb.FieldMask{Paths: mask}, dst, &inventorypb.Item{DisplayName: "x"})
		if !errors.Is(err, apierr.Reason(aip.UpdateMaskInvalid)) {
			t.Errorf("%v: %v", mask, err)
		}
		if !proto.Equal(dst, before) {
			t.Errorf("%v: changed in spite of the error", mask)
		}
	}
}

func TestImmutableFieldsKeepTheirValue(t *testing.T) {
	t.Parallel()
	current := func() *planningpb.Par {
		return &planningpb.Par{Name: "sites/n/pars/p", Product: "sites/n/products/demi"}
	}
	tests := []struct {
		name   string
		mask   []string
		sent   *planningpb.Par
		refuse bool
	}{
		{"another value", []string{"product"}, &planningpb.Par{Product: "sites/n/products/stock"}, true},
		{"another value without a mask", nil, &planningpb.Par{Product: "sites/n/products/stock"}, true},
		{"another value in a replacement", []string{"*"}, &planningpb.Par{Product: "sites/n/products/stock"}, true},
		{"the same value", []string{"product"}, current(), false},
		{"not named in the mask", []string{"outlet"}, &planningpb.Par{Product: "sites/n/products/stock"}, false},
	}
	for _, tt := range tests {
		dst := current()
		err := aip.UpdateMask(&fieldmaskpb.FieldMask{Paths: tt.mask}, dst, tt.sent)
		if errors.Is(err, apierr.Reason(aip.UpdateMaskInvalid)) != tt.refuse || (err != nil) != tt.refuse {
			t.Errorf("%s: %v", tt.name, err)
		}
		if dst.GetProduct() != current().GetProduct() {
			t.Errorf("%s: changed to %s", tt.name, dst.GetProduct())
		}
	}
}
