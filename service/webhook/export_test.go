package webhook

// Signature is signature.
var Signature = signature
