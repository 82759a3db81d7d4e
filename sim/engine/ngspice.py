"""ngspice as a shared library: text in, arrays out, one circuit at a time in one process.

Theory of operation
-------------------
The library is loaded once by PySpice and then driven by its plain commands. A deck is loaded, analyses run on
it one after another, and the few vectors that were asked for are copied out. The library reports trouble in
words, hardly ever by a return code: an unknown model, an operating point that did not converge or a device that
could not be altered all come back with code 0, and the previous results stay in place. So nothing is believed
because of a return code. A result counts only if

* the exit callback was not called,
* every line the library wrote is on a list of harmless lines,
* the analysis made a *new* plot, and
* every vector in it has the expected length and is finite.

Not covered: analyses in the background, several circuits at once. After an exit callback the library cannot be
used again in this process (:class:`LibraryLost`); the caller ends the process.
"""

import contextlib
import logging
import os
import re
import signal
import subprocess

import numpy as np

from sim.errors import EngineError, SetupError

# Lines that do not mean trouble. Everything else that the library says makes the unit fail, with that line as reason.
_HARMLESS = tuple(
    re.compile(pattern)
    for pattern in (
        r"^\s*$",
        r"^Note: (No compatibility mode|can't find init file|Starting (dynamic|true) gmin)",
        r"^Warning: (Dynamic gmin|Further gmin)",
        r"^(Doing analysis at TEMP|No\. of Data (Rows|Columns)|Circuit: |Reset re-loads|\s*Reference value)",
        r"^Using (SPARSE|KLU)",
        r"^(Trying gmin|(Note: )?One successful gmin step|(Warning: )?[Gg]min step failed)",
        r"^(Note: )?(Dynamic|True|Starting) gmin stepping (completed|started)",
        r"^Total |^Background|^Initial Transient|^Node +Voltage|^-+ +-+|^Index +time",
    )
)
# What PySpice's own start-up may say: version and paging settings, before any deck is loaded.
_LIBRARY_NAMES = ("libngspice.so.0", "libngspice.so", "libngspice.dylib", "libngspice.0.dylib", "ngspice.dll")

COMMANDS_PER_RELEASE = 2000
"""Commands after which the library's own log of past commands is thrown away. It grows by some 10 KiB a unit."""


class UnitFailed(EngineError):
    """This deck gave no result that may be believed; the library itself is still good.

    Attributes
    ----------
    stage : str
        What failures.csv calls it.
    """

    stage = "simulate"


class LibraryLost(EngineError):
    """The library asked to be unloaded; only a new process can go on."""


def library_path() -> str:
    """Name or path of the ngspice shared library, as the dynamic loader knows it.

    The environment variable ``NGSPICE_LIBRARY_PATH`` wins; else the usual names are tried.

    Raises
    ------
    SetupError
        No library can be loaded; the message says what to install.
    """
    import ctypes

    given = os.environ.get("NGSPICE_LIBRARY_PATH")
    for name in (given,) if given else _LIBRARY_NAMES:
        with contextlib.suppress(OSError):
            # Loading it here costs nothing: the loader keeps one copy a process.
            ctypes.CDLL(name)
            # It is loaded once more from another folder.
            return os.path.abspath(name) if os.path.dirname(name) else name
    raise SetupError(
        "the ngspice shared library was not found"
        + (f' under NGSPICE_LIBRARY_PATH="{given}"' if given else "")
        + ".\n  Debian, Ubuntu: apt-get install libngspice0. Elsewhere: install ngspice built as a shared library and"
        " set NGSPICE_LIBRARY_PATH to its full path."
    )


def _library_class():
    """Make the class that hooks our own message handling into PySpice's binding (imported only when needed)."""
    os.environ["NGSPICE_LIBRARY_PATH"] = library_path()
    logging.getLogger("PySpice").setLevel(logging.CRITICAL)
    from PySpice.Spice.NgSpice import Shared

    class Library(Shared.NgSpiceShared):
        """PySpice's binding with its message callbacks replaced: it takes every stderr line for an error."""

        messages: list
        exited = False

        @staticmethod
        def _send_char(message_c, ngspice_id, user_data):
            self = Shared.ffi.from_handle(user_data)
            text = Shared.ffi.string(message_c).decode("utf-8", "replace")
            stream, _, content = text.partition(" ")
            # PySpice reads its own start-up lines (version, settings) from here.
            self._stdout.append(content)
            self.__dict__.setdefault("messages", []).append((stream, content))
            return 0

        @staticmethod
        def _send_stat(message, ngspice_id, user_data):
            return 0

        @staticmethod
        def _send_init_data(data, ngspice_id, user_data):
            return 0

        @staticmethod
        def _exit(exit_status, immediate, quitting, ngspice_id, user_data):
            Shared.ffi.from_handle(user_data).exited = True
            return 0

    return Library, Shared.ffi


