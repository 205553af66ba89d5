package inventory

import (
	"rondeau.internal/pkg/apierr"
)

// Reasons of errors; the enum ErrorReason of the API lists the same names.
const (
	ItemMissing           = "ITEM_MISSING"
	ItemExists            = "ITEM_EXISTS"
	ItemInvalid           = "ITEM_INVALID"
	ItemInactive          = "ITEM_INACTIVE"
	ItemKindWrong         = "ITEM_KIND_WRONG"
	SupplierMissing       = "SUPPLIER_MISSING"
	SupplierExists        = "SUPPLIER_EXISTS"
	SupplierInvalid       = "SUPPLIER_INVALID"
	LocationMissing       = "LOCATION_MISSING"
	LocationExists        = "LOCATION_EXISTS"
	LocationInvalid       = "LOCATION_INVALID"
	StockPolicyInvalid    = "STOCK_POLICY_INVALID"
	DeliveryMissing       = "DELIVERY_MISSING"
	DeliveryExists        = "DELIVERY_EXISTS"
	DeliveryInvalid       = "DELIVERY_INVALID"
	DeliveryNotExpected   = "DELIVERY_NOT_EXPECTED"
	LotMissing            = "LOT_MISSING"
	LotExists             = "LOT_EXISTS"
	LotHeld               = "LOT_HELD"
	LotExpired            = "LOT_EXPIRED"
	LotNotReleased        = "LOT_NOT_RELEASED"
	LotNotShippable       = "LOT_NOT_SHIPPABLE"
	LotWrongItem          = "LOT_WRONG_ITEM"
	StockShort            = "STOCK_SHORT"
	MassInvalid           = "MASS_INVALID"
	TimeInFuture          = "TIME_IN_FUTURE"
	DateInvalid           = "DATE_INVALID"
	WrongSite             = "WRONG_SITE"
	NameInvalid           = "NAME_INVALID"
	MoveMissing           = "MOVE_MISSING"
	ReservationMissing    = "RESERVATION_MISSING"
	ReservationExists     = "RESERVATION_EXISTS"
	BatchClosed           = "BATCH_CLOSED"
	BatchUnknown          = "BATCH_UNKNOWN"
	BatchUnbalanced       = "BATCH_UNBALANCED"
	BatchOutputTooLarge   = "BATCH_OUTPUT_TOO_LARGE"
	ContainerMissing      = "CONTAINER_MISSING"
	ContainerNotAvailable = "CONTAINER_NOT_AVAILABLE"
	CodeUnreadable        = "CODE_UNREADABLE"
	CodeUnknown           = "CODE_UNKNOWN"
	ShipmentMissing       = "SHIPMENT_MISSING"
	ShipmentExists        = "SHIPMENT_EXISTS"
	ShipmentInvalid       = "SHIPMENT_INVALID"
	ShipmentNotDraft      = "SHIPMENT_NOT_DRAFT"
	ShipmentNotDispatched = "SHIPMENT_NOT_DISPATCHED"
	FoodSafetyUnavailable = "FOOD_SAFETY_UNAVAILABLE"
	TraceTooLarge         = "TRACE_TOO_LARGE"
	FilterInvalid         = "FILTER_INVALID"
	PageTokenInvalid      = "PAGE_TOKEN_INVALID"
	UpdateMaskInvalid     = "UPDATE_MASK_INVALID"
	EtagMismatch          = "ETAG_MISMATCH"
	RequestInvalid        = "REQUEST_INVALID"
)

// checkEtag compares the etag that a caller sends with the current one; an empty one skips the check.
func checkEtag(sent, current, name string) error {
	if sent == "" || sent == current {
		return nil
	}
	return apierr.Aborted(EtagMismatch, "%s was changed in the meantime; read it again and repeat the change", name).
		With("resource", name).With("etag", current)
}
