"""By what an order is known to belong to a study."""

import hashlib
import json
import tomllib


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