@contextlib.contextmanager
def _away_from_here():
    """While the library starts: it runs what .spiceinit in the current folder says, any command of the shell too.

    A folder with a study may come from anybody, so the library starts where only the system's owner can write.
    """
    try:
        here = os.open(".", os.O_RDONLY)
    except OSError:
        here = None  # the folder is gone
    os.chdir(os.sep)
    try:
        yield
    finally:
        if here is not None:
            os.chdir(here)
            os.close(here)


class Simulator:
    """One loaded library and the circuit that is in it.

    Parameters
    ----------
    timer : callable, optional
        Clock used to sum the time spent inside the library; default none is kept.
    """

    def __init__(self, timer=None):
        library_class, self._ffi = _library_class()
        with _away_from_here():
            self._library = library_class.new_instance(ngspice_id=0)
        self._c = self._library._ngspice_shared
        self._timer = timer
        self.seconds_inside = 0.0
        self._commands = 0
        self._active = ""
        self._library.messages = []
        # A comma locale would make the library read "1.5" as 1.
        self.command("set nomoremode")

    # ------------------------------------------------------------------ talking to the library

    def command(self, text: str) -> list[str]:
        """Run one library command and return what it said on its standard output.

        Raises
        ------
        UnitFailed
            The library said something that is not known to be harmless.
        LibraryLost
            It asked to be unloaded.
        """
        self._commands += 1
        if self._commands % COMMANDS_PER_RELEASE == 0:
            self._c.ngSpice_Command(self._ffi.NULL)
        self._library.messages.clear()
        self._library._stdout.clear()
        self._inside(self._c.ngSpice_Command, text.encode("ascii"))
        return self._checked(text)

    def _inside(self, function, argument):
        if self._timer is None:
            function(argument)
            return
        start = self._timer()
        function(argument)
        self.seconds_inside += self._timer() - start

    def _checked(self, what: str) -> list[str]:
        said = self._library.messages
        if self._library.exited:
            raise LibraryLost(f"the simulator gave up at '{what}': {_first_trouble(said) or 'no reason given'}")
        trouble = _first_trouble(said)
        if trouble is not None:
            raise UnitFailed(trouble)
        return [content for stream, content in said if stream != "stderr"]

    def load(self, lines: tuple[str, ...], save: tuple[str, ...] = ()) -> None:
        """Replace the circuit by these deck lines (the first is the title) and name the vectors to keep.

        Parameters
        ----------
        lines : tuple of str
            Complete deck without analyses; `.end` last.
        save : tuple of str
            Vectors to keep. Without them every node of every run is kept, which costs a third of the time.
        """
        with contextlib.suppress(UnitFailed):
            self.command("destroy all")
        with contextlib.suppress(UnitFailed):
            # Says "no circuit loaded" the first time.
            self.command("remcirc")
        keep = [self._ffi.new("char[]", line.encode("ascii")) for line in lines if line]
        # The library wants an empty line before the end of the array.
        keep += [self._ffi.new("char[]", b""), self._ffi.NULL]
        array = self._ffi.new("char *[]", keep)
        self._library.messages.clear()
        self._library._stdout.clear()
        self._inside(self._c.ngSpice_Circ, array)
        self._checked("load")
        self._active = ""
        if save:
            self.command("save " + " ".join(save))

    def _plot(self) -> str:
        return self._ffi.string(self._c.ngSpice_CurPlot()).decode()

    def vector(self, name: str) -> np.ndarray:
        """Copy of one vector of the current plot, real or complex as the library holds it."""
        info = self._c.ngGet_Vec_Info(name.encode("ascii"))
        if info == self._ffi.NULL or info.v_length <= 0:
            raise UnitFailed(f"no result for {name}")
        if info.v_compdata != self._ffi.NULL:
            return np.frombuffer(self._ffi.buffer(info.v_compdata, info.v_length * 16), complex).copy()
        return np.frombuffer(self._ffi.buffer(info.v_realdata, info.v_length * 8), float).copy()

    def _vectors(self, names, before: str, what: str, length: int | None, unit: str = "") -> dict[str, np.ndarray]:
        if self._plot() == before:
            raise UnitFailed(f"{what}: the analysis gave no result")
        found = {}
        for name in names:
            data = self.vector(name)
            if length is not None and len(data) != length:
                raise UnitFailed(f"{what}: {name} has {len(data)} values, {length} expected")
            if not np.all(np.isfinite(data)):
                raise UnitFailed(f"{what}: {name} is not finite")
            found[name] = data
        return found

    # ------------------------------------------------------------------ analyses

    def operating_point(self, names) -> dict[str, float]:
        """DC operating point: node voltages [V] and branch currents [A] by vector name.

        A point that the library found only by ramping sources or by a transient is refused: on a circuit with a
        floating node that way returns a wrong point without an error.
        """
        before = self._plot()
        self.command("op")
        found = self._vectors(names, before, "operating point", 1)
        return {name: float(data[0].real) for name, data in found.items()}

    def ac(self, sweep: str, names, length: int | None = None) -> dict[str, np.ndarray]:
        """Small-signal sweep; `sweep` is the library's own form, for example ``dec 10 1e4 3e9``.

        Returns the named vectors and ``frequency`` [Hz, real], each of shape (n_freq,).
        """
        before = self._plot()
        self.command("ac " + sweep)
        found = self._vectors((*names, "frequency"), before, "ac", length)
        found["frequency"] = found["frequency"].real
        return found

    def noise(self, output: str, source: str, sweep: str, contributors: bool = False) -> dict[str, np.ndarray]:
        """Noise at a node, referred to nothing: ``onoise_spectrum`` [V/√Hz] and ``frequency`` [Hz].

        With ``contributors`` the densities of the single devices come too (``onoise_<device>``, whole devices only);
        their squares add up to the square of the total.
        """
        before = self._plot()
        self.command(f"noise v({output}) {source} {sweep}" + (" 1" if contributors else ""))
        if self._plot() == before:
            raise UnitFailed("noise: the analysis gave no result")
        # The spectra are in the plot before the one with the integrated values.
        self.command("setplot previous")
        names = ["onoise_spectrum", "frequency"]
        if contributors:
            names += [n for n in self.vector_names() if n.startswith("onoise_") and n != "onoise_spectrum"]
        found = self._vectors(names, "", "noise", None)
        if not np.all(found["onoise_spectrum"].real > 0):
            # A node that is not in the deck is silently taken for a new one.
            raise UnitFailed(f"noise: the density at {output} is zero")
        return {name: data.real for name, data in found.items()}

    def transient(self, step_s: float, stop_s: float, names) -> dict[str, np.ndarray]:
        """Run in time from the operating point; steps are the library's own, none longer than `step_s`.

        Returns the named vectors and ``time`` [s], each of shape (n_time,). The trapezoidal rule, whatever a deck says.
        """
        before = self._plot()
        self.command("option method=trap")
        self.command(f"tran {step_s!r} {stop_s!r} 0 {step_s!r}")
        found = self._vectors((*names, "time"), before, "transient", None)
        if found["time"][-1] < (1 - 1e-9) * stop_s:
            raise UnitFailed(f"transient: it ended at {found['time'][-1]:.3g} s of {stop_s:.3g} s")
        return {name: data.real for name, data in found.items()}

    def vector_names(self) -> list[str]:
        """Names of all vectors of the current plot."""
        array, names, i = self._c.ngSpice_AllVecs(self._plot().encode("ascii")), [], 0
        while array[i] != self._ffi.NULL:
            names.append(self._ffi.string(array[i]).decode())
            i += 1
        return names

    def excite(self, sources: tuple[str, ...], active: str) -> None:
        """Give one source an AC value of 1 and take it from the one that had it; a fresh deck has them all at 0."""
        if self._active in sources and self._active != active:
            self.command(f"alter @{self._active}[acmag] = 0")
        self.command(f"alter @{active}[acmag] = 1")
        self._active = active

    def forget(self) -> None:
        """Throw the results of past analyses away; the circuit stays."""
        self.command("destroy all")


