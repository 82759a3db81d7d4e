"""The order as a section of the page: boards, purchase table, grades; left out where it is of another study."""

import json
from collections.abc import Mapping
from pathlib import Path

from sim.order.mark import lot_words, study_digest
from sim.plots import words
from sim.report.model import OrderSection, Table

_STALE = (
    "An order was worked out here for another version of this study and is left out: run the command again"
    " (bandfloor order)."
)
_UNREADABLE = "The order that stands here cannot be read and is left out: run the command again (bandfloor order)."


def order_section(out_dir: Path) -> OrderSection:
    """The order of a run's folder; empty where there is none.

    Parameters
    ----------
    out_dir : Path
        Holds study.toml and, where an order was worked out, order.json.
    """
    path = out_dir / "order.json"
    if not path.is_file():
        return OrderSection()
    try:
        answer = json.loads(path.read_text(encoding="utf-8"))
        if answer["study_sha256"] != study_digest((out_dir / "study.toml").read_text(encoding="utf-8")):
            return OrderSection(stale=_STALE)
        grades = _grades(answer)
        return OrderSection(
            verdict=tuple(map(str, answer["verdict"])),
            parts=_parts(answer),
            grades=grades,
            notes=tuple(map(str, (*answer["grade_notes"][len(grades.rows) :], *answer["notes"]))),
        )
    except (ValueError, KeyError, TypeError):
        # A file of an earlier version, or one that was edited: the rest of the page stands without it.
        return OrderSection(stale=_UNREADABLE)


def _parts(answer: Mapping) -> Table:
    priced = answer["prices"] is not None
    currency = f", {answer['prices']['currency']}" if priced and answer["prices"]["currency"] else ""
    columns = ("Part", "What it does", "To buy", "Pieces", "for losses", "for later", "One lot")
    columns = (*columns, "Share of gain's spread", *([f"Price{currency}"] if priced else []))
    rows = []
    for item in answer["items"]:
        names = item["parts"][:-1] if item["sort"] == "op-amp" else item["parts"]
        kind = [] if item["sort"] == "op-amp" else [item["kind"]]
        value = " ".join(filter(None, (item["value_words"], item["grade"], *kind)))
        price = "–" if item["price_total"] is None else f"{item['price_total']:.2f}"
        rows.append(
            (
                ", ".join(name.removeprefix("feedline.tee.") for name in names),
                item["purpose"] or "–",
                value + ("" if item["is_preferred"] else ", not stocked"),
                str(item["pieces"]),
                str(item["attrition"]),
                str(item["life_stock"]),
                lot_words(item),
                "–" if item["share_gain"] is None else words.percent(item["share_gain"]),
                *([price] if priced else []),
            )
        )
    return Table(columns, tuple(rows))


def _grades(answer: Mapping) -> Table:
    """Grades that were run, the study's own first in each row."""
    costs = any(one["price_change"] is not None for one in answer["grades"])
    currency = f", {answer['prices']['currency']}" if costs and answer["prices"]["currency"] else ""
    own = "none" if answer["boards"] is None else str(answer["boards"])
    run = [
        (f"{one['part']} at {one['grade']} instead of {one['was']}", "tighter" if one["tighter"] else "looser", one)
        for one in answer["grades"]
    ]
    together = answer["together"]
    if together is not None:
        named = " and ".join(f"{part} at {grade}" for part, grade in together["grades"].items())
        run.append((named, "looser" if answer["boards"] is not None else "tighter", together))
    rows = [
        (
            grade,
            direction,
            f"{own} → {'none' if one['boards'] is None else one['boards']}",
            f"{words.percent(answer['good_share'])} → {words.percent(one['good_share'])}",
            *([_change(one["price_change"])] if costs else []),
        )
        for grade, direction, one in run
    ]
    head = ("Grade", "It is", "Boards to build", "Boards that are good", *([f"Whole order{currency}"] if costs else []))
    return Table(head, tuple(rows))


def _change(value: float | None) -> str:
    return "–" if value is None else f"{value:+.2f}".replace("-", "−")
