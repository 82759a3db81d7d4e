"""Lines of keys, in every way in which TOML lets one write them."""

import textwrap
import tomllib

import pytest

from sim.study.lines import key_lines, line_of


def lines(text):
    """Lines of a text that the standard reader accepts."""
    text = textwrap.dedent(text)
    tomllib.loads(text)
    return key_lines(text)


def test_tables_and_keys():
    """Comments and blank lines count; a table has its header's line."""
    found = lines("""\
        # A study.
        title = "x"   # a key

        [amplifier]  # a table
        opamp = "y"
        [amplifier.parts]
        Cf = "1p"
        """)
    assert found == {
        ("title",): 2,
        ("amplifier",): 4,
        ("amplifier", "opamp"): 5,
        ("amplifier", "parts"): 6,
        ("amplifier", "parts", "Cf"): 7,
    }


def test_dotted_and_quoted_keys():
    """Dots with blanks around them, quotes of both kinds, escapes and dots inside quotes."""
    found = lines("""\
        a . b.c = 1
        "d.e".'f g' = 2
        "\\u0041\\"" = 3
        [ h . "i" ]
        j = 4
        """)
    assert found[("a",)] == found[("a", "b")] == found[("a", "b", "c")] == 1
    assert found[("d.e", "f g")] == 2
    assert found[('A"',)] == 3
    assert found[("h", "i", "j")] == 5


def test_arrays_of_tables():
    """Each element has its line, and what follows belongs to the latest one."""
    found = lines("""\
        [[vary]]
        what = "a"
        [vary.sub]
        key = 1
        [[vary]]
        what = "b"
        [[vary.deep]]
        key = 2
        [[vary.deep]]
        key = 3
        [other]
        key = 4
        """)
    assert found[("vary",)] == found[("vary", 0)] == 1
    assert found[("vary", 0, "what")] == 2
    assert found[("vary", 0, "sub", "key")] == 4
    assert found[("vary", 1)] == 5
    assert found[("vary", 1, "what")] == 6
    assert found[("vary", 1, "deep", 0, "key")] == 8
    assert found[("vary", 1, "deep", 1, "key")] == 10
    assert found[("other", "key")] == 12


def test_arrays_over_many_lines():
    """Every element of a list has its own line, whatever stands between them."""
    found = lines("""\
        values = [ "0",  # a comment with ] and "
          "30 m", 'a ] b',

          [1, 2,
           3], { key = [4,
           5] },
        ]
        after = 1
        """)
    assert [found[("values", n)] for n in range(5)] == [1, 2, 2, 4, 5]
    assert [found[("values", 3, n)] for n in range(3)] == [4, 4, 5]
    assert found[("values", 4, "key", 1)] == 6
    assert found[("after",)] == 8


def test_strings_that_look_like_keys():
    """Nothing inside a string is taken for a key, a table, a comment or an end."""
    found = lines('''\
        a = """
        [no]
        key = 1 \\""" # still inside
        one quote: " two: ""
        ends here: """"
        b = \'\'\'
        [no]
        '' key = 2 \'\'\'\'
        c = "\\" # [ key = 3"
        d = '# [ \\'
        e = 5
        ''')
    assert found == {("a",): 1, ("b",): 6, ("c",): 9, ("d",): 10, ("e",): 11}


def test_values_of_every_kind():
    """Dates with a blank, numbers and words end where the next thing begins."""
    found = lines("""\
        a = 1979-05-27 07:32:00
        b = [1979-05-27 07:32:00, 1e3, -inf, true]
        c = { d = 0x1F, e = "x" }
        f = {}
        g = []
        """)
    assert found[("b", 3)] == 2
    assert found[("c", "e")] == 3
    assert found[("g",)] == 5


def test_other_line_ends_and_separators():
    """Windows line ends count once, and signs that only Unicode calls line ends do not count."""
    assert key_lines("a = 1\r\n\r\nb = 2\r\n") == {("a",): 1, ("b",): 3}
    assert key_lines('a = "\u2028\x85"\nb = 2') == {("a",): 1, ("b",): 2}


def test_no_end_of_line_at_the_end():
    """The last line needs none."""
    assert key_lines("a = 1\n[b]\nc = 'x'") == {("a",): 1, ("b",): 2, ("b", "c"): 3}
    assert key_lines("") == {}


@pytest.mark.parametrize(
    "text",
    ["x=" + "[" * 300 + "]" * 300, "x=[" + "1,\n" * 20_000 + "]", 'x="""' + "\n" * 200_000 + '"""', "\n" * 200_000],
    ids=["deep", "long", "string", "blank"],
)
def test_large_texts(text):
    """What the standard reader takes, this takes, and finds the same keys."""
    assert {(key,) for key in tomllib.loads(text)} <= set(key_lines(text))


def test_line_of_what_is_not_written():
    """A key that is not there has the line of what it would stand in; nothing has none."""
    found = {("a",): 3, ("a", "b"): 5}
    assert line_of(found, ("a", "b")) == 5
    assert line_of(found, ("a", "c", "d")) == 3
    assert line_of(found, ("e",)) is None
    assert line_of(found, ()) is None
