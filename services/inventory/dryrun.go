package inventory

import "errors"

// errDryRun undoes the transaction of a call that was asked to check only.
var errDryRun = errors.New("nothing is written: the call was a check")

func isDryRun(err error) bool { return errors.Is(err, errDryRun) }
