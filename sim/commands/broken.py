"""What is said of a run that broke off: why, what there is now, and what to type."""

import re
import shutil
from pathlib import Path

from sim.steps.seal import REPORT, marked, standing

_FAILED = re.compile(r"^Error in rule \w+:.*?^ +log: (\S.*?) \(check log file", re.MULTILINE | re.DOTALL)
_RAISED = re.compile(r"^(?:[\w.]+\.)?(\w*(?:Error|Exception|BadZipFile|Invalid|Lost|Failed)): ", re.MULTILINE)
_OWN = ("BandfloorError", "EngineError", "SetupError", "StudyError", "CircuitError", "GuardError", "RecordError")
_FULL = ("No space left on device", "Disk quota exceeded", "File too large")
_LITTLE = 256 * 1024


def why(out: Path, log: Path, code: int) -> str:
    """Why the pipeline failed: last words of the step that did, and where all of it stands.

    Parameters
    ----------
    out : Path
        Results folder.
    log : Path
        What the pipeline said.
    code : int
        How its process ended; below zero by a signal.
    """
    told = _text(log)
    steps = [Path(name) for name in _FAILED.findall(told)]
    step = steps[0] if steps else None
    said = _text(step) if step else ""
    if any(words in text for words in _FULL for text in (told, said)) or _is_full(out):
        return f"{out}: the disk is full, or a limit on the size of files is reached.\n  Make room."
    if said:
        return f"the step '{step.stem}' failed: {_last_words(said)}\n  All it said: {step}"
    if step and re.search(r"SIGKILL|non-zero exit status 137|exit status 9\b", told):
        return (
            f"the step '{step.stem}' was killed by the system or by hand; a system does that when memory runs out."
            "\n  Close other programs, or use fewer cores: --cores 1."
        )
    if code < 0:
        return f"the pipeline (Snakemake) was ended by signal {-code}: by hand, or by a system whose memory ran out."
    tail = [line.strip() for line in told.strip().splitlines() if line.strip()][-2:]
    return f"the pipeline failed: {' / '.join(tail) or 'it said nothing'}\n  All it said: {log}"


def _last_words(said: str) -> str:
    """The last error in a log, without its traceback; what this program says itself without the name of its class."""
    found = list(_RAISED.finditer(said))
    if not found:
        return said.strip().splitlines()[-1].strip()
    last = found[-1]
    words = said[last.end() if last[1] in _OWN else last.start() :].strip()
    return "\n".join(words.splitlines()[:6])


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""


def _is_full(out: Path) -> bool:
    try:
        return shutil.disk_usage(out).free < _LITTLE
    except OSError:
        return False


def now(out: Path, mark: str, runs: int) -> str:
    """What a results folder holds after a run broke off, and what to type.

    Parameters
    ----------
    out : Path
    mark : str
        Digest of what the run rests on; empty where it did not come so far.
    runs : int
        Units × scenarios that the run consists of.
    """
    found = standing(out, mark)
    if found.complete and found.mark == mark:
        return f"The results in {out} are complete: {out / REPORT}."
    if found.complete:
        return f"The old results in {out} are untouched; the same command begins the new ones."
    if found.runs:
        return f"{found.runs} of {runs} runs are kept in {out}: start the same command again and it goes on from there."
    return f"Nothing is kept of {runs} runs so far: start the same command again."


def at_rest(out: Path) -> str:
    """What a results folder holds after an interruption while the pipeline was not at work.

    Parameters
    ----------
    out : Path
    """
    found = standing(out, marked(out))
    if found.complete:
        return f"The results in {out} are complete: {out / REPORT}."
    if found.runs:
        return f"{found.runs} runs are kept in {out}: start the same command again and it goes on from there."
    return "Nothing was changed: start the same command again."
