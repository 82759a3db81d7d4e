"""What the engine costs, as ratios within one run: against one ngspice process a unit, and by the number of units.

    python benchmarks/engine.py                    all parts, a few minutes
    python benchmarks/engine.py process growth     some of them

Parts
-----
process   the demo's nominal scenario, unit by unit in this process, against (a) one `ngspice -b` a unit on the same
          deck with the same sweeps, and (b) one `ngspice -b` a unit that gets the same answers the plain way: every
          quantity has a sweep of its own, dense enough to be read off without interpolation.
lines     the map over feedlines (20 lengths, 6 far ends, 3 cables), design by design, against the small-signal sweeps
          alone (the library's own time for its `ac` commands, without loading, operating point and noise, and without
          reading the results) and against all runs of the same unit; processor time.
antennas  the map over antennas (64 of them) against the same.
growth    time and memory from 100 to 10,000 units in one process.

Absolute times depend on the machine; the ratios are what to quote.
"""

import argparse
import os
import resource
import statistics
import subprocess
import tempfile
import time
from pathlib import Path

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"

import numpy as np  # noqa: E402

from sim.deck.assemble import assemble  # noqa: E402
from sim.deck.build import chain_of, unit_table, unit_values  # noqa: E402
from sim.engine.ngspice import Simulator  # noqa: E402
from sim.engine.sweep import plan_for, run_unit  # noqa: E402
from sim.measures.loop import judge_loop, loop_gain  # noqa: E402
from sim.measures.panel import SINGLE, deciding, unit_plane  # noqa: E402
from sim.measures.rational import fit_weights  # noqa: E402
from sim.measures.unit import Item, UnitWorker  # noqa: E402
from sim.stability.line_map import judge_lines  # noqa: E402
from sim.stability.sources import input_network, judge_sources  # noqa: E402
from sim.study.read import read_study  # noqa: E402
from sim.study.scenarios import scenarios  # noqa: E402

STUDY = Path(__file__).resolve().parent.parent / "studies" / "marsh-square.toml"
ANY_FEEDLINE = STUDY.parent / "any-feedline.toml"
ROUNDS = 5
UNITS = 24


def _decks(scenario=None):
    scenario = scenario or scenarios(read_study(STUDY))[0]
    chain = chain_of(scenario.study)
    plan = plan_for(scenario.study.bands.frequencies, [record.gbw_hz for record in chain.opamps])
    units = np.arange(1, UNITS + 1)
    table = unit_table(scenario.study, chain, units)
    return scenario, plan, units, [assemble(chain, unit_values(chain, table, i, int(u))) for i, u in enumerate(units)]


def _batch(lines, control, folder) -> None:
    path = Path(folder) / "deck.cir"
    path.write_text("\n".join([*lines[:-1], ".control", *control, "quit 0", ".endc", ".end"]) + "\n", encoding="ascii")
    subprocess.run(["ngspice", "-b", str(path)], capture_output=True, check=True, cwd=folder)


def _driven(drives, active):
    return [f"alter @{name}[acmag] = {int(name == active)}" for name in drives]


def _same_sweeps(deck, plan, folder) -> None:
    """The library's own runs, in a process of their own; results in a binary file."""
    control = [
        "set filetype=binary",
        "set appendwrite",
        f"save {' '.join(dict.fromkeys(deck.reads))} onoise_spectrum inoise_spectrum onoise_total vcc vz_sup#branch",
    ]
    control += ["op", "write all.raw"]
    for drive in deck.drives:
        control += [*_driven(deck.drives, drive), f"ac {plan.ac}", "write all.raw"]
    control += [f"noise v({deck.output}) {deck.source} {plan.noise}", "setplot previous", "write all.raw"]
    (Path(folder) / "all.raw").unlink(missing_ok=True)
    _batch(deck.lines, control, folder)


