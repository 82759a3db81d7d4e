"""Tables on a terminal."""


def plain_table(*columns, right=(), caption=None):
    """A table of which only the last column is wrapped: what a builder copies into a study stays in one piece."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, caption=caption, caption_justify="left")
    for column in columns:
        last = column == columns[-1]
        table.add_column(column, justify="right" if column in right else "left", overflow="fold", no_wrap=not last)
    return table