def _first_trouble(messages) -> str | None:
    for stream, content in messages:
        text = content.strip()
        # Ramped sources and pseudo-transients return points that may be wrong, see operating_point().
        bad = stream == "stderr" or re.search(
            r"error|singular|source stepping|transient op|no such|not found|unknown|unrecognized|can't|cannot|fail",
            text,
            re.IGNORECASE,
        )
        if bad and not any(pattern.search(text) for pattern in _HARMLESS):
            return text
    return None


def ignore_interrupts() -> None:
    """Leave Ctrl-C to the parent process: inside a library callback it would be lost."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def batch(deck: str, folder, timeout: float = 60.0) -> str:
    """Output of plain ``ngspice -b`` on a deck of our own making: an outside check of the library path.

    Raises
    ------
    SetupError
        There is no ``ngspice`` command on this system.
    """
    path = os.path.join(folder, "deck.cir")
    with open(path, "w", encoding="ascii") as file:
        file.write(deck)
    try:
        done = subprocess.run(
            ["ngspice", "-b", path], capture_output=True, text=True, timeout=timeout, cwd=folder, check=False
        )
    except FileNotFoundError as missing:
        raise SetupError("the ngspice command was not found.\n  Debian, Ubuntu: apt-get install ngspice.") from missing
    return done.stdout + done.stderr