def _plain_way(deck, folder) -> tuple[float, float]:
    """Get the same answers without interpolation; return the matched loop's margin and its frequency.

    Bench, system and output sweeps at 200 points a decade over the bands, loop on two loads and two-port at 200 a
    decade over all, noise at 200 a decade; margin and smallest distance read off the samples.
    """
    bands, wide = "dec 200 1e6 1e7", "dec 200 1e4 3e9"
    probe = deck.reads[3]
    control = ["set filetype=binary", "set appendwrite"]
    control += ["op", "write all.raw"]
    for drive in ("vz_emf", "vz_emf", "iz_out"):  # system; bench needs a sweep of its own; output impedance
        control += [*_driven(deck.drives, drive), f"ac {bands}", "write all.raw out"]
    for drive in ("vz_p1", "iz_p1"):
        control += [*_driven(deck.drives, drive), f"ac {wide}", f"write loop.raw {probe} vz_p1#branch"]
    control += ["alter rz_load = 1e9"]
    for drive in ("vz_p1", "iz_p1"):
        control += [*_driven(deck.drives, drive), f"ac {wide}", f"write all.raw {probe} vz_p1#branch"]
    control += ["alter rz_load = 75"]
    for drive in ("vz_emf", "iz_out"):
        control += [*_driven(deck.drives, drive), f"ac {wide}", "write all.raw in out vz_emf#branch"]
    control += [
        *_driven(deck.drives, "vz_emf"),
        f"noise v(out) vz_emf {bands}",
        "setplot previous",
        "write all.raw onoise_spectrum",
    ]
    for name in ("all.raw", "loop.raw"):
        (Path(folder) / name).unlink(missing_ok=True)
    _batch(deck.lines, control, folder)
    freq, found = _raw(Path(folder) / "loop.raw")
    t = loop_gain(*found[0], *found[1])
    verdict = judge_loop(freq, t, True)
    return verdict.margin, verdict.margin_freq_hz


def _raw(path):
    blob, plots, freq = path.read_bytes(), [], None
    while blob:
        head, _, rest = blob.partition(b"Binary:\n")
        text = head.decode()
        field = dict(line.split(":", 1) for line in text.splitlines() if line.startswith(("No. Var", "No. Poi")))
        columns, points = int(field["No. Variables"]), int(field["No. Points"])
        size = columns * points * 16
        data = np.frombuffer(rest[:size], complex).reshape(points, columns)
        freq = data[:, 0].real
        plots.append((data[:, 1], data[:, 2]))
        blob = rest[size:]
    return freq, plots


def process() -> None:
    """Against one process a unit."""
    scenario, plan, units, decks = _decks()
    simulator = Simulator(timer=time.perf_counter)
    worker = UnitWorker([scenario], units)
    items = [Item(scenario.number, i, int(u)) for i, u in enumerate(units)]
    worker(items[0])
    times: dict[str, list[float]] = {"library": [], "unit": [], "same": [], "plain": []}
    inside = whole = 0.0
    error = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(ROUNDS):
            start = time.perf_counter()
            for deck in decks:
                run_unit(simulator, deck, plan)
            times["library"].append(time.perf_counter() - start)
            start = time.perf_counter()
            answers = [worker(item) for item in items]
            times["unit"].append(time.perf_counter() - start)
            inside += sum(a.inside_s for a in answers)
            whole += sum(a.whole_s for a in answers)
            start = time.perf_counter()
            for deck in decks:
                _same_sweeps(deck, plan, folder)
            times["same"].append(time.perf_counter() - start)
            start = time.perf_counter()
            margins = [_plain_way(deck, folder)[0] for deck in decks]
            times["plain"].append(time.perf_counter() - start)
            ours = [a.measures.single[SINGLE.index("stability_margin")] for a in answers]
            error = max(error, float(np.abs(np.array(ours) / margins - 1).max()))
    median = {name: statistics.median(values) / UNITS * 1e3 for name, values in times.items()}
    print(f"library, load and sweeps          {median['library']:7.2f} ms a unit")
    print(
        f"whole unit with its measures      {median['unit']:7.2f} ms a unit,"
        f" {100 * inside / whole:.0f} % of it inside the library"
    )
    print(
        f"ngspice -b, same deck and sweeps  {median['same']:7.2f} ms a unit"
        f" = {median['same'] / median['library']:.1f} x the library's"
    )
    print(
        f"ngspice -b, same answers plainly  {median['plain']:7.2f} ms a unit"
        f" = {median['plain'] / median['unit']:.1f} x the whole unit's"
    )
    print(f"largest difference of the stability margin between the last two: {100 * error:.3f} %")


