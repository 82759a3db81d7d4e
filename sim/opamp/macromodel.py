"""A compact behavioural op-amp, written straight into the deck as numbers.

Theory of operation
-------------------
Five internal nodes, no branch currents: a noise node (white and 1/f voltage noise from one resistor), two current
noise nodes, a gain node (tanh transconductor with slew limit, dominant pole, rail clamp and output current limit)
and a node for the second pole, followed by a Norton output with a class-AB share of the load current drawn from
the positive rail.

* Gain-bandwidth f_t and slew rate SR set the transconductor: C = gm/(2π f_t), linear range V = SR/(2π f_t), so
  slewing, small-signal bandwidth and third-order distortion of the input stage follow from the same numbers.
* White voltage noise e_n is the thermal noise of R = e_n²/4kT; with AF = 0 the resistor's flicker term needs no
  current, so KF = 4kT·f_c/R puts the 1/f corner at f_c. The white part scales with the circuit temperature as √T, the
  1/f part not at all.
* An input voltage outside the common-mode range multiplies the transconductance by a window that is exactly one inside.

Supply rejection comes out finite because the gain node hangs half on each rail; no data sheet value is fitted.

Not covered: output impedance that depends on frequency, thermal effects, input protection diodes, more than two
poles, crossover distortion. Two poles only: a stability verdict holds for this model, and second poles and output
resistances in the catalogue are mostly estimates.
"""

import math
from dataclasses import dataclass

FOUR_K_T = 4 * 1.380649e-23 * 300.15
"""4kT at 27 °C, the temperature at which data sheets state noise. [J]"""

_GM = 1e-3  # transconductance of the input stage; only its ratio to the capacitor matters [S]
CLAMP_ROOM = 0.05
"""So far inside of the output headroom the clamp begins. [V]"""
_AB_SHARE = 0.2  # part of the quiescent current that flows through the output stage: assumption, no source
_TWO_PI = 2 * math.pi


@dataclass(frozen=True)
class MacroParameters:
    """The numbers of one op-amp of one unit; SI units throughout.

    Attributes follow data sheet columns: gain-bandwidth `gbw` and second pole `second_pole` [Hz], open-loop gain
    `aol_db` [dB], voltage noise `en` [V/√Hz] with corner `en_corner` [Hz], current noise `inoise` [A/√Hz] with corner
    `in_corner` [Hz], input resistance `rin` [Ω] and capacitances `cin_diff`, `cin_cm` [F], output resistance `rout`
    [Ω], offset `vos` [V], bias current `ib` [A, positive into the pin], `slew` [V/s], quiescent current `iq` [A],
    output headroom to each rail `headroom` [V], common-mode limits above the negative and below the positive rail
    `cm_low`, `cm_high` [V], output current limit `iout` [A], load at which the data sheet states gain `rated_load` [Ω].
    `k2` [1/V] and `k3` [1/V²] bend the output stage; 0 means not modelled.
    """

    gbw: float
    second_pole: float
    aol_db: float
    en: float
    en_corner: float
    inoise: float
    in_corner: float
    rin: float
    cin_diff: float
    cin_cm: float
    rout: float
    vos: float
    ib: float
    slew: float
    iq: float
    headroom: float
    cm_low: float
    cm_high: float
    iout: float
    rated_load: float = 1e3
    k2: float = 0.0
    k3: float = 0.0
    current_feedback: bool = False


def nominal_parameters(record) -> MacroParameters:
    """Macromodel numbers of a catalogue record at its typical values."""
    return MacroParameters(
        gbw=record.gbw_hz,
        second_pole=record.second_pole_hz,
        aol_db=record.aol_db,
        en=record.en,
        en_corner=record.en_corner_hz,
        inoise=record.inoise,
        in_corner=record.in_corner_hz,
        rin=record.rin,
        cin_diff=record.cin_diff,
        cin_cm=record.cin_cm,
        rout=record.rout,
        vos=0.0,
        ib=record.ib,
        slew=record.slew,
        iq=record.iq,
        headroom=record.headroom,
        cm_low=record.cm_low,
        cm_high=record.cm_high,
        iout=record.iout,
        current_feedback=record.current_feedback,
    )


