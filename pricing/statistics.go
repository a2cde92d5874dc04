package pricing

// Statistics are the sufficient statistics of the value model. The exported
// state can be stored as JSON or gob; it is equal to 1e-9 however it was built.
type Statistics struct{}
