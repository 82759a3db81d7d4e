"""Physical constants: each a record with unit, uncertainty and reference, and a plain float for formulas."""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Constant:
    """One physical constant and where it comes from.

    Attributes
    ----------
    symbol, name : str
        As written in formulas, and in words.
    value : float
        In SI units.
    unit : str
        SI unit of `value`.
    uncertainty : float
        Relative; 0 where the number is exact by definition.
    reference : str
        Original source of the value.
    """

    symbol: str
    name: str
    value: float
    unit: str
    uncertainty: float
    reference: str


_SI = "SI Brochure, 9th edition (2019), exact"
# 4 pi 1e-7 was exact until 2019; the measured value now differs by 5e-10, far below anything here.
_MU0 = 4e-7 * math.pi
_C0 = 299_792_458.0

CONSTANTS = (
    Constant("c0", "speed of light in vacuum", _C0, "m/s", 0.0, _SI),
    Constant("mu0", "vacuum permeability", _MU0, "H/m", 6e-10, "4 pi 1e-7; SI before 2019"),
    Constant("eps0", "vacuum permittivity", 1.0 / (_MU0 * _C0**2), "F/m", 6e-10, "1/(mu0 c0^2)"),
    Constant("eta0", "impedance of free space", _MU0 * _C0, "ohm", 6e-10, "mu0 c0"),
    Constant("k", "Boltzmann constant", 1.380649e-23, "J/K", 0.0, _SI),
    Constant(
        "T0", "reference noise temperature", 290.0, "K", 0.0, "IEEE definition of noise figure; ITU-R P.372"
    ),
    Constant("T(0 degC)", "zero of the Celsius scale", 273.15, "K", 0.0, _SI),
    Constant("e", "elementary charge", 1.602176634e-19, "C", 0.0, _SI),
)

C0, MU0, EPS0, ETA0, K_B, T0, ZERO_CELSIUS, ELEMENTARY_CHARGE = (constant.value for constant in CONSTANTS)
