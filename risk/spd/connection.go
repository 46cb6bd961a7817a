package spd

import "levinward/risk"

// noteBehindResidual goes with CT1 in TT.
const noteBehindResidual = "In TT a device from line to PE (CT1) is only for behind a residual-current device of type S or immune to " +
	"3 kA 8/20; " +
	"without a neutral there is no other: put the device behind such a residual-current device."

// connection is the connection type: CT2 where there is a neutral apart from PE, CT1 otherwise. A wanted type counts where the
// system allows it.
func (x *end) connection() Connection {
	el := &x.l.Electrical
	switch {
	case x.telecom() || x.direct():
		return NoConnection
	case el.System == risk.TNC || el.System == risk.TNCS || !x.neutral():
		return CT1
	case el.Connection == risk.WantCT1 && x.allowsCT1():
		return CT1
	}
	return CT2
}

// allowsCT1 reports that devices from each conductor to PE are allowed: in TT only behind a residual-current device.
func (x *end) allowsCT1() bool { return x.l.Electrical.System != risk.TT || x.behindResidual() }

func (x *end) behindResidual() bool {
	r := x.l.Electrical.Residual
	return r == risk.ResidualBefore || r == risk.ResidualBeforeDelayed
}

// alsoConnection is the connection type allowed besides CT2, unless one is wanted.
func (x *end) alsoConnection(c Connection) Connection {
	if c == CT2 && x.l.Electrical.Connection == risk.ConnectionNotStated && x.allowsCT1() {
		return CT1
	}
	return NoConnection
}

// protectedConductors is the number of live conductors and neutral that the device connects; of a data line its wires, of a
// coaxial cable the inner conductor.
func (x *end) protectedConductors() int {
	el := &x.l.Electrical
	switch {
	case x.telecom() && el.Cable == risk.CableCoaxial:
		return 1
	case x.telecom():
		return 2 * max(1, el.Pairs)
	case !x.direct() && (el.System == risk.TNC || el.System == risk.TNCS):
		return int(x.phases())
	}
	return int(x.lineAndNeutral())
}

// standard is the standard of the device.
func (x *end) standard() string {
	switch {
	case x.telecom():
		return "IEC 61643-21"
	case x.pv():
		return "IEC 61643-31"
	case x.direct():
		return "IEC 61643-41"
	}
	return "IEC 61643-11"
}

// residualNote says what the residual-current device means for the device in TT.
func (x *end) residualNote() string {
	switch {
	case x.behindResidual():
		return "The residual-current device upstream is of type S or immune to 3 kA 8/20; behind it TT allows CT1 and CT2."
	case !x.neutral():
		return noteBehindResidual
	}
	return "Upstream of the residual-current device TT allows CT2 only; one upstream of the SPD is of type S or immune to 3 kA 8/20."
}
