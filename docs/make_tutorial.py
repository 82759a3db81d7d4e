"""Does what docs/tutorial.md tells its reader to do, and puts what the program answers below each command.

    python docs/make_tutorial.py             run all of it and write the outputs into the page
    python docs/make_tutorial.py --check     run all of it and say where the page differs; nothing is written

The page is plain Markdown. Comments, which no reader sees, say what a fenced block is:

    <!-- edit FILE -->            the TOML block below goes into the study: each key in place of that key of its table
    <!-- drop FILE [[vary]] -->   a table of the study is taken away (the words around it tell the reader so)
    <!-- show A .. B | C .. -->   of the output below only these stretches: from a line that begins with A to the next
                                  that begins with B (without B: that one line; without what follows "..": to the end);
                                  what is left out is a line "…"
    <!-- picture FROM TO -->      the picture that the command before it made is kept beside the page

A block that begins with "$ " is a command, its output below. All commands run in one empty folder. Seconds and cores
are written as "…"; the check lets a number differ by one in its last digit, as another machine may round otherwise.
"""

import argparse
import difflib
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs" / "tutorial.md"

_BLOCK = re.compile(
    r"(?P<notes>(?:<!-- (?:edit|drop|show|picture) [^\n]* -->\n)*)"
    r"(?:```(?P<kind>\w+)\n(?P<text>.*?)^```$)?",
    re.MULTILINE | re.DOTALL,
)
_NOTE = re.compile(r"<!-- (edit|drop|show|picture) (.*) -->")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


@dataclass(frozen=True)
class Step:
    """One thing that the reader does: a command with its output, or a change of a study."""

    kind: str  # "command", "edit", "drop" or "picture"
    text: str  # the command, the TOML text, the table's head; of a picture its two paths
    file: str = ""  # study that is changed
    show: str = ""
    output: str = ""  # as the page has it
    span: tuple[int, int] = field(default=(0, 0))  # of the output in the page


def steps(page: str) -> list[Step]:
    """What the page tells its reader to do, in order."""
    found = []
    for match in _BLOCK.finditer(page):
        notes = dict(_NOTE.findall(match["notes"] or ""))
        if "drop" in notes:
            file, _, head = notes["drop"].partition(" ")
            found.append(Step("drop", head, file))
        if match["kind"] == "toml" and "edit" in notes:
            found.append(Step("edit", match["text"], notes["edit"]))
        if match["kind"] == "console":
            command, _, output = match["text"].partition("\n")
            while command.endswith("\\"):
                more, _, output = output.partition("\n")
                command = command[:-1] + more.lstrip("> ")
            if not command.startswith("$ "):
                raise ValueError(f"a console block begins with {command!r}, not with a command")
            end = match.end("text")
            found.append(Step("command", command[2:], "", notes.get("show", ""), output, (end - len(output), end)))
        if "picture" in notes:
            found.append(Step("picture", notes["picture"]))
    return found


def _heads(lines: list[str]) -> list[int]:
    return [number for number, line in enumerate(lines) if re.match(r"\[", line)]


def edited(study: str, changes: str) -> str:
    """The study with the keys of a TOML text in their tables, as its reader would type them.

    Parameters
    ----------
    study : str
        Text of the study.
    changes : str
        Tables and keys, one key a line. A key takes the place of that key (also where it stands behind "# "), else it
        follows the table's head; a table that is not there comes at the end.
    """
    lines = study.split("\n")
    head, added = "", False
    for change in changes.strip().split("\n"):
        if change.startswith("["):
            head = change
            added = head not in lines
            if added:
                lines += [head] if lines[-1:] == [""] else ["", head]
        elif added and change.strip():
            lines.append(change)
        elif change.strip():
            key = change.partition(" =")[0]
            start = lines.index(head) + 1 if head else 0
            end = next((number for number in _heads(lines) if number >= start), len(lines))
            known = [number for number in range(start, end) if re.match(rf"(# )?{re.escape(key)} = ", lines[number])]
            if known:
                lines[known[0]] = change
            else:
                lines.insert(start, change)
        if added and not change.strip():
            added = False
    return "\n".join(lines).rstrip("\n") + "\n"


def without(study: str, head: str) -> str:
    """The study without a table: its head, and the keys up to the next empty line."""
    lines = study.split("\n")
    start = lines.index(head)
    end = lines.index("", start)
    return "\n".join(lines[:start] + lines[end:])


