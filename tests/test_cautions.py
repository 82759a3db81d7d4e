"""What a study is warned of about the noise of its site."""

from sim.steps.cautions import cautions
from sim.study.model import Study


def said(antenna=None, **site):
    """The cautions that a site adds to those of the plain study."""
    plain = {
        "title": "Site",
        "amplifier": {"circuit": "transimpedance", "opamp": "OPA2822"},
        "antenna": antenna or {"model": "short-vertical", "height": "6 m", "radius": "10 mm"},
    }
    before = cautions(Study.model_validate(plain))
    return [text for text in cautions(Study.model_validate({**plain, "site": site})) if text not in before]


def test_nothing_is_said_of_a_level():
    """A quiet day is data of the class, no reason for a warning."""
    assert said(level="lower-decile") == []


def test_galactic_noise_below_its_curve():
    """Counted at 7.05 MHz it lies below the 10 MHz at which its curve begins; bands below foF2 are not named."""
    [text] = said(fof2="5M")
    assert text.startswith("Galactic noise at 7.05 MHz") and "10 MHz" in text


def test_atmospheric_noise_with_its_quality():
    """The quality is stated, and the band past the record's end is named."""
    quality, end = said(atmospheric="50N-10E-july-noon")
    assert "10 dB either way" in quality and "1957-61" in quality
    assert end.startswith("Atmospheric noise at 7.05 MHz") and "7 MHz; its last line" in end


def test_a_bench_source_hears_nothing():
    """With the fixture in place of an antenna there is nothing to say about noise from outside."""
    assert said(antenna={"model": "fixture"}, fof2="5M", atmospheric="50N-10E-july-noon") == []
