package askplan

import "math"

// decline tabulates what a hazard x more, as a multiple of that behind, does, by
// log x: the chance (1 + x)^−k to be still there, and log(1 + x). Linear between
// its points it is right to some 1e-4, enough to find a path by; what a path
// brings is worked out without it.
type decline struct{ stays, rise [declinePoints + 1]float64 }

const (
	declineEnd    = 12.0 // of |log x|
	declineScale  = 32.0 // points to a unit of it
	declinePoints = 2 * declineEnd * declineScale
)

// rises are log(1 + x): the same for every shape.
var rises = func() (out [declinePoints + 1]float64) {
	for i := range out {
		out[i] = math.Log1p(math.Exp(float64(i)/declineScale - declineEnd))
	}
	return out
}()

func newDecline(shape float64) *decline {
	d := &decline{rise: rises}
	for i, rise := range d.rise {
		d.stays[i] = math.Exp(-shape * rise)
	}
	return d
}

// at is the chance and the rise at log x.
func (d *decline) at(logX float64) (stays, rise float64) {
	x := (logX + declineEnd) * declineScale
	switch {
	case !(x > 0): // also of none at all
		return 1, 0
	case x >= declinePoints:
		return 0, logX
	}
	i := int(x)
	w := x - float64(i)
	return d.stays[i] + w*(d.stays[i+1]-d.stays[i]), d.rise[i] + w*(d.rise[i+1]-d.rise[i])
}
