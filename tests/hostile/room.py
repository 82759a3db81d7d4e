"""A process in which commands are given hostile files, and in which everything that they touch is noted.

Run as a program it is the room itself: it answers one line of JSON for each line of JSON that it gets. Python's audit
hook (PEP 578) tells every file that is opened, every process, connection and library that is asked for, whoever asks.
What is not allowed is noted down, with the place in the program that did it; what would start the simulator is stopped
there, since a text that came so far has been read and judged. Memory, processor time and size of files are limited by
the kernel.

As a module it is the other side: :class:`Room` starts the process and asks it.
"""

import contextlib
import io
import json
import os
import resource
import select
import signal
import subprocess
import sys
import traceback
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

MOST_SECONDS = 20.0
"""Of the processor for one command; the slowest honest one here takes a tenth of it. [s]"""
MOST_BYTES = 3 << 30
"""Address space of the room: numpy, scipy, Arrow and matplotlib alone map one GiB. [byte]"""
MOST_GROWTH_MB = 400
"""By which one command may raise the most memory that the room ever held. [MB]"""
LARGEST_WRITTEN = 64 << 20
"""Of a file that a command writes. [byte]"""
PATIENCE_S = 120.0
"""Silence after which the room counts as stuck. [s]"""

_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_CHANGES = frozenset(
    "os.mkdir os.remove os.rename os.rmdir os.truncate os.link os.symlink os.chmod os.chown os.utime shutil.rmtree "
    "shutil.move shutil.copyfile os.setxattr".split()
)
_STARTS = frozenset("subprocess.Popen os.system os.exec os.posix_spawn os.spawn os.startfile pty.spawn".split())
_FORKS = frozenset("os.fork os.forkpty".split())
_TALKS = ("socket.", "urllib.", "ftplib.", "smtplib.", "http.", "webbrowser.")
_SYSTEM = ("/usr", "/lib", "/lib64", "/etc/localtime", "/proc/self", "/proc/cpuinfo", "/proc/meminfo", "/sys/devices")


@dataclass(frozen=True)
class Given:
    """What a command did.

    Attributes
    ----------
    code : int
        Exit code.
    out, err : str
        What it printed.
    trace : str
        Traceback that would have reached the user; empty where none did.
    escapes : tuple of str
        What it touched that was none of its business.
    simulated : bool
        It went on to start the simulator's process, and was stopped there.
    grown_mb : float
        By how much it raised the most memory ever held. [MB]
    seconds : float
        Of the processor. [s]
    """

    code: int
    out: str
    err: str
    trace: str
    escapes: tuple[str, ...]
    simulated: bool
    grown_mb: float
    seconds: float