def _sweeps_alone(simulator: Simulator, deck, plan) -> float:
    """Processor time that the library spends in a unit's small-signal sweeps, and in nothing else. [s]"""
    names = dict.fromkeys(deck.reads)
    simulator.load(deck.lines, tuple(names))
    simulator.operating_point([])
    spent = 0.0
    for drive in deck.drives:
        simulator.excite(deck.drives, drive)
        before = simulator.seconds_inside
        simulator.ac(plan.ac, names)
        spent += simulator.seconds_inside - before
    return spent


def _maps(number: int, prepare, judge):
    """Print what a map costs beside the sweeps alone and beside all runs of the same units."""
    scenario = scenarios(read_study(ANY_FEEDLINE))[number]
    _, plan, _, decks = _decks(scenario)
    worker = UnitWorker([scenario], np.arange(1, UNITS + 1))
    worker(Item(scenario.number, 0, 1))
    ready, simulator = worker._prepared[scenario.number], Simulator(timer=time.process_time)
    spent: dict[str, list[float]] = {"sweeps": [], "runs": [], "map": []}
    for _ in range(ROUNDS):
        spent["sweeps"].append(sum(_sweeps_alone(simulator, deck, plan) for deck in decks))
        start = time.process_time()
        runs = [run_unit(simulator, deck, plan) for deck in decks]
        spent["runs"].append(time.process_time() - start)
        prepared = []
        for run in runs:
            flat, count = run.values.reshape(-1, len(run.freq_hz)), run.values.shape[:2]
            s, support = 2j * np.pi * run.freq_hz, ready.reader.support
            prepared.append(prepare(ready, run, fit_weights(s, flat, support, deciding(*count))[0]))
        start = time.process_time()
        for one in prepared:
            judge(ready.reader, one)
        spent["map"].append(time.process_time() - start)
    median = {name: statistics.median(values) / UNITS * 1e3 for name, values in spent.items()}
    print(
        f"{', '.join(str(value) for _, value in scenario.values):<14} sweeps {median['sweeps']:5.2f},"
        f" all runs {median['runs']:5.2f}, map {median['map']:5.2f} ms a unit"
        f" = {median['map'] / median['sweeps']:.2f} x the sweeps, {median['map'] / median['runs']:.2f} x the runs"
    )


def lines() -> None:
    """What the map over feedlines adds to a unit."""

    def prepare(ready, run, weights):
        return unit_plane(run, weights, ready.reader.support, ready.around.load)

    def judge(reader, plane):
        judge_lines(plane.further(reader.judged.freq_hz, reader.at_judged), reader.judged.table)

    for number in range(4):
        _maps(number, prepare, judge)


def antennas() -> None:
    """What the map over antennas adds to a unit."""

    def prepare(ready, run, weights):
        return input_network(run.values, run.freq_hz, weights, ready.reader.support)

    def judge(reader, network):
        judge_sources(network, reader.sources)

    for number in range(4):
        _maps(number, prepare, judge)


def growth() -> None:
    """Time and memory by the number of units."""
    scenario = scenarios(read_study(STUDY))[0]
    units = np.arange(1, 10_001)
    worker = UnitWorker([scenario], units)
    base = None
    start, done = time.perf_counter(), 0
    for stop in (100, 1000, 3000, 10_000):
        for unit in range(done, stop):
            worker(Item(scenario.number, unit, unit + 1))
        done = stop
        seconds = time.perf_counter() - start
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        base = base or (seconds / stop)
        print(
            f"{stop:6d} units  {seconds / stop * 1e3:6.2f} ms a unit ({seconds / stop / base:.2f} x)"
            f"  peak {memory:6.0f} MiB"
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parts = {"process": process, "lines": lines, "antennas": antennas, "growth": growth}
    parser.add_argument("parts", nargs="*", help="process, lines, antennas, growth; default all")
    for part in parser.parse_args().parts or list(parts):
        print(f"== {part}")
        parts[part]()
