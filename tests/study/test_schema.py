"""Keys of a study as rows, documentation and help."""

import tomllib

from sim.study.antennas import ANTENNA_MODELS
from sim.study.feedline import Section, Tee
from sim.study.maker import MakerWords
from sim.study.model import SET_BY_READER, Study
from sim.study.read import read_study
from sim.study.schema import keys_help, keys_markdown, keys_page, study_keys
from sim.study.strong import LEVELS, Strong
from tests.conftest import ROOT


def test_every_field_of_the_models_has_a_row():
    """Nothing that a study may hold is left out of the documentation, nothing of the reader's own is in it."""
    found = {(key.table, key.name) for key in study_keys()}
    assert ("", "title") in found
    for name, field in Study.model_fields.items():
        if name in SET_BY_READER:
            assert ("", name) not in found
        elif name not in ("title", "antenna", "strong", "vary", "limits"):
            table = next(iter(getattr(field.annotation, "__args__", (field.annotation,))))
            for key in set(table.model_fields) - {"parts", "sections", "tee", "direction", "model"}:
                assert (f"[{name}]", key) in found
    for model, antenna in ANTENNA_MODELS.items():
        assert {key for table, key in found if f'"{model}"' in table} == set(antenna.model_fields)
    assert {key for table, key in found if table == "[[strong]]"} == set(Strong.model_fields)
    assert {("[[vary]]", "what"), ("[amplifier.parts]", "NAME"), ("[limits]", "NAME")} <= found
    for table, model in (
        ("[[feedline.sections]]", Section),
        ("[feedline.tee]", Tee),
        ("[amplifier.model]", MakerWords),
    ):
        assert {key for name, key in found if name == table} == set(model.model_fields)
    assert len(found) == len(study_keys())


def test_every_row_is_whole():
    """Every key says what it means and shows how it is written; a unit is none that nobody reads."""
    for key in study_keys():
        assert key.meaning and key.example and key.table.isprintable(), key
        units = ("", "m", "ohm", "F", "H", "V", "A", "W", "dB", "Hz", "degC", "K", "1", "S/m", "s", "V/m", "dBm")
        assert key.unit in units, key
        assert not (key.required and key.default), key
        tomllib.loads(f"{key.name} = {key.example}")


def test_the_examples_make_a_study(tmp_path):
    """All examples together, one antenna and one kind of noise, are a study that reads."""
    tables: dict[str, list[str]] = {}
    for key in study_keys():
        other = "[antenna]" in key.table and "short-vertical" not in key.table
        one_of = key.table == "[[strong]]" and key.name in ("distance", *LEVELS) and key.name != "field"
        if other or one_of or key.table in ("[site.noise]", "[[feedline.sections]]"):
            continue
        name = {"[amplifier.parts]": "Cf", "[limits]": "gain_db"}.get(key.table, key.name)
        tables.setdefault(key.table.split(" ")[0], []).append(f"{name} = {key.example}")
    text = "\n".join("\n".join([table, *lines]) for table, lines in tables.items())
    (tmp_path / "examples.toml").write_text(text, encoding="utf-8")
    study = read_study(tmp_path / "examples.toml")
    assert study.antenna.height == 7.0
    assert study.feedline.tee.choke.value == 220e-6
    assert study.limits["gain_db"].low == 9.0
    assert len(study.vary[0].values) == 3


def test_markdown_has_one_row_a_key():
    """The table for the documentation is well formed, with a heading for each table of a study."""
    lines = keys_markdown().split("\n")
    rows = [line for line in lines if line.startswith("| `")]
    assert len(rows) == len(study_keys())
    assert all(line.count("|") == 6 for line in rows)
    assert '| `height` | m | must be given | `"7 m"` | height of the conductor |' in rows
    assert '| `gap` | m | `"75 mm"` | `"75 mm"` | length of the insulator at its base |' in rows
    assert [line for line in lines if line.startswith("### ")][:2] == [
        "### Before the first table",
        "### `[amplifier]`",
    ]


def test_help_fits_its_width():
    """No line is wider than asked for, and every key is named at the beginning of one."""
    for width in (80, 120):
        lines = keys_help(width).split("\n")
        assert max(map(len, lines)) <= width
        for key in study_keys():
            assert any(line.startswith(f"  {key.name} = {key.example}") for line in lines)


def test_the_page_in_docs_is_not_stale():
    """docs/study-keys.md is what the models say now."""
    assert (ROOT / "docs" / "study-keys.md").read_text(encoding="utf-8") == keys_page()
