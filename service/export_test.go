package service

// CautionRules are all cautions that answers may carry.
func CautionRules() []cautionRule { return cautionRules }
