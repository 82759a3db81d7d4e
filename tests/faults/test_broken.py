"""What is said of a run that broke off."""

import pytest

from sim.commands.broken import at_rest, now, why

FAILED = """\
[Thu Nov 26 00:14:30 2026]
Error in rule simulate:
    message: None
    jobid: 2
    output: out/chunks/1-of-2.npz
    log: {log} (check log file(s) for error details)
    shell:
        python -m sim.steps.simulate
        (command {how})
Exiting because a job execution failed. Look above for error messages
WorkflowError:
At least one job did not complete successfully.
"""
OWN = """\
Traceback (most recent call last):
  File "simulate.py", line 1, in <module>
OSError: [Errno 5] Input/output error

The above exception was the direct cause of the following exception:

Traceback (most recent call last):
sim.errors.BandfloorError: out/x.npz: cannot be written: Input/output error.
  Look at the disk.
"""
OTHER = """\
Traceback (most recent call last):
  File "zipfile.py", line 1, in _RealGetContents
zipfile.BadZipFile: File is not a zip file
"""


def _why(out, said: str, how: str = "exited with non-zero exit code", code: int = 1) -> str:
    logs = out / "logs"
    logs.mkdir()
    (logs / "simulate-1-of-2.log").write_text(said, encoding="utf-8")
    (logs / "older.log").write_text("ValueError: of yesterday", encoding="utf-8")
    log = logs / "pipeline.log"
    log.write_text(FAILED.format(log=logs / "simulate-1-of-2.log", how=how), encoding="utf-8")
    return why(out, log, code)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (OWN, "failed: out/x.npz: cannot be written: Input/output error.\n  Look at the disk.\n  All it said:"),
        (OTHER, "failed: zipfile.BadZipFile: File is not a zip file\n  All it said:"),
        ("half a line", "failed: half a line\n  All it said:"),
    ],
)
def test_last_words_of_the_step_that_failed(tmp_path, said, told):
    """What the step said last, without traceback; no word of another step's older log."""
    words = _why(tmp_path, said)
    assert told in words
    assert words.startswith("the step 'simulate-1-of-2' ")
    assert "yesterday" not in words
    assert "Traceback" not in words


@pytest.mark.parametrize("words", ["No space left on device", "Disk quota exceeded", "File too large"])
def test_a_full_disk_is_called_one(tmp_path, words):
    """Whoever met it, in whatever words of the system."""
    assert "the disk is full" in _why(tmp_path, f"OSError: [Errno 28] {words}")


def test_a_step_that_was_killed(tmp_path):
    """It could say nothing; what kills without a word is mostly want of memory."""
    words = _why(tmp_path, "", "died with <Signals.SIGKILL: 9>.")
    assert "'simulate-1-of-2' was killed" in words
    assert "--cores 1" in words


def test_a_pipeline_that_was_killed(tmp_path):
    """The signal is named."""
    (tmp_path / "pipeline.log").write_text("Select jobs to execute...", encoding="utf-8")
    assert "(Snakemake) was ended by signal 9" in why(tmp_path, tmp_path / "pipeline.log", -9)


@pytest.mark.parametrize("text", ["", "\n\n", None])
def test_nothing_was_said(tmp_path, text):
    """No log, or nothing in it, is no reason for an error of our own."""
    log = tmp_path / "pipeline.log"
    if text is not None:
        log.write_text(text, encoding="utf-8")
    assert why(tmp_path, log, 1).startswith("the pipeline failed: it said nothing")


def test_nothing_is_kept_of_a_folder_that_is_gone(tmp_path):
    """Words for it, no error."""
    assert now(tmp_path / "none", "mark", 13) == "Nothing is kept of 13 runs so far: start the same command again."
    assert at_rest(tmp_path / "none") == "Nothing was changed: start the same command again."
