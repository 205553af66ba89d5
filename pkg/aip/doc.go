// Package aip holds the small pieces that every list, get and update method needs: resource names, page tokens,
// filters, orders, etags and update masks, as the API improvement proposals at aip.dev describe them (122, 132, 134,
// 154, 158, 160).
//
// Everything here checks what a client sent; all errors are [apierr.Error] values of kind InvalidArgument (Aborted for
// an etag) that name the request field and say what is accepted.
package aip

// Reasons of the errors of this package.
const (
	NameInvalid       = "RESOURCE_NAME_INVALID"
	IDInvalid         = "RESOURCE_ID_INVALID"
	PageSizeInvalid   = "PAGE_SIZE_INVALID"
	PageTokenInvalid  = "PAGE_TOKEN_INVALID"
	FilterInvalid     = "FILTER_INVALID"
	OrderByInvalid    = "ORDER_BY_INVALID"
	EtagMismatch      = "ETAG_MISMATCH"
	UpdateMaskInvalid = "UPDATE_MASK_INVALID"
)
