package service

// Signature is signature.
var Signature = signature
