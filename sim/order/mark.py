"""What whoever shows an order must know of it: to which study it belongs, how a line says that it is of one lot."""

import hashlib
import json
import tomllib
from collections.abc import Mapping

DRIVES = 0.05
"""Share of a measure's variance from which on a part counts as one that drives it: own choice. [1]"""


def study_digest(text: str) -> str:
    """Digest of what a study says, however it is laid out; the number of units, which no order depends on, left out.

    Parameters
    ----------
    text : str
        The study with every default filled in, see :func:`sim.study.write.study_text`.
    """
    data = tomllib.loads(text)
    data.get("run", {}).pop("units", None)
    return hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()


def lot_words(item: Mapping) -> str:
    """Whether an item of the answer must come from one lot, in few words: "yes: 68 % of gain match"."""
    if not item["one_lot"]:
        return "–"
    share, what = max((item[f"share_match_{what}"] or 0.0, what) for what in ("gain", "phase"))
    return f"yes: {100 * share:.0f} % of {what} match" if share >= DRIVES else "yes, as in the study"
