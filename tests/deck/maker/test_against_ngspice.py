"""Models written out flat against the same text read by ngspice 39 in its own compatibility mode for the dialect."""

import subprocess

import numpy as np
import pytest

from sim.deck.maker.file import choose, parse_model_file, read_model_file
from tests.conftest import ROOT

MODELS = ROOT / "tests" / "opamp" / "models"
NODES = {"inp": "in", "inn": "inn", "vcc": "vcc", "vee": "vee", "out": "out"}
BENCH = """vcc vcc 0 6
vee vee 0 -6
vin in 0 dc 0.3 ac 1
rg inn 0 100
rf inn out 900
rl out 0 1k
.options reltol=1e-5 abstol=1e-14 vntol=1e-9
"""
RUNS = """.control
op
set numdgt=10
print v(out) i(vcc) i(vee) i(vin)
ac dec 2 1k 1g
print vr(out) vi(out)
quit
.endc
.end
"""


def run(deck: str, folder, mode: str | None) -> np.ndarray:
    """All numbers that a deck prints."""
    (folder / ".spiceinit").write_text(f"set ngbehavior={mode}\n" if mode else "* none\n", encoding="ascii")
    (folder / "deck.cir").write_text(deck, encoding="ascii")
    done = subprocess.run(
        ["ngspice", "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=30, check=False
    )
    found = [line.split("=")[1] for line in done.stdout.splitlines() if line.startswith(("v(", "i("))]
    for line in done.stdout.splitlines():
        words = line.split()
        if len(words) == 4 and words[0].isdigit():
            found += words[2:]
    assert len(found) == 4 + 2 * 13, done.stdout + done.stderr
    return np.array([float(word) for word in found])


def both(text: str, name: str, folder, pins=None) -> tuple[np.ndarray, np.ndarray]:
    """A model on the bench: as ngspice reads its dialect, and written out flat."""
    model = choose(parse_model_file(text, name), None, pins)
    nodes = " ".join(NODES[role] for role in model.pins.roles)
    dialect = run(f"t\n{text}\n{BENCH}xamp {nodes} {model.subcircuit}\n{RUNS}", folder, "psa")
    lines = model.flat("xamp", tuple(NODES.values()), 27.0).lines
    return dialect, run("t\n" + BENCH + "\n".join(lines) + "\n" + RUNS, folder, None)


@pytest.mark.parametrize("name", ["full.lib", "linear.mod", "grounded.sub", "swapped.lib", "boyle.lib"])
def test_whole_models(name, tmp_path):
    """Operating point and small-signal response are the same, whichever of the two reads the file."""
    pins = "out inn inp vee vcc" if name == "swapped.lib" else None
    dialect, flat = both((MODELS / name).read_text(encoding="utf-8"), name, tmp_path, pins)
    assert flat == pytest.approx(dialect, rel=1e-4, abs=1e-6)


# One element each, on a node X that a resistor holds; OUT follows it. Values are such that a wrong sign or order shows.
_PIECES = {
    "polynomial of three": "E9 X VEE POLY(3) INP INN VCC VEE INN VEE 0.1 1 0.2 -0.3 0.01 0.02 0.03 0.04 0.05 0.06",
    "polynomial of two, third degree": "G9 VEE X POLY(2) INP VEE INN VEE 1M 1M 2M 3U 4U 5U 6U 7U 8U 9U",
    "polynomial of currents": "F9 VEE X POLY(2) V1 V2 1M 1 2 100 200 300",
    "controls in parentheses": "G9 VEE X (INP,INN) 1M",
    "linear sources": "G9 VEE X INP INN 1M\nH9 Y VEE V1 100\nR9 Y X 1K",
    "table with doubled parentheses": "E9 X VEE TABLE {V(INP,VEE)} ((-10,-1),(5,2),(7,3))",
    "table beyond its end": "E9 X VEE TABLE {V(INP,VEE)} = (0,0) (1,2)",
    "value with parentheses": "E9 X VEE VALUE=(0.2*V(INP,VEE)+0.1)",
    "parameters passed down": "X9 X VEE SUB PARAMS: W=2K\n"
    ".SUBCKT SUB A B PARAMS: W=1\n.PARAM U={W*2}\nR1 A B {U+W}\nI1 B A 1M\n.ENDS",
    "resistor's current": "G9 VEE X VALUE={2*I(R1)+1M}",
    "voltage source's current through E": "E8 Y VEE INP VEE 0.5\nR8 Y VEE 1K\nG9 VEE X VALUE={I(E8)*0.3}",
    "diode by area": "D9 X VEE DD 3\nI9 VEE X 1M\n.MODEL DD D(IS=1E-14 N=1.2 RS=5)",
    "transistors": "Q9 X Z VEE QN\nR9 VCC Z 1MEG\nQ8 VEE X W QP\nR8 VCC W 10K\n.MODEL QN NPN(IS=1E-15 BF=80 VAF=50)\n"
    ".MODEL QP PNP(IS=1E-15 BF=40 CJE=1P TF=1N)",
    "field effect transistors": "J9 VCC INP X JN\nM9 X INP VEE VEE MN L=2U W=20U\n"
    ".MODEL JN NJF(BETA=1M VTO=-2 CGS=1P)\n.MODEL MN NMOS(LEVEL=1 VTO=1 KP=20U)",
    # In the middle of its way; on the way there ngspice goes another curve than the dialect's manuals.
    "switch half closed": "S9 X VEE INP INN SS\nI9 VEE X 1M\n.MODEL SS VSWITCH(RON=100 ROFF=1MEG VON=0.5 VOFF=0.1)",
    "nested conditions": "G9 VEE X VALUE={IF(V(INP)>0.2,IF(V(INP)>0.25 & V(INN)<9,1M,2M),3M)}",
    "powers": "G9 VEE X VALUE={1U*V(INP,VEE)**3+1U*PWRS(V(VEE),1.5)+1U*PWR(V(VEE),1.5)+1U*V(VEE)**2}",
    "model from another": "D9 X VEE DB\nI9 VEE X 1M\n.MODEL DA D(IS=1E-14 N=2)\n.MODEL DB AKO: DA D(RS=100)",
    "function and parameters": ".FUNC SQ(A) {A*A}\n.PARAM K={2*0.1}\nG9 VEE X VALUE={K*1M*SQ(V(INP,VEE))}",
    "coupled coils": "L9 X VEE 1U\nL8 Y VEE 4U\nK9 L9 L8 0.9\nR8 Y VEE 1K\nG9 VEE X INP VEE 1M",
}


@pytest.mark.parametrize("piece", _PIECES)
def test_pieces(piece, tmp_path):
    """Each construct of the dialect means here what it means to ngspice in that mode."""
    dialect, flat = both(_piece(_PIECES[piece]), "piece.lib", tmp_path, "inp inn vcc vee out")
    assert flat == pytest.approx(dialect, rel=2e-5, abs=2e-7)


def _piece(cards: str) -> str:
    """A subcircuit in which a construct drives the node X, and OUT follows it."""
    return f"""* one construct
.SUBCKT PIECE INP INN VCC VEE OUT
V1 INP P1 0
R1 P1 VEE 1MEG
V2 INN P2 0
R2 P2 VEE 2MEG
{cards}
R3 X VEE 1K
E1 O1 VEE X VEE 1
R4 O1 OUT 50
R5 VCC VEE 10K
.ENDS PIECE
"""


def test_switch_by_current(tmp_path):
    """Half closed it rests where ngspice has it; its slope is the hand calculation's (ngspice 39 has the sign wrong).

    ln R falls by 1.5 ln(Ron/Roff) over 7.4 uA, 1 V makes 1 uA: R = 10 kohm beside 1 kohm on 1 mA, divided by 1.1.
    """
    card = "W9 X VEE V1 WW\nI9 VEE X 1M\n.MODEL WW ISWITCH(RON=100 ROFF=1MEG ION=10U IOFF=2.6U)"
    dialect, flat = both(_piece(card), "piece.lib", tmp_path, "inp inn vcc vee out")
    assert flat[:4] == pytest.approx(dialect[:4], rel=2e-5, abs=2e-7)
    slope = 1e-3 * (1e3 / 11e3) ** 2 * 1e4 * 1.5 * np.log(1e-4) / 7.4 / 1.1
    assert flat[4] == pytest.approx(slope, rel=1e-3)


# Where ngspice's own reading departs from what the dialect says, the dialect holds.
_DEPARTURES = {
    # SPICE 2G.6 user's guide: one coefficient alone, in one dimension, is that of the linear term. Constant there.
    "one coefficient": ("E9 X VEE POLY(1) INP VEE 0.5", "E9 X VEE POLY(1) INP VEE 0 0.5"),
    # An odd whole power of a negative number is negative. ngspice 39 raises the magnitude.
    "odd power": ("G9 VEE X VALUE={1U*V(VEE,INP)**3}", "G9 X VEE VALUE={1U*V(INP,VEE)**3}"),
}


@pytest.mark.parametrize("case", _DEPARTURES)
def test_where_the_dialect_holds(case, tmp_path):
    """A construct that ngspice reads otherwise is written as the dialect means it: as the same in plain words."""
    ours, plain = (_piece(text) for text in _DEPARTURES[case])
    _, flat = both(ours, "piece.lib", tmp_path, "inp inn vcc vee out")
    dialect, _ = both(plain, "piece.lib", tmp_path, "inp inn vcc vee out")
    other, _ = both(ours, "piece.lib", tmp_path, "inp inn vcc vee out")
    assert flat == pytest.approx(dialect, rel=2e-5, abs=2e-7)
    assert other != pytest.approx(dialect, rel=2e-5, abs=2e-7)


def test_noise_of_resistors_at_absolute_zero(tmp_path):
    """T_ABS=-273.15 means no noise; ngspice itself would make it noisy (its manual knows no such parameter)."""
    model = choose(read_model_file(MODELS / "full.lib", "full.lib"))
    lines = model.flat("xamp", tuple(NODES.values()), 27.0).lines
    quiet = [line for line in lines if line.startswith(("rxamp_ro ", "rxamp_rg ", "rxamp_r1 "))]
    assert len(quiet) == 3
    assert all(line.endswith("noisy=0") for line in quiet)
    assert "noisy" not in next(line for line in lines if line.startswith("rxamp_rn1 "))


def test_temperature_reaches_parameters():
    """TEMP and temperature coefficients follow the unit's temperature; a model without them is written once."""
    text = """* warm
.SUBCKT WARM INP INN VCC VEE OUT
R1 INP INN RT 1K
R2 VCC VEE {1K+TEMP}
.MODEL RT RES(R=2 TC1=0.01)
.ENDS
"""
    model = choose(parse_model_file(text, "warm.lib"))
    for degrees, first, second in ((27.0, 2000.0, 1027.0), (47.0, 2400.0, 1047.0)):
        lines = model.flat("x", ("a", "b", "c", "d", "e"), degrees).lines
        assert [float(line.split()[3]) for line in lines] == pytest.approx([first, second])


def test_what_the_simulator_does_not_know_is_named():
    """Parameters of a model that ngspice would pass over with a warning are left out, and said."""
    flat = choose(read_model_file(MODELS / "full.lib", "full.lib")).flat("x", ("a", "b", "c", "d", "e"), 27.0)
    assert list(flat.left_out) == ["qco of the model qn", "xyzzy of the model qn"]
    assert not any("xyzzy" in line for line in flat.lines)
