"""What a run holds while it is at work: its folder, its processes, and the signals that ask it to stop.

Nothing of it needs hand work afterwards: the lock is the system's and goes with the processes, these all belong to
one group that is ended with the run, and a run that is killed takes them with it (see :mod:`sim.engine.leash`).
"""

import contextlib
import errno
import os
import signal
import subprocess
import time
from pathlib import Path

from sim.engine.leash import end_with_parent
from sim.errors import BandfloorError

KINDLY_S = 8.0
"""How long the pipeline may take to end by itself when it is asked to. [s]"""
LEFTOVERS_S = 15.0
"""How long the processes of a run that was killed may still hold the folder. [s]"""
_STEP_S = 0.05
_NO_LOCKS = (errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP)


class Lock:
    """Two runs into one folder would take each other's files; the second is refused.

    Parameters
    ----------
    out : Path
        Results folder with a folder logs.

    Raises
    ------
    BandfloorError
        On entering: another run is at work there, or the folder cannot be written.
    """

    def __init__(self, out: Path):
        self._out, self._path, self._file = out, out / "logs" / "run.lock", None

    def __enter__(self):
        import fcntl

        deadline = time.monotonic() + LEFTOVERS_S
        while True:
            try:
                self._file = open(self._path, "a+", encoding="ascii")
            except OSError as error:
                raise BandfloorError(f"{self._path}: cannot be written: {error.strerror}.") from error
            try:
                fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError as error:
                if error.errno in _NO_LOCKS:
                    break  # a drive without locks: two runs are then the user's own care
                holder = self._holder()
                self._file.close()
                # Processes of a run that was killed are about to end, too.
                if holder and not _alive(holder) and time.monotonic() < deadline:
                    time.sleep(_STEP_S)
                    continue
                raise BandfloorError(
                    f"{self._out}: another run is writing these results{f' (process {holder})' if holder else ''};"
                    " nothing was changed.\n  Wait for it, or name another folder with --out DIR."
                ) from None
            if not self.lost():
                break
            self._file.close()
        with contextlib.suppress(OSError):
            self._file.truncate(0)
            self._file.write(str(os.getpid()))
            self._file.flush()
        return self

    def _holder(self) -> int:
        with contextlib.suppress(OSError, ValueError):
            self._file.seek(0)
            return int(self._file.read(20))
        return 0

    def lost(self) -> bool:
        """Whether the folder was taken away, or replaced by another one of the same name."""
        try:
            there, ours = os.stat(self._path), os.fstat(self._file.fileno())
        except OSError:
            return True
        return (there.st_dev, there.st_ino) != (ours.st_dev, ours.st_ino)

    @property
    def descriptor(self) -> int:
        """Open file that carries the lock."""
        return self._file.fileno()

    def __exit__(self, *_):
        with contextlib.suppress(OSError):
            self._file.close()


def _alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


class Asked:
    """How often a run was asked to stop."""

    def __init__(self):
        self.times = 0

    def note(self, *_) -> None:
        """Handler of a signal."""
        self.times += 1


@contextlib.contextmanager
def asked_to_stop():
    """Take Ctrl-C, a plain kill and a closed terminal for a wish that is granted at the next good moment.

    An exception out of a signal handler could fall between starting a process and knowing of it, or into the clearing
    up after the signal before. Under nohup a closed terminal is to be ignored, and stays so.

    Yields
    ------
    Asked
    """
    asked = Asked()
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    taken = [n for n, handler in before.items() if handler in (signal.SIG_DFL, signal.default_int_handler)]
    for number in taken:
        signal.signal(number, asked.note)
    try:
        yield asked
    finally:
        for number in taken:
            signal.signal(number, before[number])


def start(words: list[str], log, environment: dict[str, str], lock: Lock) -> subprocess.Popen:
    """Start the pipeline as a group of processes that ends with this one.

    Parameters
    ----------
    words : list of str
        Its command line.
    log : file
        Takes all it says.
    environment : dict of str to str
    lock : Lock
        The pipeline holds it, too: where it cannot be made to end with this process, the folder stays taken.
    """
    parent = os.getpid()
    return subprocess.Popen(
        words,
        stdin=subprocess.DEVNULL,
        stdout=log,
        stderr=subprocess.STDOUT,
        env=environment,
        pass_fds=(lock.descriptor,),
        # Of its own, so that Ctrl-C comes to us alone and we end what is at work in one way, whoever asked for it.
        process_group=0,
        preexec_fn=lambda: end_with_parent(parent),
    )


def end(process: subprocess.Popen, asked: Asked) -> None:
    """End the pipeline and all it started: kindly, then by force; afterwards nothing is at work.

    Parameters
    ----------
    process : subprocess.Popen
        Of :func:`start`; it may have ended already.
    asked : Asked
        Who asks again while this is going on is tired of waiting.
    """
    if process.poll() is None:
        _to_group(process.pid, signal.SIGINT)
        before, deadline = asked.times, time.monotonic() + KINDLY_S
        while process.poll() is None and asked.times == before and time.monotonic() < deadline:
            time.sleep(_STEP_S)
    _to_group(process.pid, signal.SIGKILL)
    process.wait()
    deadline = time.monotonic() + KINDLY_S
    while _to_group(process.pid, 0) and time.monotonic() < deadline:
        time.sleep(_STEP_S)


def _to_group(number: int, what: int) -> bool:
    try:
        os.killpg(number, what)
    except OSError:
        return False
    return True
