"""An order in words, and as what programs and the report read."""

import math
from collections.abc import Mapping

from sim.order.plan import Plan, Tried, driving_rule
from sim.order.prices import Prices, total_price, unknown_names
from sim.order.purchase import Item
from sim.order.spares import ATTRITION_SHARE, LEAST_ATTRITION
from sim.quantity import format_quantity
from sim.summary.wording import interval, listed, measure_name, percent

_CODES = ("c0g", "x7r")
_GAIN, _MATCH, _PHASE = "gain_db", "match_gain_db", "match_phase_deg"


def order_answer(
    plan: Plan, study, scenario: int, choice: Mapping[str, str], digest: str, prices: Prices | None = None
) -> dict:
    """The content of order.json.

    Parameters
    ----------
    plan : Plan
    study : Study
    scenario : int
        Its number.
    choice : mapping of str to str
        Varied keys and what they are in this scenario.
    digest : str
        See :func:`sim.order.mark.study_digest`.
    prices : Prices, optional
    """
    wish, need = plan.wish, plan.need
    total = total_price(prices, plan.items, need.boards) if prices and need.boards else None
    every = [*plan.tried, *([plan.together] if plan.together else [])]
    changes = [_price_change(plan, one, prices, total) for one in every]
    life = money = None
    if wish.life is not None:
        life = {"years": wish.years, "lost_a_year": wish.losses, "boards": wish.life, "confidence": 0.95}
    if total is not None:
        money = {"currency": prices.currency, "total": total.total, "board": prices.board}
        money["unpriced"] = list(total.unpriced)
    return {
        "title": study.title,
        "study_sha256": digest,
        "scenario": scenario,
        "choice": {key: str(value) for key, value in choice.items()},
        "seed": study.run.seed,
        "wanted": {"use": wish.use, "reference": wish.reference, "selection": wish.selection, "good": wish.good},
        "confidence": wish.confidence,
        "boards": need.boards,
        "looked": need.looked,
        "most": wish.most,
        "builds": need.builds,
        "share": need.share,
        "share_low": need.share_low,
        "share_high": need.share_high,
        "good_share": need.good_share,
        "good_low": _known(need.good_low),
        "good_high": _known(need.good_high),
        "independent_boards": plan.independent,
        "hopeless_share": need.hopeless,
        "fails": plan.fails,
        "did_not_simulate": plan.failed,
        "simulated": plan.simulated,
        "items": [_item_entry(item, prices) for item in plan.items],
        "life": life,
        "grades": [_tried_entry(one, change) for one, change in zip(plan.tried, changes, strict=False)],
        "together": _together_entry(plan.together, changes[-1]) if plan.together else None,
        "reruns": plan.reruns,
        "prices": money,
        "verdict": _verdict(plan, choice),
        "notes": [*_notes(plan), *_choice_notes(choice), *_price_notes(plan, prices, total)],
        "grade_notes": _grade_notes(plan, changes, prices),
    }


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _item_entry(item: Item, prices: Prices | None) -> dict:
    each = prices.each(item) if prices else math.nan
    return {
        "parts": list(item.names),
        "sort": item.sort,
        "purpose": item.purpose,
        "value": _known(item.value),
        "value_words": item.value_words,
        "unit_of_value": item.unit,
        "preferred_value": _known(item.preferred),
        "is_preferred": item.is_preferred,
        "grade": item.grade,
        "kind": item.kind.upper() if item.kind in _CODES else item.kind,
        "per_board": item.per_board,
        "soldered": item.soldered,
        "attrition": item.attrition,
        "life_stock": item.life,
        "pieces": item.pieces,
        "metres": item.value * item.pieces if item.sort == "cable" else None,
        "one_lot": item.one_lot,
        "why": item.why,
        "share_gain": item.shares.get(_GAIN),
        "share_match_gain": item.shares.get(_MATCH),
        "share_match_phase": item.shares.get(_PHASE),
        "price_each": _known(each),
        "price_total": _known(each * item.pieces),
    }


def _tried_entry(one: Tried, change: float | None) -> dict:
    (grade,) = one.grades
    named = {"part": grade.part, "was": grade.was, "grade": grade.grade, "tighter": grade.tighter}
    return named | _outcome(one, change)


def _together_entry(one: Tried, change: float | None) -> dict:
    return {"grades": {grade.part: grade.grade for grade in one.grades}} | _outcome(one, change)


def _outcome(one: Tried, change: float | None) -> dict:
    need = one.need
    return {
        "boards": need.boards,
        "looked": need.looked,
        "share": need.share,
        "share_low": need.share_low,
        "share_high": need.share_high,
        "good_share": one.good_share,
        "price_change": change,
    }


