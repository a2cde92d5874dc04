package service

// Signature is signature.
var Signature = signature

// CautionRules are all cautions that answers may carry.
func CautionRules() []cautionRule { return cautionRules }
