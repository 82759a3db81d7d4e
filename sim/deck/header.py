"""What the header of a circuit's file says beside words and drawing."""

import re

from sim.errors import CircuitError, Fault
from sim.quantity import QuantityError, parse_quantity

_LEAST = re.compile(r"^\s*least supply\b\s*:?\s*(.*)$", re.IGNORECASE)


def least_supply(circuit) -> float | None:
    """The volts that a circuit needs at its supply pin, from a header line ``* Least supply: 9 V``.

    Parameters
    ----------
    circuit : Circuit

    Returns
    -------
    volts : float or None
        None where the header says nothing. [V]

    Raises
    ------
    CircuitError
        There is such a line, and it holds no voltage.
    """
    for line in circuit.drawing.split("\n"):
        match = _LEAST.match(line)
        if match is None:
            continue
        try:
            return parse_quantity(match[1].strip(), "V")
        except QuantityError as error:
            raise CircuitError(
                Fault(circuit.file, None, "least supply", error.found, "Write, for example, * Least supply: 9 V")
            ) from error
    return None
