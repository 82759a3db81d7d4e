"""Work items done one by one in a process of their own, so that a crash costs one item and not the run.

The child loads the simulator and sends each result back as soon as it has it. When it dies, the item it was at is the
first without a result. That item gets one more try at the head of a fresh child; if it kills that one too it is
written down as failed, and the next child goes on behind it. A child that says nothing for a while is killed and
treated the same way.
"""

import os
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from sim.engine.leash import end_with_parent
from sim.engine.ngspice import LibraryLost, UnitFailed, ignore_interrupts
from sim.errors import EngineError, SetupError

PATIENCE_S = 60.0
"""Silence after which a child is taken for stuck; a unit needs some milliseconds. [s]"""


@dataclass(frozen=True)
class Failed:
    """An item without a result.

    Attributes
    ----------
    stage : str
        "simulate" (the simulator said why), "rating" (an op-amp would not bear its volts, or not run on them), "lost"
        (the simulator gave up and its process was replaced), "crash" or "stuck".
    reason : str
    """

    stage: str
    reason: str


def isolated(make_worker: Callable, items: Sequence, patience_s: float = PATIENCE_S) -> Iterator[tuple[int, object]]:
    """Results of ``make_worker()(item)`` for all items, in order.

    Parameters
    ----------
    make_worker : callable
        Called once in every child; returns the function that does one item.
    items : sequence
    patience_s : float
        See :data:`PATIENCE_S`. [s]

    Yields
    ------
    index, result : (int, object)
        The result is a :class:`Failed` where there is none.

    Raises
    ------
    EngineError
        The worker itself is broken: an error that is not about the item.
    SetupError
        The simulator's library is not there.
    """
    position, tries = 0, 0
    while position < len(items):
        start = position
        for answer in _child_answers(make_worker, items, position, patience_s):
            if isinstance(answer, Failed) and answer.stage in ("crash", "stuck"):
                tries += 1
                if tries < 2:
                    break
            yield position, answer
            position, tries = position + 1, 0
        if position == start and tries == 0:
            raise EngineError("a worker process ended without an answer")


def _child_answers(make_worker, items, first, patience_s):
    import multiprocessing  # what only reads a study starts sooner without it

    # A forked child need not import everything again; elsewhere than on Linux forking is not safe.
    context = multiprocessing.get_context("fork" if sys.platform == "linux" else "spawn")
    receiver, sender = context.Pipe(duplex=False)
    child = context.Process(target=_serve, args=(os.getpid(), sender, receiver, make_worker, items, first), daemon=True)
    child.start()
    sender.close()
    done = first
    try:
        while done < len(items):
            if not receiver.poll(patience_s):
                yield Failed("stuck", f"no answer within {patience_s:.0f} s, twice")
                return
            try:
                kind, content = receiver.recv()
            except (EOFError, OSError):
                child.join()
                yield Failed("crash", _death(child.exitcode))
                return
            if kind == "missing":
                raise SetupError(content)
            if kind == "broken":
                raise EngineError(content)
            yield content
            done += 1
            if kind == "last":
                return
    finally:
        child.kill()
        child.join()
        receiver.close()


def _death(exitcode) -> str:
    if exitcode is not None and exitcode < 0:
        return f"the simulator's process was ended by signal {-exitcode}, twice"
    return f"the simulator's process ended with status {exitcode}, twice"


def _serve(parent, sender, receiver, make_worker, items, first):
    ignore_interrupts()
    # A unit may hang: without this the process would outlive a parent that was killed meanwhile.
    end_with_parent(parent)
    receiver.close()
    try:
        worker = make_worker()
        for item in items[first:]:
            try:
                sender.send(("answer", worker(item)))
            except UnitFailed as failed:
                sender.send(("answer", Failed(failed.stage, str(failed))))
            except LibraryLost as lost:
                # This process can simulate nothing any more.
                sender.send(("last", Failed("lost", str(lost))))
                return
    except BrokenPipeError:
        return
    except SetupError as missing:  # no library: the user's to mend, not a bug to be traced
        sender.send(("missing", str(missing)))
    except Exception:
        sender.send(("broken", traceback.format_exc()))