def macromodel_cards(m: MacroParameters, name: str, nodes: tuple[str, str, str, str, str]) -> tuple[str, ...]:
    """Cards of one op-amp, flat and with numbers only.

    Parameters
    ----------
    m : MacroParameters
    name : str
        Device name in the circuit, for example ``xamp``; it becomes part of every element name and internal node.
    nodes : tuple of five str
        inp, inn, vcc, vee, out.

    Notes
    -----
    Flat numbers load five times faster than a subcircuit with expressions, and leave nothing for the parameter
    expansion of ngspice to get wrong (braces inside a behavioural source are not parentheses there).
    """
    return (_current_feedback if m.current_feedback else _voltage_feedback)(m, name, *nodes)


def output_stage_node(name: str) -> str:
    """Node before the output resistance: its voltage less the output's, over that resistance, is the load current."""
    return f"{name}_p"


@dataclass(frozen=True)
class InputStage:
    """The transconductor i = `imax` tanh(v/`vlin`) that drives the gain node, and what stands there.

    Attributes
    ----------
    imax : float
        Largest current, which sets the slew limit. [A]
    vlin : float
        Linear range. [V]
    capacitor, resistor : float
        From the gain node to the rails, both halves together. [F, Ω]
    """

    imax: float
    vlin: float
    capacitor: float
    resistor: float


def input_stage(m: MacroParameters) -> InputStage:
    """The input stage that :func:`macromodel_cards` writes down.

    Parameters
    ----------
    m : MacroParameters
    """
    if m.current_feedback:
        # The transimpedance capacitor follows from the bandwidth with the recommended feedback resistor (1.21 kΩ, from
        # memory), half the placeholder gain-bandwidth.
        cz = 1 / (_TWO_PI * 1.21e3 * m.gbw / 2)
        imax = m.slew * cz
        return InputStage(imax, m.rin * imax, cz, 1e6)
    # Gain-bandwidth and gain are stated with the rated load, which divides against the output resistance.
    loaded = m.rated_load / (m.rated_load + m.rout)
    vlin = m.slew / (_TWO_PI * m.gbw)
    c1 = _GM / (_TWO_PI * m.gbw) * loaded
    return InputStage(_GM * vlin, vlin, c1, 10 ** (m.aol_db / 20) / _GM / loaded)


def _noise_and_offset(m: MacroParameters, n: str) -> list[str]:
    ren = m.en * m.en / FOUR_K_T
    return [
        f".model {n}_mv r(kf={FOUR_K_T / ren * m.en_corner!r} af=0 ef=1)",
        f".model {n}_mi r(kf={FOUR_K_T / 1e3 * m.in_corner!r} af=0 ef=1)",
        f"r{n}_nv {n}_nv 0 {n}_mv r={ren!r}",
        f"i{n}_vos 0 {n}_nv dc {m.vos / ren!r} ac 0",
        f"r{n}_np {n}_np 0 {n}_mi r=1000.0",
        f"r{n}_nn {n}_nn 0 {n}_mi r=1000.0",
    ]


def _after_gain_node(m: MacroParameters, n: str, vcc: str, vee: str, out: str) -> list[str]:
    """Second pole with optional curvature, Norton output, class-AB share of the supply current."""
    g, p = f"{n}_g", f"{n}_p"
    bend = ""
    if m.k2 or m.k3:
        mid = f"(v({g})-0.5*v({vcc})-0.5*v({vee}))"
        bend = f"+{mid}^2*({m.k2!r}+{m.k3!r}*{mid})"
    share = _AB_SHARE * m.iq
    ab4 = 4 * share * share
    load = f"(v({p})-v({out}))/{m.rout!r}"
    return [
        f"b{n}_3 {vee} {p} i=1e-3*(v({g})-v({vee}){bend})",
        f"r{n}_2 {p} {vee} 1000.0 noisy=0",
        f"c{n}_2 {p} {vee} {1 / (_TWO_PI * 1e3 * m.second_pole)!r}",
        f"g{n}_4 {vee} {out} {p} {vee} {1 / m.rout!r}",
        f"r{n}_4 {out} {vee} {m.rout!r} noisy=0",
        f"i{n}_q {vcc} {vee} dc {m.iq - share!r}",
        f"b{n}_5 {vcc} {vee} i=0.5*({load}+sqrt(({load})^2+{ab4!r}))",
    ]


