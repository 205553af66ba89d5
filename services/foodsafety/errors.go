package foodsafety

import "rondeau.internal/pkg/apierr"

// Reasons for which the service refuses a call; the enum ErrorReason of the API lists the same names.
const (
	LimitsProfileMissing  = "LIMITS_PROFILE_MISSING"
	LimitsProfileExists   = "LIMITS_PROFILE_EXISTS"
	LimitsProfileInvalid  = "LIMITS_PROFILE_INVALID"
	LimitsProfileBuiltIn  = "LIMITS_PROFILE_BUILT_IN"
	ProbeMissing          = "PROBE_MISSING"
	ProbeExists           = "PROBE_EXISTS"
	ProbeInvalid          = "PROBE_INVALID"
	ProbeDisabled         = "PROBE_DISABLED"
	ProbeBusy             = "PROBE_BUSY"
	ChillMissing          = "CHILL_MISSING"
	ChillExists           = "CHILL_EXISTS"
	ChillNotCold          = "CHILL_NOT_COLD"
	ChillStateWrong       = "CHILL_STATE"
	ChillNotFoundForProbe = "CHILL_NOT_FOUND_FOR_PROBE"
	ReadingOutOfRange     = "READING_OUT_OF_RANGE"
	TimeInFuture          = "TIME_IN_FUTURE"
	ReadingBeforeChill    = "READING_BEFORE_CHILL"
	ReadingConflict       = "READING_CONFLICT"
	DeviationMissing      = "DEVIATION_MISSING"
	DeviationExists       = "DEVIATION_EXISTS"
	DeviationStateWrong   = "DEVIATION_STATE"
	DeviationUndecided    = "DEVIATION_UNDECIDED"
	HoldMissing           = "HOLD_MISSING"
	HoldExists            = "HOLD_EXISTS"
	HoldStateWrong        = "HOLD_STATE"
	HoldDeviationOpen     = "HOLD_DEVIATION_OPEN"
	HoldDiscarded         = "HOLD_DISCARDED"
	SecondPersonRequired  = "SECOND_PERSON_REQUIRED"
	LotUnknown            = "LOT_UNKNOWN"
	LotNotReleasable      = "LOT_NOT_RELEASABLE"
	LotAlreadyReleased    = "LOT_ALREADY_RELEASED"
	ReleaseMissing        = "RELEASE_MISSING"
	SiteMismatch          = "SITE_MISMATCH"
	FieldInvalid          = "FIELD_INVALID"
	EtagMismatch          = "ETAG_MISMATCH"
	CallerUnknown         = "CALLER_UNKNOWN"
)

// Reasons lists every reason of the service.
func Reasons() []string {
	return []string{
		LimitsProfileMissing, LimitsProfileExists, LimitsProfileInvalid, LimitsProfileBuiltIn, ProbeMissing, ProbeExists,
		ProbeInvalid, ProbeDisabled, ProbeBusy, ChillMissing, ChillExists, ChillNotCold, ChillStateWrong,
		ChillNotFoundForProbe, ReadingOutOfRange, TimeInFuture, ReadingBeforeChill, ReadingConflict, DeviationMissing,
		DeviationExists, DeviationStateWrong, DeviationUndecided, HoldMissing, HoldExists, HoldStateWrong,
		HoldDeviationOpen, HoldDiscarded, SecondPersonRequired, LotUnknown, LotNotReleasable, LotAlreadyReleased,
		ReleaseMissing, SiteMismatch, FieldInvalid, EtagMismatch, CallerUnknown,
	}
}

// invalidField is the error of one request field.
func invalidField(reason, field, format string, args ...any) *apierr.Error {
	e := apierr.InvalidArgument(reason, format, args...)
	return e.With("field", field).WithViolation(field, format, args...)
}

// secondPerson refuses a person who did the first part already.
func secondPerson(resource, person, did, ask string) *apierr.Error {
	return apierr.FailedPrecondition(SecondPersonRequired, "%s %s of %s; ask another person %s", person, did, resource, ask).
		With("resource", resource).With("person", person).
		WithViolation(resource, "two persons are needed: %s %s", person, did).WithResource(resource)
}