def settled(output: str) -> str:
    """Output as the page has it: no seconds, no number of cores, no space at line ends, no empty lines around."""
    text = "\n".join(line.rstrip() for line in output.strip("\n").split("\n"))
    text = re.sub(r"\(\d+ s\)", "(… s)", text)
    text = re.sub(r"about \d+ (s|min) on \d+ cores?", "about … s on … cores", text)
    return text + "\n" if text else ""


def shown(output: str, show: str) -> str:
    """The stretches of an output that the page shows, with "…" where lines are left out."""
    if not show:
        return output
    lines, kept, at = output.rstrip("\n").split("\n"), [], 0
    for stretch in show.split(" | "):
        first, dots, last = (word.strip() for word in stretch.partition(" .."))
        start = next((n for n in range(at, len(lines)) if lines[n].strip().startswith(first)), None)
        if start is None:
            raise ValueError(f"no line of the output begins with {first!r}")
        end = start if not dots else len(lines) - 1
        if last:
            end = next((n for n in range(start + 1, len(lines)) if lines[n].strip().startswith(last)), None)
            if end is None:
                raise ValueError(f"no line of the output begins with {last!r} after {first!r}")
        if start > at:
            kept.append("…")
        kept += lines[start : end + 1]
        at = end + 1
    if at < len(lines):
        kept.append("…")
    return "\n".join(kept) + "\n"


def agree(one: str, other: str) -> bool:
    """Whether two texts are the same but for numbers that differ by one in their last digit."""
    if _NUMBER.sub("#", one) != _NUMBER.sub("#", other):
        return False
    for first, second in zip(_NUMBER.findall(one), _NUMBER.findall(other), strict=True):
        places = min(len(text.partition(".")[2]) for text in (first, second))
        if abs(float(first) - float(second)) > 1.01 * 10.0**-places:
            return False
    return True


def launcher(folder: Path) -> None:
    """The command ``./bandfloor`` in a folder: this checkout's program, by this Python."""
    file = folder / "bandfloor"
    file.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m sim.cli "$@"\n')
    file.chmod(0o755)


def surroundings() -> dict[str, str]:
    """Environment of the commands: this checkout's code, a plain terminal of 100 columns, the launcher's name."""
    path = os.pathsep.join((str(Path(sys.executable).parent), os.environ.get("PATH", "")))
    fixed = {"PATH": path, "PYTHONPATH": str(ROOT), "COLUMNS": "100", "TERM": "dumb", "LC_ALL": "C.UTF-8"}
    return {**os.environ, **fixed, "BANDFLOOR_COMMAND": "./bandfloor"}


def done(step: Step, folder: Path) -> str:
    """Do one step in a folder; the output of a command as the page shows it, else nothing."""
    if step.kind in ("edit", "drop"):
        file = folder / step.file
        change = edited if step.kind == "edit" else without
        file.write_text(change(file.read_text(encoding="utf-8"), step.text), encoding="utf-8")
        return ""
    if step.kind == "picture":
        return ""
    ran = subprocess.run(
        ["sh", "-c", step.text], cwd=folder, env=surroundings(), stdin=subprocess.DEVNULL, capture_output=True
    )
    if ran.returncode:
        raise RuntimeError(f"$ {step.text}\nended with {ran.returncode}:\n{ran.stderr.decode()}")
    output = settled(ran.stdout.decode("utf-8"))
    try:
        return shown(output, step.show)
    except ValueError as error:
        return f"{error}\n{output}"


def main() -> int:
    """Run the page; 0 when it is written, or tells the truth."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--check", action="store_true", help="write nothing, say where the page differs")
    given = parser.parse_args()
    page = PAGE.read_text(encoding="utf-8")
    pieces, at, wrong = [], 0, 0
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        launcher(folder)
        for step in steps(page):
            output = done(step, folder)
            if step.kind == "picture" and not given.check:
                made, kept = step.text.split()
                shutil.copyfile(folder / made, ROOT / "docs" / kept)
            if step.kind != "command":
                continue
            print(f"$ {step.text}", file=sys.stderr)
            pieces += [page[at : step.span[0]], output]
            at = step.span[1]
            if given.check and not agree(output, step.output):
                wrong += 1
                print(f"docs/tutorial.md is stale at: {step.text}")
                print("\n".join(difflib.unified_diff(step.output.split("\n"), output.split("\n"), "page", "now", "")))
    if given.check:
        print("docs/tutorial.md tells the truth." if not wrong else f"{wrong} outputs of docs/tutorial.md are stale.")
    else:
        PAGE.write_text("".join(pieces) + page[at:], encoding="utf-8")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
