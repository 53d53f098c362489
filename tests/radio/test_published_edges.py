"""Edges of amateur bands by region, and of ADIF's bands, one by one.

docs/standards.md, sections 2.5 and 9: IARU's pages and notices, Article 5 of the Radio Regulations
as transcribed, and the band enumeration of ADIF 3.1.7 (adif.org, 2026-03-22).
"""

import pytest

from vfod.radio.adif_bands import VERSION, adif_band
from vfod.radio.bands import band_named, bands_for

#: Name and edges in kHz in Regions 1, 2 and 3; rows from memory only are left out.
AMATEUR = [
    ("2200m", (135.7, 137.8), (135.7, 137.8), (135.7, 137.8)),
    ("630m", (472, 479), (472, 479), (472, 479)),
    ("160m", (1810, 1850), (1800, 2000), (1800, 2000)),
    ("80m", (3500, 3800), (3500, 4000), (3500, 3900)),
    ("40m", (7000, 7200), (7000, 7300), (7000, 7200)),
    ("30m", (10100, 10150), (10100, 10150), (10100, 10150)),
    ("20m", (14000, 14350), (14000, 14350), (14000, 14350)),
    ("17m", (18068, 18168), (18068, 18168), (18068, 18168)),
    ("15m", (21000, 21450), (21000, 21450), (21000, 21450)),
    ("12m", (24890, 24990), (24890, 24990), (24890, 24990)),
    ("10m", (28000, 29700), (28000, 29700), (28000, 29700)),
    ("6m", (50000, 52000), (50000, 54000), (50000, 54000)),
]

#: Name, lower and upper edge in MHz, as far up as this program may be asked.
ADIF = [
    ("2190m", 0.1357, 0.1378), ("630m", 0.472, 0.479), ("560m", 0.501, 0.504), ("160m", 1.8, 2.0),
    ("80m", 3.5, 4.0), ("60m", 5.06, 5.45), ("40m", 7.0, 7.3), ("30m", 10.1, 10.15),
    ("20m", 14.0, 14.35), ("17m", 18.068, 18.168), ("15m", 21.0, 21.45), ("12m", 24.890, 24.99),
    ("10m", 28.0, 29.7), ("8m", 40, 45), ("6m", 50, 54), ("5m", 54.000001, 69.9), ("4m", 70, 71),
    ("2m", 144, 148), ("1.25m", 222, 225), ("70cm", 420, 450), ("33cm", 902, 928),
    ("23cm", 1240, 1300),
]  # fmt: skip


@pytest.mark.parametrize(("name", "first", "second", "third"), AMATEUR)
def test_amateur_bands_by_region(
    name: str,
    first: tuple[float, float],
    second: tuple[float, float],
    third: tuple[float, float],
) -> None:
    """Each region has its own edges."""
    for region, (low, high) in enumerate((first, second, third), start=1):
        band = band_named(f"{name}-amateur", bands_for(region))
        assert (low * 1000, high * 1000) == (band.low, band.high)


@pytest.mark.parametrize(("name", "low", "high"), ADIF)
def test_the_bands_of_adif(name: str, low: float, high: float) -> None:
    """Both edges are inside; a hertz beyond is in no band, or in the next."""
    assert "3.1.7" == VERSION
    bottom, top = round(low * 1e6), round(high * 1e6)
    assert [name, name] == [adif_band(bottom), adif_band(top)]
    assert name not in (adif_band(bottom - 1), adif_band(top + 1))


def test_broadcasting_has_no_band_in_adif() -> None:
    """But where it shares one with amateurs, as at 7250 kHz, which is 40m by ADIF."""
    assert [None] * 4 == [adif_band(dial) for dial in (6_070_000, 9_420_000, 13_700_000, 198_000)]
    assert "40m" == adif_band(7_250_000)
