"""What a study may ask beside its limits, as the answer takes it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sim.summary.antennas import AllAntennas
from sim.summary.arrays import ArrayAnswer
from sim.summary.confirmed import Confirmation
from sim.summary.feedlines import Feedlines


@dataclass(frozen=True)
class Asked:
    """Each empty where the study does not ask for it.

    Attributes
    ----------
    feedlines : sequence of Feedlines
        Of each scenario, in a study with ``[stability]``.
    antennas : sequence of AllAntennas
        The same.
    together : sequence of str
        Sentences about both ends together.
    mending : sequence of dict
        Of each scenario that is not stable enough, from :func:`sim.summary.mending.mending_entry`.
    confirmed : Confirmation, optional
        What came of kicks in the time domain.
    arrays : sequence of ArrayAnswer
        Of each scenario, in a study with ``[array]``.
    opamps : mapping of int to tuple of OpampRecord, optional
        Those of each scenario.
    substitution : sequence of dict
        Of each op-amp judged against another, from :func:`sim.summary.substitution_words.entry_of`.
    drift : sequence of str
        Sentences about temperature, where the study varies it.
    strong : sequence of dict
        Of each scenario with strong carriers, from :func:`sim.summary.carriers.strong_entries`.
    """

    feedlines: Sequence[Feedlines] = ()
    antennas: Sequence[AllAntennas] = ()
    together: Sequence[str] = ()
    mending: Sequence[dict] = ()
    confirmed: Confirmation | None = None
    arrays: Sequence[ArrayAnswer] = ()
    opamps: Mapping[int, tuple] = field(default_factory=dict)
    substitution: Sequence[dict] = ()
    drift: Sequence[str] = ()
    strong: Sequence[dict] = ()