def _voltage_feedback(m: MacroParameters, n: str, inp: str, inn: str, vcc: str, vee: str, out: str) -> tuple[str, ...]:
    stage = input_stage(m)
    c1, r1, vlin, imax = stage.capacitor, stage.resistor, stage.vlin, stage.imax
    clamp = imax / 0.0025
    hx = m.headroom + CLAMP_ROOM
    vlimit = m.rout * m.iout
    g, p = f"{n}_g", f"{n}_p"
    gin = m.inoise / math.sqrt(FOUR_K_T * 1e3)
    window = f"(1+100*(uramp(v({inp})-v({vcc})+({m.cm_high!r}))^2+uramp(v({vee})+({m.cm_low!r})-v({inp}))^2))"
    return (
        *_noise_and_offset(m, n),
        f"g{n}_np {vee} {inp} {n}_np 0 {gin!r}",
        f"g{n}_nn {vee} {inn} {n}_nn 0 {gin!r}",
        f"c{n}_id {inp} {inn} {m.cin_diff!r}",
        f"c{n}_cp {inp} {vee} {m.cin_cm!r}",
        f"c{n}_cn {inn} {vee} {m.cin_cm!r}",
        f"r{n}_id {inp} {inn} {m.rin!r} noisy=0",
        f"i{n}_bp {inp} {vee} dc {m.ib!r}",
        f"i{n}_bn {inn} {vee} dc {m.ib!r}",
        f"b{n}_1 {vee} {g} i={imax!r}*tanh((v({inp})-v({inn})+v({n}_nv))/{vlin!r})/{window}",
        f"c{n}_1a {g} {vcc} {c1 / 2!r}",
        f"c{n}_1b {g} {vee} {c1 / 2!r}",
        f"r{n}_1a {g} {vcc} {2 * r1!r} noisy=0",
        f"r{n}_1b {g} {vee} {2 * r1!r} noisy=0",
        f"b{n}_2 {g} {vee} i={clamp!r}*(uramp(v({g})-v({vcc})+{hx!r})^2-uramp(v({vee})+{hx!r}-v({g}))^2"
        f"+uramp(v({p})-v({out})-{vlimit!r})^2-uramp(v({out})-v({p})-{vlimit!r})^2)",
        *_after_gain_node(m, n, vcc, vee, out),
    )


def _current_feedback(m: MacroParameters, n: str, inp: str, inn: str, vcc: str, vee: str, out: str) -> tuple[str, ...]:
    # The inverting input is the output of a buffer with resistance `rin`.
    stage = input_stage(m)
    cz, rz, vlin, imax = stage.capacitor, stage.resistor, stage.vlin, stage.imax
    clamp = imax / 0.0025
    hx = m.headroom + CLAMP_ROOM
    g = f"{n}_g"
    gin = m.inoise / math.sqrt(FOUR_K_T * 1e3)
    return (
        *_noise_and_offset(m, n),
        f"g{n}_np {vee} {inp} {n}_np 0 {gin!r}",
        f"g{n}_nn {vee} {inn} {n}_nn 0 {gin!r}",
        f"c{n}_cp {inp} {vee} {m.cin_cm!r}",
        f"r{n}_ip {inp} {vee} 1e6 noisy=0",
        f"b{n}_in {vee} {inn} i=(v({inp})+v({n}_nv)-v({inn}))/{m.rin!r}",
        f"i{n}_bp {inp} {vee} dc {m.ib!r}",
        f"i{n}_bn {inn} {vee} dc {m.ib!r}",
        f"b{n}_1 {vee} {g} i={imax!r}*tanh((v({inp})-v({inn})+v({n}_nv))/{vlin!r})",
        f"c{n}_1a {g} {vcc} {cz / 2!r}",
        f"c{n}_1b {g} {vee} {cz / 2!r}",
        f"r{n}_1a {g} {vcc} {2 * rz!r} noisy=0",
        f"r{n}_1b {g} {vee} {2 * rz!r} noisy=0",
        f"b{n}_2 {g} {vee} i={clamp!r}*(uramp(v({g})-v({vcc})+{hx!r})^2-uramp(v({vee})+{hx!r}-v({g}))^2)",
        *_after_gain_node(m, n, vcc, vee, out),
    )
