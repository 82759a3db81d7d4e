"""A figure's SVG made fit for a page: own names, no size of its own, inks that follow the theme."""

from __future__ import annotations

import re

from sim.plots import inks

_INK = re.compile("|".join(re.escape(value) for value in inks.NAMES.values()), re.IGNORECASE)
_NAME = {value.lower(): f"var(--fig-{name})" for name, value in inks.NAMES.items()}


def inlined(svg: str, name: str, label: str) -> str:
    """The drawing as an ``<svg>`` element for the page.

    Parameters
    ----------
    svg : str
        A file written by this program's figures; nothing else may be passed.
    name : str
        Unique on the page; put before every id, so that figures do not take each other's glyphs and clips.
    label : str
        Read out in place of the drawing; its caption, ``caption-<name>`` on the page, describes it.

    Returns
    -------
    markup : str
        Inks are named colours of the page's style sheet. Comments, metadata and style blocks are gone: the
        first would carry texts from outside into the page unescaped.
    """
    body = svg[svg.index("<svg") :]
    body = re.sub(r"<!--.*?-->|<metadata>.*?</metadata>|<style.*?</style>", "", body, flags=re.DOTALL)
    head, rest = body.split(">", 1)
    box = re.search(r'viewBox="[-0-9. ]+"', head)
    if box is None:
        raise ValueError(f"figure {name} has no viewBox")
    rest = re.sub(r'\bid="', f'id="{name}-', rest)
    rest = re.sub(r'href="#', f'href="#{name}-', rest).replace("url(#", f"url(#{name}-")
    rest = _INK.sub(lambda hit: _NAME[hit.group(0).lower()], rest)
    rest = re.sub(r"\s*\n\s*", "\n", rest).replace("xlink:href", "href")
    names = f'aria-label="{_attribute(label)}" aria-describedby="caption-{_attribute(name)}"'
    return f'<svg role="img" {names} {box.group(0)}>{rest.rstrip()}'


def _attribute(text: str) -> str:
    return text.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;").replace(">", "&gt;")
