"""The name under which the program was called, for lines that a reader may copy."""

import os
import re


def called() -> str:
    """What to type for the program: ``./bandfloor`` from a checkout's launcher, ``bandfloor`` where it is installed.

    The launcher says in BANDFLOOR_COMMAND how it was called; what would need quoting in a shell is not taken.
    """
    name = os.environ.get("BANDFLOOR_COMMAND", "")
    return name if re.fullmatch(r"[\w./~+-]{1,200}", name, re.ASCII) else "bandfloor"
