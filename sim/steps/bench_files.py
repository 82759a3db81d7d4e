"""One unit's amplifier, and its sweep on the bench, as files that other programs and `bandfloor inspect` read."""

import numpy as np

from sim.errors import Fault, StudyError
from sim.inspection.ports import Ports, unit_ports
from sim.measured.touchstone import touchstone_text
from sim.quantity import format_quantity
from sim.steps.touchstone import File


def amplifier_file(study, unit: int, scenario_number: int, reference: float) -> File:
    """The amplifier of one unit between its input and its output, without antenna, dummy and line.

    Parameters
    ----------
    study : Study
        Of the scenario.
    unit : int
    scenario_number : int
        Only for the head of the file.
    reference : float
        [Ω]

    Raises
    ------
    StudyError
        The circuit has two inputs.
    EngineError
        The unit did not simulate.
    """
    ports = unit_ports(study, unit)
    _refuse_two_inputs(study, ports, "amplifier", 'Export "sweep" with -o FILE.csv: gain and phase on the bench.')
    head = f"{_title(study, unit, scenario_number)}; port 1 input, port 2 output, reference {reference:g} ohm"
    return File(touchstone_text(ports.freq_hz, ports.amplifier(reference), head, reference), ())


def sweep_file(study, unit: int, scenario_number: int, columns: bool) -> File:
    """What an analyser shows of one unit on the study's bench, free of noise.

    Parameters
    ----------
    study : Study
        Of the scenario.
    unit : int
    scenario_number : int
        Only for the head of the file.
    columns : bool
        Frequency, gain and phase as columns (CSV) instead of Touchstone.

    Raises
    ------
    StudyError
        The circuit has two inputs, and a two-port was asked for.
    EngineError
        The unit did not simulate.
    """
    ports = unit_ports(study, unit)
    bench = (
        f"dummy {format_quantity(ports.jig.dummy, 'F')}, stray {format_quantity(ports.jig.stray, 'F')},"
        f" source {ports.source:g} ohm, load {ports.load:g} ohm"
    )
    title = f"{_title(study, unit, scenario_number)}; {bench}"
    if columns:
        level, phase = 20 * np.log10(np.abs(ports.gain)), np.rad2deg(np.angle(ports.gain))
        rows = (
            f"{f!r},{a!r},{b!r}" for f, a, b in zip(ports.freq_hz.tolist(), level.tolist(), phase.tolist(), strict=True)
        )
        return File("\n".join([f"# {_plain(title)}", "frequency_hz,gain_db,phase_deg", *rows]) + "\n", ())
    _refuse_two_inputs(study, ports, "sweep", "Write -o FILE.csv: gain and phase through the balanced bench.")
    head = f"{title}\nport 1 before the dummy, port 2 the output, reference of both {ports.source:g} ohm"
    return File(touchstone_text(ports.freq_hz, ports.bench(), head, ports.source), ())


def _refuse_two_inputs(study, ports: Ports, what: str, remedy: str) -> None:
    if ports.z is None:
        key = "amplifier.circuit"
        found = f"the circuit {study.amplifier.circuit} has two inputs and an output: its {what} is no two-port."
        raise StudyError(Fault(study.file, study.line_of(key), key, found, remedy))


def _title(study, unit: int, scenario_number: int) -> str:
    return f"{study.title}: unit {unit}, scenario {scenario_number}, simulated"


def _plain(text: str) -> str:
    return " ".join(text.encode("ascii", "ignore").decode("ascii").split())
