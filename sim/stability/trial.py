"""A deck judged and kicked, each in a process of its own: what an unlucky deck does there harms nothing else."""

from dataclasses import dataclass

from sim.engine.isolate import Failed, isolated
from sim.engine.ngspice import Simulator
from sim.errors import EngineError
from sim.stability.deck import ReadDeck
from sim.stability.judge import DeckVerdict, judge_deck
from sim.stability.transient import Ending, KickTest, kick_test, watching_time

PATIENCE_S = 120.0
"""Silence after which a deck is given up; common ones need a tenth of a second. [s]"""


@dataclass(frozen=True)
class Trial:
    """A deck's verdict and the proof in time.

    Attributes
    ----------
    verdict : DeckVerdict
    kick : KickTest or None
    kick_failure : str
        Why there is no test in time; empty where there is one.
    """

    verdict: DeckVerdict
    kick: KickTest | None
    kick_failure: str

    @property
    def doubts(self) -> tuple[str, ...]:
        """All that leaves the verdict unresolved, a disagreement with the test in time among it."""
        own, kick = self.verdict.doubts, self.kick
        if kick is None or own:
            return own
        if self.verdict.stable and kick.ending.unstable:
            return (f"stable by its poles, but after a kick {kick.node} {_IN_TIME[kick.ending]}",)
        if not self.verdict.stable and kick.ending is Ending.SETTLES:
            return (f"{self.verdict.unstable_poles} unstable poles, but a kick dies away",)
        return ()

    @property
    def stable(self) -> bool:
        """No pole in the right half plane, and no doubt about it."""
        return self.verdict.stable and not self.doubts


_IN_TIME = {
    Ending.GROWS: "grows",
    Ending.LIMIT_CYCLE: "goes on oscillating",
    Ending.LATCHED: "stays elsewhere",
}


def try_deck(deck: ReadDeck) -> Trial:
    """Judge a deck and kick it.

    Parameters
    ----------
    deck : ReadDeck

    Raises
    ------
    EngineError
        The simulator gave no verdict.
    """
    verdict = _alone(_judging, deck)
    if isinstance(verdict, Failed):
        raise EngineError(
            f"{deck.file}: the simulator gave no result: {verdict.reason}\n"
            "  Does it run in plain ngspice? A floating node or a source across a source are the usual reasons."
        )
    kick = _alone(_kicking, (deck, verdict))
    if isinstance(kick, Failed):
        return Trial(verdict, None, kick.reason)
    return Trial(verdict, kick, "")


def _alone(make_worker, item):
    ((_, answer),) = isolated(make_worker, [item], PATIENCE_S)
    return answer


def _judging():
    simulator = Simulator()
    return lambda deck: judge_deck(simulator, deck)


def _kicking():
    simulator = Simulator()
    return lambda given: kicked(simulator, *given)


def kicked(simulator: Simulator, deck: ReadDeck, verdict: DeckVerdict) -> KickTest:
    """Kick every node of a deck and watch all of them.

    Parameters
    ----------
    simulator : Simulator
    deck : ReadDeck
    verdict : DeckVerdict
        Says how hard, at which frequency and how long.

    Raises
    ------
    UnitFailed
    LibraryLost
    """
    growth = verdict.poles[0][0] if verdict.poles else None
    length = watching_time(verdict.test_hz, verdict.worst.loop.margin, growth, verdict.delay_s)
    watch = tuple(kick.node for kick in verdict.kicks)
    return kick_test(simulator, deck.whole, verdict.kicks, watch, verdict.test_hz, length)