class Room:
    """A process that gives commands and notes what they touch; to be used in a with statement."""

    def __enter__(self):
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "120", "PYTHONDONTWRITEBYTECODE": "1"}
        environment["OPENBLAS_NUM_THREADS"] = environment["OMP_NUM_THREADS"] = "1"
        self._process = subprocess.Popen(
            [sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment, cwd="/"
        )
        return self

    def __exit__(self, *_):
        self._process.kill()
        self._process.wait()
        self._process.stdin.close()
        self._process.stdout.close()

    def give(self, words, readable: Path, writable: Path) -> Given:
        """Give one command.

        Parameters
        ----------
        words : sequence of str
            Behind ``bandfloor``.
        readable : Path
            Folder of the study, which may be read and is the working folder.
        writable : Path
            The only folder that may be written.

        Raises
        ------
        AssertionError
            The room died or is stuck.
        """
        asked = {"words": list(map(str, words)), "readable": str(readable), "writable": str(writable)}
        self._process.stdin.write(json.dumps(asked).encode() + b"\n")
        self._process.stdin.flush()
        ready, _, _ = select.select([self._process.stdout], [], [], PATIENCE_S)
        answer = self._process.stdout.readline() if ready else b""
        assert answer, f"{'stuck' if not ready else 'dead'} at {asked['words']}"
        answered = json.loads(answer)
        return Given(**{**answered, "escapes": tuple(answered["escapes"])})


# ---------------------------------------------------------------------- inside


class Stopped(BaseException):
    """The simulator would be started now."""


class Watch:
    """What may be touched at present, and what else was."""

    def __init__(self):
        self.on, self.simulated = False, False
        self.escapes: list[str] = []
        self.readable: tuple[str, ...] = ()
        self.writable: tuple[str, ...] = ()

    def hook(self, event: str, args: tuple) -> None:
        """The audit hook itself."""
        if not self.on:
            return
        if event == "open":
            self._opened(*args)
        elif event in ("os.listdir", "os.scandir"):
            self._read(args[0] if args[0] is not None else ".", event)
        elif event in _CHANGES:
            for path in args[:2] if event in ("os.rename", "os.link", "shutil.move") else args[:1]:
                self._written(path, event)
            if event == "os.symlink":
                self._written(args[1], event)
        elif event in _FORKS:
            self._forked(event)
        elif event in _STARTS or event.startswith(_TALKS):
            self._note(f"{event} {args!r:.200}")
        elif event == "ctypes.dlopen" and args[0] is not None:
            self._read(args[0], event)

    def _opened(self, path, mode, flags) -> None:
        if isinstance(path, int):
            return
        if flags & _WRITING if isinstance(flags, int) else mode and set(mode) & set("wax+"):
            self._written(path, "open for writing")
        else:
            self._read(path, "open")

    def _real(self, path) -> str:
        return os.path.realpath(os.fsdecode(path))

    def _read(self, path, event: str) -> None:
        if not _below(real := self._real(path), (*self.readable, *self.writable)):
            self._note(f"{event} {real!r}")

    def _written(self, path, event: str) -> None:
        if isinstance(path, int):
            return
        if not _below(real := self._real(path), self.writable):
            self._note(f"{event} {real!r}")

    def _forked(self, event: str) -> None:
        frame = sys._getframe()
        while frame is not None:
            if frame.f_globals.get("__name__") == "sim.engine.isolate":
                self.simulated = True
                raise Stopped
            frame = frame.f_back
        self._note(event)

    def _note(self, text: str) -> None:
        self.on = False
        frames = [f"{f.filename}:{f.lineno}" for f in traceback.extract_stack() if "/sim/" in f.filename]
        self.on = True
        self.escapes.append(f"{text} at {frames[-1] if frames else '?'}")


def _below(path: str, folders: tuple[str, ...]) -> bool:
    return any(path == folder or path.startswith(folder + "/") for folder in folders)


class OutOfTime(BaseException):
    """More processor time than any input is worth."""


def _out_of_time(*_):
    raise OutOfTime


def _answer(watch: Watch, asked: dict, main) -> dict:
    os.chdir(asked["readable"])
    own = (str(ROOT), sys.prefix, sys.base_prefix, sys.base_exec_prefix)
    watch.readable = (os.path.realpath(asked["readable"]), *map(os.path.realpath, own), *_SYSTEM)
    watch.writable = (os.path.realpath(asked["writable"]),)
    watch.escapes, watch.simulated = [], False
    out, err, trace, code = io.StringIO(), io.StringIO(), "", 0
    held = resource.getrusage(resource.RUSAGE_SELF)
    signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
    watch.on = True
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(asked["words"])
    except Stopped:
        pass
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 1
    except BaseException:  # whatever would reach the user
        watch.on = False
        code, trace = 1, traceback.format_exc()
    finally:
        watch.on = False
        signal.setitimer(signal.ITIMER_PROF, 0)
    now = resource.getrusage(resource.RUSAGE_SELF)
    return {
        "code": code,
        "out": out.getvalue()[-20_000:],
        "err": err.getvalue()[-20_000:],
        "trace": trace[-4_000:],
        "escapes": watch.escapes[:20],
        "simulated": watch.simulated,
        "grown_mb": (now.ru_maxrss - held.ru_maxrss) / 1024,
        "seconds": now.ru_utime + now.ru_stime - held.ru_utime - held.ru_stime,
    }


def _serve() -> None:
    # What the commands need is imported before anything is watched: imports read files, too.
    import warnings

    warnings.simplefilter("error")
    import matplotlib.backends.backend_svg
    import scipy.optimize
    import skrf

    import sim.plots.inspected
    from sim.cli import _COMMANDS, main

    del matplotlib, scipy, skrf, sim
    for name in _COMMANDS:
        with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
            main([name, "--help"])
    signal.signal(signal.SIGPROF, _out_of_time)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_FSIZE, (LARGEST_WRITTEN, LARGEST_WRITTEN))
    watch = Watch()
    sys.addaudithook(watch.hook)
    answers = os.fdopen(os.dup(1), "wb")
    for line in sys.stdin.buffer:
        answers.write(json.dumps(_answer(watch, json.loads(line), main)).encode() + b"\n")
        answers.flush()


if __name__ == "__main__":
    _serve()