def _price_change(plan: Plan, one: Tried, prices: Prices | None, total) -> float | None:
    """By how much the whole order changes with other grades; None where a price is missing."""
    if prices is None or total is None or one.need.boards is None:
        return None
    for grade in one.grades:
        item = next(item for item in plan.items if grade.part in item.names)
        if len(item.names) > 1 or math.isnan(prices.each(item)) or math.isnan(prices.each(item, grade.grade)):
            return None
        if prices.piece.get(grade.part, {}).keys() <= {""}:
            return None  # one price for all grades is no price of this one
    bought = {grade.part: grade.grade for grade in one.grades}
    return total_price(prices, one.items, one.need.boards, bought).total - total.total


# ---------------------------------------------------------------------- words


def _boards(count: int) -> str:
    return f"{count} board" + "s" * (count != 1)


def _of_what(plan: Plan) -> str:
    wish = plan.wish
    more = [f"{wish.use} to use"]
    more += [f"{wish.selection} more to choose from"] if wish.selection else []
    more += ["1 to keep untouched as a reference"] if wish.reference else []
    return f"{wish.good} good ones" + (f" ({listed(more)})" if len(more) > 1 else "")


def _verdict(plan: Plan, choice: Mapping) -> list[str]:
    need, wish = plan.need, plan.wish
    chosen = listed([f"{key} = {value}" for key, value in choice.items()])
    for_choice = f" with {chosen}" if chosen else ""
    asked, ends = f"{100 * wish.confidence:g} %", interval(need.share_low, need.share_high)
    whole = f"{need.builds} simulated builds"
    if need.boards is not None:
        told = [
            f"Build {_boards(need.boards)}{for_choice}: {_of_what(plan)} were among them in {percent(need.share)} of"
            f" {whole} (95 % interval {ends}; {asked} asked)."
        ]
    else:
        told = [
            f"No: no number of boards up to {need.looked if not need.hopeless else wish.most} gives {_of_what(plan)}"
            f"{for_choice} in {asked} of builds; with {need.looked} there were as many in {percent(need.share)} of"
            f" {whole} (95 % interval {ends}).",
            _why_not(plan),
        ]
    if need.boards is not None:
        told.append(
            f"{percent(need.good_share)} of boards are good (95 % interval {interval(need.good_low, need.good_high)})."
            + _beside(plan)
        )
    if plan.fails:
        outside = [f"{measure_name(name)} ({percent(share)} of boards)" for name, share in list(plan.fails.items())[:3]]
        told.append(f"What boards fail: {listed(outside)}.")
    if plan.outside:
        told.append(
            f"The nominal board itself is outside {listed([measure_name(name) for name in plan.outside])}: mend the"
            " design first, no grade does."
        )
    if plan.failed:
        told.append(
            f"{plan.failed} of {plan.simulated} simulated boards did not simulate and count as bad; the first:"
            f" {plan.reason}."
        )
    return told


def _beside(plan: Plan) -> str:
    """What independence would say."""
    if plan.independent is None or plan.need.boards is None:
        return ""
    if plan.independent == plan.need.boards:
        return " Were each good or bad by itself, the number would be the same."
    return (
        f" Were each good or bad by itself, {plan.independent} would do; boards of one build share their lots, and are"
        " good or bad together."
    )


def _why_not(plan: Plan) -> str:
    need = plan.need
    if plan.independent is not None:
        hopeless = f" ({percent(need.hopeless)} of builds)" if need.hopeless > 0 else ""
        return (
            f"{percent(need.good_share)} of boards are good, and were each good or bad by itself, {plan.independent}"
            " would do. But boards of one build share their lots: where a lot is off, too few are good whatever their"
            f" number{hopeless}. More boards of the same lots do not help: measure a lot before it is built in, take a"
            " tighter grade, or widen the limit."
        )
    return f"Too few boards are good: {percent(need.good_share)}. Mend the design or widen the limit first."


