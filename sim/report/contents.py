"""The page's list of contents, read off its own sections, so that none is forgotten and none leads nowhere."""

import re

_SECTION = re.compile(r'<section id="([a-z-]+)"[^>]*>\s*<h2[^>]*>([^<]+)</h2>')


def sections(body: str) -> list[tuple[str, str]]:
    """Anchor and heading of each section, in reading order.

    Parameters
    ----------
    body : str
        Markup of the page; texts from outside stand in it escaped and cannot look like a section.
    """
    return [(anchor, " ".join(heading.split())) for anchor, heading in _SECTION.findall(body)]
