"""A process that ends with the one that started it, however that ends: nothing stays at work behind a kill -9.

Linux tells a process of its parent's death by a signal of its choice; elsewhere nothing is done, and what is left
behind ends at its next word to the parent.
"""

import os
import signal
import sys

TIED = "BANDFLOOR_TIED"
"""Environment variable in which the pipeline tells a step the number of its own process."""
_PR_SET_PDEATHSIG = 1


def end_with_parent(parent: int) -> None:
    """Have this process killed when its parent is gone; end at once where it is gone already.

    Parameters
    ----------
    parent : int
        Number of the process that started this one.
    """
    if not sys.platform.startswith("linux"):
        return
    import ctypes

    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    # The parent may have ended before the line above.
    if os.getppid() != parent:
        os._exit(1)


def end_with_pipeline() -> None:
    """As :func:`end_with_parent`, for a step that the pipeline started; one that a person typed goes on by itself."""
    parent = os.environ.pop(TIED, "")
    if parent.isdigit():
        end_with_parent(int(parent))