def _notes(plan: Plan) -> list[str]:
    notes = [
        "How a tolerance splits into lot and piece is an assumption (from memory, no source), and the number of boards"
        " rests on it; spreads of op-amps are estimates."
    ]
    if plan.items:
        notes.append(
            f"Pieces include what gets lost on the way: {100 * ATTRITION_SHARE:.0f} % and at least {LEAST_ATTRITION} of"
            " each (common practice, no source)."
        )
        if plan.not_bought:
            notes.append(f"Not on the list, since the study gives them and not the circuit: {listed(plan.not_bought)}.")
        life = plan.wish.life
        if life is None:
            notes.append("Stock for later years is left out: add --years and --losses.")
        else:
            notes.append(
                f"Op-amps and what must come from one lot are bought for {_boards(life)} more:"
                f" {plan.wish.losses:g} lost a year, {plan.wish.years:g} years, enough in 95 % of cases (Poisson)."
            )
    for item in plan.items:
        if not item.is_preferred:
            notes.append(
                f"{listed(item.names)}: {item.value_words} is not a stocked value (IEC 60063); the nearest is"
                f" {format_quantity(item.preferred, item.unit)}. The boards were counted with the study's own."
            )
    cables = [item for item in plan.items if item.sort == "cable"]
    for item in cables:
        metres = f"{item.value * item.pieces:g} m"
        notes.append(
            f"Cable: {item.pieces} × {format_quantity(item.value, 'm')} of {item.names[0]}, {metres}; waste and"
            " connectors left out."
        )
    return notes


def _choice_notes(choice: Mapping) -> list[str]:
    return ["The study compares choices; this order is for one of them, others with --scenario."] if choice else []


def _price_notes(plan: Plan, prices: Prices | None, total) -> list[str]:
    if prices is None or total is None:
        return []
    money = _money(total.total, prices)
    notes = [f"Price: {money}" + (f", without {listed(total.unpriced)}." if total.unpriced else ".")]
    unknown = unknown_names(prices, plan.items)
    if unknown:
        notes.append(f"Prices of nothing on the list: {listed(unknown)}.")
    return notes


def _money(value: float, prices: Prices) -> str:
    return f"{value:.2f} {prices.currency}".strip()


def _grade_notes(plan: Plan, changes, prices: Prices | None) -> list[str]:
    notes = []
    told = [_grade_told(plan, one) for one in plan.tried]
    if plan.together is not None:
        told.append(_together_told(plan, plan.together))
    for said, change in zip(told, changes, strict=True):
        cost = ""
        if change is not None:
            cost = f" The order then costs {_money(abs(change), prices)} {'more' if change >= 0 else 'less'}."
        notes.append(said + cost)
    if plan.tried:
        notes.append(
            f"Run again with the same random numbers: {driving_rule()}, in the next usual grades;"
            f" {plan.reruns} re-runs of {plan.need.builds} builds."
            + (f" Not run, though they drive: {listed(plan.untried)}." if plan.untried else "")
            + " Every other part on the list makes less of any spread."
            + ("" if plan.together else " One grade was changed at a time.")
        )
        own = plan.need.boards
        if own and any(one.need.boards and abs(one.need.boards - own) == 1 for one in plan.tried):
            notes.append(f"A difference of one board may be chance: {plan.need.builds} builds cannot tell it for sure.")
    return notes


def _grade_told(plan: Plan, one: Tried) -> str:
    (grade,) = one.grades
    own, then = plan.need.boards, one.need.boards
    shares = f"{percent(one.good_share)} of boards good instead of {percent(plan.need.good_share)}"
    if own is None:
        if then is None:
            return f"{grade.part} at {grade.grade} instead of {grade.was}: still no number of boards ({shares})."
        return f"{grade.part} at {grade.grade} instead of {grade.was} mends it: {_boards(then)} ({shares})."
    if then is None:
        return (
            f"{grade.part} must not be {grade.grade}: no number of boards up to {plan.wish.most} would do ({shares})."
        )
    if then == own:
        if grade.tighter:
            return f"{grade.part} at {grade.grade} instead of {grade.was} saves no board: still {own} ({shares})."
        return f"{grade.part} may be {grade.grade}: boards needed stay {own} ({shares})."
    return f"{grade.part} at {grade.grade} instead of {grade.was}: {_boards(then)} instead of {own} ({shares})."


def _together_told(plan: Plan, one: Tried) -> str:
    own, then = plan.need.boards, one.need.boards
    grades = listed([f"{grade.part} at {grade.grade}" for grade in one.grades])
    shares = f"{percent(one.good_share)} of boards good instead of {percent(plan.need.good_share)}"
    if own is None:
        if then is None:
            return f"Even together, {grades}: no number of boards ({shares})."
        return f"Together, {grades} mend it: {_boards(then)} ({shares})."
    if then is None:
        return f"Not all of them together: with {grades} no number up to {plan.wish.most} will do ({shares})."
    if then == own:
        return f"All of them together, {grades}: boards needed stay {own} ({shares})."
    return f"All of them together, {grades}: {_boards(then)} instead of {own} ({shares})."
