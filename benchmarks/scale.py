"""What runs of growing size cost: processor time by step, memory of every process, sizes of files, and their ratios.

python benchmarks/scale.py 1000 10000 [--study studies/marsh-square.toml] [--cores N] [--out DIR]

Processor seconds, not wall time: they bear other load on the machine. Only Linux has the /proc that is read here.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LOOK_EVERY_S = 0.05
_TICK = os.sysconf("SC_CLK_TCK")
_FILES = ("units.parquet", "measures.parquet", "curves.parquet", "report.html")


@dataclass
class Seen:
    """What was seen of all processes of one kind.

    Attributes
    ----------
    cpu_s : dict of int to float
        Own processor time of each process, as last seen. [s]
    peak_kib : int
        Largest resident set of any of them. [KiB]
    """

    cpu_s: dict[int, float] = field(default_factory=dict)
    peak_kib: int = 0


def kind_of(arguments: list[str]) -> str:
    """The step a process belongs to, by its command line."""
    for word in arguments:
        if word.startswith("sim.steps."):
            return word.removeprefix("sim.steps.")
    return "pipeline" if "snakemake" in arguments else "command" if "sim.cli" in arguments else "other"


def _tree(first: int) -> list[int]:
    """A process and all that descend from it."""
    parents = {}
    for name in os.listdir("/proc"):
        if name.isdigit():
            try:
                parents[int(name)] = int(Path("/proc", name, "stat").read_text().rpartition(")")[2].split()[1])
            except (OSError, IndexError):
                continue
    found, waiting = [], [first]
    while waiting:
        pid = waiting.pop()
        found.append(pid)
        waiting += [child for child, parent in parents.items() if parent == pid]
    return found


def look(first: int, seen: dict[str, Seen]) -> None:
    """Note processor time and largest memory of every process of a tree that is there now."""
    for pid in _tree(first):
        try:
            folder = Path("/proc", str(pid))
            words = (folder / "cmdline").read_bytes().decode(errors="replace").split("\0")
            times = (folder / "stat").read_text().rpartition(")")[2].split()[11:13]
            status = (folder / "status").read_text()
        except OSError:
            continue
        if "VmHWM:" not in status:
            continue
        of_kind = seen.setdefault(kind_of(words), Seen())
        of_kind.cpu_s[pid] = sum(map(int, times)) / _TICK
        of_kind.peak_kib = max(of_kind.peak_kib, int(status.partition("VmHWM:")[2].split()[0]))


def measured(study: Path, units: int, cores: int, out: Path) -> tuple[dict[str, Seen], float]:
    """Run a study; what was seen of its processes, and the system's own count of their processor time [s]."""
    seen: dict[str, Seen] = {}
    words = ["run", study, "--units", units, "--cores", cores, "--out", out]
    process = subprocess.Popen(
        [sys.executable, "-m", "sim.cli", *map(str, words)],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    while True:
        pid, status, usage = os.wait4(process.pid, os.WNOHANG)
        if pid:
            break
        look(process.pid, seen)
        time.sleep(LOOK_EVERY_S)
    if status:
        sys.exit(f"The run of {units} units failed.")
    return seen, usage.ru_utime + usage.ru_stime


def main() -> None:
    """Command line of this benchmark."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("units", type=int, nargs="+", help="sizes to run")
    parser.add_argument("--study", type=Path, default=ROOT / "studies" / "marsh-square.toml")
    parser.add_argument("--cores", type=int, default=os.cpu_count())
    parser.add_argument("--out", type=Path, help="folder for the results, which are then kept")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        for units in given.units:
            out = (given.out or Path(scratch)) / str(units)
            if out.exists():
                sys.exit(f"{out} is there already; what is left of an older run would not be measured.")
            begin = time.monotonic()
            seen, total = measured(given.study.resolve(), units, given.cores, out.resolve())
            print(f"\n{units} units, {given.cores} cores, {time.monotonic() - begin:.0f} s by the clock\n")
            print("| step | processes | processor s | ms a unit | most memory of one, MiB |\n|---|---|---|---|---|")
            for kind, of_kind in sorted(seen.items()):
                cpu = sum(of_kind.cpu_s.values())
                row = f"{cpu:.1f} | {1e3 * cpu / units:.2f} | {of_kind.peak_kib / 1024:.0f}"
                print(f"| {kind} | {len(of_kind.cpu_s)} | {row} |")
            print(f"| all, as the system counts | | {total:.1f} | {1e3 * total / units:.2f} | |\n")
            print("| file | MB | bytes a unit |\n|---|---|---|")
            for name in _FILES:
                size = (out / name).stat().st_size
                print(f"| {name} | {size / 1e6:.2f} | {size / units:.0f} |")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
