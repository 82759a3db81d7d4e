"""The command: arguments in, one answer out; errors as text, with the exit code that programs rely on.

Exit codes: 0 done, 2 bad input (nothing is half-written), 1 anything else. Limits that are not met are a result.
"""

import signal

# Until main() can say a word, Ctrl-C ends the program without one (and without a traceback of half an import).
_QUIET_SO_FAR = signal.getsignal(signal.SIGINT) is signal.default_int_handler and __name__ == "__main__"
if _QUIET_SO_FAR:
    signal.signal(signal.SIGINT, signal.SIG_DFL)

import argparse  # noqa: E402
import importlib  # noqa: E402
import os  # noqa: E402
import sys  # noqa: E402

from sim.errors import BandfloorError, InputError  # noqa: E402

_COMMANDS = {
    "run": "run it all: units through ngspice, tables, pictures, report",
    "check": "read a study and explain it: chain, parts, scenarios, cost; runs nothing",
    "list": "what there is to choose from: circuits, opamps, antennas, cables, noise, measures",
    "export": "write a plain ngspice deck, or a Touchstone file, of a study's chain",
    "order": "how many boards to build, what to buy for them, which grade of parts is worth it",
    "inspect": "is this built unit right, what is wrong with it, has it changed: its sweep against good units",
    "judge": "is this deck stable, and by how much: for any SPICE deck that carries a probe",
    "match": "which of the measured units belong together, and which goes where",
    "try": "put a maker's SPICE model of an op-amp on the bench: pins, what it does, what it lacks",
    "new": "write a commented study to start from",
}
_MODULES = {"list": "listing", "try": "bench"}

_EPILOG = """\
A first hour:
  ./bandfloor demo                        a square of four verticals beside a salt marsh, from study to report
  bandfloor new studies/mine.toml         a study of your own, every line explained
  bandfloor check studies/mine.toml       what it says, and how long a run will take
  bandfloor run studies/mine.toml         the answer, and the path of the report

Every command explains itself: bandfloor COMMAND --help. The launcher ./bandfloor in a checkout also knows
"demo" (run studies/marsh-square.toml) and "test" (run the tests).
"""


def _answer_interrupts() -> None:
    """From here on Ctrl-C is answered in words; see the head of this module."""
    if _QUIET_SO_FAR:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def _drop_output() -> None:
    """What standard output could not take is not tried again at the end of the process."""
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _parser(wanted: str | None) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="bandfloor",
        description="Virtual builds of low-band receive amplifiers, run through ngspice and judged: quieter than the"
        " band, stable, and alike enough?",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="store_true", help="version of the program and of what it rests on")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for name, what in _COMMANDS.items():
        sub = commands.add_parser(
            name,
            help=what,
            description=what[0].upper() + what[1:] + ".",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        # Only the wanted command's module is imported: --help answers at once.
        if name == wanted:
            module = importlib.import_module(f"sim.commands.{_MODULES.get(name, name)}")
            module.add_arguments(sub)
            sub.set_defaults(act=module.act)
    return parser


def main(argv: list[str] | None = None) -> int:
    """Run one command and return its exit code."""
    try:
        _answer_interrupts()
        code = _command(sys.argv[1:] if argv is None else list(argv))
        sys.stdout.flush()
        return code
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    except BandfloorError as error:
        print(error, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nstopped. Nothing is half-written: start the same command again.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output went away (a pager, head); that is its right.
        sys.stderr.close()
        return 1
    except OSError as error:
        # A full disk behind standard output, a folder without rights: the system's own words say it.
        where = f"{error.filename}: " if error.filename else ""
        print(f"{where}{error.strerror or error}", file=sys.stderr)
        _drop_output()
        return 1


def _command(argv: list[str]) -> int:
    wanted = next((word for word in argv if word in _COMMANDS), None)
    parser = _parser(wanted)
    given = parser.parse_args(argv)
    if given.version:
        from sim.commands.version import versions

        print(versions())
        return 0
    if given.command is None:
        parser.print_help()
        return 0
    return given.act(given) or 0


if __name__ == "__main__":
    sys.exit(main())
