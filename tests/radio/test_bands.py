"""Band tables against the published edges and counts of docs/standards.md, sections 2 and 9."""

import itertools
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vfod.errors import UsageError
from vfod.radio.band_tables import AMATEUR, STANDARD_FREQUENCY
from vfod.radio.bands import (
    REGIONS,
    Band,
    band_at,
    band_named,
    bands_for,
    chain,
    crossed,
    neighbour,
)
from vfod.units import wavelength

#: Section 2.2: name, regions, edges in kHz (transcribed from national tables of Article 5).
HF_BROADCASTING = [
    ("120m", (2, 3), 2300, 2495),
    ("90m", (1, 2, 3), 3200, 3400),
    ("75m", (1,), 3950, 4000),
    ("75m", (3,), 3900, 4000),
    ("60m", (1, 2, 3), 4750, 4995),
    ("60m-upper", (1, 2, 3), 5005, 5060),
    ("49m", (1, 2, 3), 5900, 6200),
    ("41m", (1, 3), 7200, 7450),
    ("41m", (2,), 7300, 7400),
    ("31m", (1, 2, 3), 9400, 9900),
    ("25m", (1, 2, 3), 11600, 12100),
    ("22m", (1, 2, 3), 13570, 13870),
    ("19m", (1, 2, 3), 15100, 15800),
    ("16m", (1, 2, 3), 17480, 17900),
    ("15m", (1, 2, 3), 18900, 19020),
    ("13m", (1, 2, 3), 21450, 21850),
    ("11m", (1, 2, 3), 25670, 26100),
]

#: Section 2.1: name, region, edges in kHz.
LF_MF_BROADCASTING = [
    ("lw", 1, 148.5, 283.5),
    ("mw", 1, 526.5, 1606.5),
    ("mw", 3, 526.5, 1606.5),
    ("mw", 2, 535, 1705),
]

#: Section 2.4, the standard-frequency column, rows marked F2.
STANDARD_FREQUENCY_BANDS = [
    ("std-5000", 4995, 5003),
    ("std-10000", 9995, 10003),
    ("std-15000", 14990, 15005),
    ("std-20000", 19995, 20010),
    ("std-25000", 24990, 25005),
]

#: Section 9.1: the ADIF 3.1.7 Band enumeration, MHz, by the names the tables here use.
ADIF_BANDS = {
    "2200m": (0.1357, 0.1378),
    "630m": (0.472, 0.479),
    "160m": (1.8, 2.0),
    "80m": (3.5, 4.0),
    "40m": (7.0, 7.3),
    "30m": (10.1, 10.15),
    "20m": (14.0, 14.35),
    "17m": (18.068, 18.168),
    "15m": (21.0, 21.45),
    "12m": (24.890, 24.99),
    "10m": (28.0, 29.7),
    "6m": (50.0, 54.0),
    "2m": (144.0, 148.0),
}

#: Section 2.3: edge in kHz and its wavelength in metres, to the centimetre (c / f).
EDGE_WAVELENGTHS = [
    (2300, 130.34), (2495, 120.16), (3200, 93.69), (3400, 88.17), (3900, 76.87), (4000, 74.95),
    (4750, 63.11), (4995, 60.02), (5060, 59.25), (5900, 50.81), (6200, 48.35), (7200, 41.64),
    (7450, 40.24), (9400, 31.89), (9900, 30.28), (11600, 25.84), (12100, 24.78), (13570, 22.09),
    (13870, 21.61), (15100, 19.85), (15800, 18.97), (17480, 17.15), (17900, 16.75),
    (18900, 15.86), (19020, 15.76), (21450, 13.98), (21850, 13.72), (25670, 11.68),
    (26100, 11.49),
]  # fmt: skip

#: Section 13: kHz and metres to a tenth of a millimetre (c / f).
WAVELENGTHS = [
    (60, 4996.5410), (77.5, 3868.2898), (153, 1959.4278), (162, 1850.5707), (198, 1514.1033),
    (279, 1074.5249), (531, 564.5809), (1602, 187.1364), (2500, 119.9170), (3330, 90.0278),
    (5000, 59.9585), (7200, 41.6378), (9400, 31.8928), (9900, 30.2821), (10000, 29.9792),
    (15000, 19.9862), (20000, 14.9896), (25000, 11.9917), (25670, 11.6787), (26965, 11.1178),
    (27405, 10.9393), (5950, 50.3853),
]  # fmt: skip


def test_hf_broadcasting_edges_are_those_of_article_5() -> None:
    """Every shortwave broadcasting band has its published edges in its regions, and no others."""
    for region in REGIONS:
        table = bands_for(region)
        for name, regions, low, high in HF_BROADCASTING:
            if region in regions:
                band = band_named(name, table)
                assert (low * 1000, high * 1000) == (band.low, band.high), (region, name)
    assert all(band.name != "75m" for band in bands_for(2))


@pytest.mark.parametrize(("name", "region", "low", "high"), LF_MF_BROADCASTING)
def test_long_and_medium_wave_edges(name: str, region: int, low: float, high: float) -> None:
    """Long and medium wave have the edges of Geneva 1975 and of 47 CFR 73.14."""
    band = band_named(name, bands_for(region))
    assert (low * 1000, high * 1000) == (band.low, band.high)


@pytest.mark.parametrize("region", REGIONS)
def test_standard_frequency_edges(region: int) -> None:
    """The standard-frequency bands around 5, 10, 15, 20 and 25 MHz have their published edges."""
    table = bands_for(region)
    for name, low, high in STANDARD_FREQUENCY_BANDS:
        band = band_named(name, table)
        assert STANDARD_FREQUENCY == band.service
        assert (low * 1000, high * 1000) == (band.low, band.high)


def test_amateur_bands_lie_inside_the_adif_table() -> None:
    """No region's amateur band reaches outside ADIF's band of that name; together they fill it."""
    widest: dict[str, tuple[int, int]] = {}
    for region in REGIONS:
        for band in bands_for(region):
            if band.service == AMATEUR:
                name = band.name.removesuffix("-amateur")
                low, high = widest.get(name, (band.low, band.high))
                widest[name] = (min(low, band.low), max(high, band.high))
    expected = {
        name: (round(low * 1e6), round(high * 1e6)) for name, (low, high) in ADIF_BANDS.items()
    }
    assert expected == widest


@pytest.mark.parametrize(("khz", "metres"), EDGE_WAVELENGTHS)
def test_wavelengths_of_band_edges(khz: int, metres: float) -> None:
    """The wavelength of a band edge is c / f, to the centimetre of section 2.3."""
    assert math.isclose(metres, wavelength(khz * 1000), abs_tol=0.005)


@pytest.mark.parametrize(("khz", "metres"), WAVELENGTHS)
def test_wavelengths_of_well_known_frequencies(khz: float, metres: float) -> None:
    """Wavelengths of section 13, to a tenth of a millimetre."""
    assert math.isclose(metres, wavelength(round(khz * 1000)), abs_tol=0.00005)


def test_published_wavelength_of_162_khz() -> None:
    """162 kHz is 1850.5707284 m, the one figure found printed elsewhere (section 13)."""
    assert math.isclose(1850.5707284, wavelength(162_000), abs_tol=5e-8)


def test_names_are_not_computed_from_wavelengths() -> None:
    """19 m lies nowhere at 15 830 kHz (out of band); 15 m is 15.86 to 15.76 m long (traps 1, 2)."""
    table = bands_for(1)
    assert band_at(15_830_000, table) is None
    band = band_named("15m", table)
    assert 15 < wavelength(band.high) < wavelength(band.low) < 16


@pytest.mark.parametrize("region", REGIONS)
def test_no_two_bands_of_a_region_overlap(region: int) -> None:
    """Within a region every frequency has at most one band, and names are unique."""
    table = sorted(bands_for(region), key=lambda band: band.low)
    assert len(table) == len({band.name for band in table})
    for lower, upper in itertools.pairwise(table):
        assert lower.high <= upper.low, (lower, upper)


def test_every_row_tells_its_source_and_mark() -> None:
    """A fact without a source is not in the tables."""
    for region in REGIONS:
        for band in bands_for(region):
            assert band.source
            assert band.mark in ("F", "F2", "C", "M")


def test_a_shared_edge_belongs_to_the_band_that_begins_there() -> None:
    """4 995 kHz ends 60 m and begins the standard-frequency band; it has one answer."""
    table = bands_for(1)
    assert [
        "60m",
        "std-5000",
        "std-5000",
        None,
    ] == [
        band.name if (band := band_at(dial, table)) else None
        for dial in (4_994_999, 4_995_000, 5_003_000, 5_003_001)
    ]


def test_crossings_tell_what_was_left_and_entered() -> None:
    """A move within a band is none; one over an edge names both sides; the first has no left."""
    table = bands_for(1)
    mid, top, out, other = 9_500_000, 9_900_000, 9_901_000, 11_700_000
    assert crossed(mid, top, table) is None
    assert crossed(out, out + 1000, table) is None

    def names(before: int | None, after: int) -> tuple[str | None, str | None]:
        found = crossed(before, after, table)
        assert found is not None
        return (
            found.left.name if found.left else None,
            found.entered.name if found.entered else None,
        )

    assert ("31m", None) == names(top, out)
    assert (None, "31m") == names(out, top)
    assert ("31m", "25m") == names(mid, other)
    assert (None, "31m") == names(None, mid)


def test_the_next_band_is_one_of_the_same_service() -> None:
    """Above 31m comes 25m, although an amateur and a standard-frequency band lie between."""
    table = bands_for(1)
    band = band_named("31m", table)
    up, down = neighbour(band, 1, table), neighbour(band, -1, table)
    assert up is not None
    assert down is not None
    assert ("25m", "41m") == (up.name, down.name)
    assert neighbour(band_named("11m", table), 1, table) is None
    assert neighbour(band_named("lw", table), -1, table) is None


def test_the_next_band_from_a_frequency_between_bands() -> None:
    """From 8 MHz, up is 31m and down is 41m."""
    table = bands_for(1)
    up, down = neighbour(8_000_000, 1, table), neighbour(8_000_000, -1, table)
    assert up is not None
    assert down is not None
    assert ("31m", "41m") == (up.name, down.name)


# --- own bands -----------------------------------------------------------------------------------


def test_an_own_band_replaces_the_one_of_its_name_and_wins_over_others() -> None:
    """Own 31m goes up to 9 990 kHz; own `low-31` hides the lower part of the table's 31m."""
    wide = Band(name="31m", low=9_300_000, high=9_990_000)
    table = bands_for(1, [wide])
    assert wide == band_named("31m", table)
    assert wide == band_at(9_950_000, table)
    part = Band(name="low-31", low=9_350_000, high=9_500_000)
    table = bands_for(1, [part])
    assert part == band_at(9_450_000, table)
    assert part == band_at(9_500_000, table)
    above = band_at(9_500_001, table)
    assert above is not None
    assert above.name == "31m"


def test_overlapping_own_bands_are_refused_with_both_names() -> None:
    """The complaint names both bands and the edge to move."""
    own = [
        Band(name="alpha", low=6_200_000, high=6_400_000),
        Band(name="beta", low=6_300_000, high=6_500_000),
    ]
    with pytest.raises(UsageError, match=r"alpha .* and beta .* overlap.*6300 kHz"):
        bands_for(1, own)
    touching = [own[0], replace(own[1], low=6_400_000)]
    assert len(bands_for(1)) + 2 == len(bands_for(1, touching))


def test_an_own_name_given_twice_is_refused() -> None:
    own = [
        Band(name="alpha", low=6_200_000, high=6_300_000),
        Band(name="alpha", low=6_400_000, high=6_500_000),
    ]
    with pytest.raises(UsageError, match="'alpha' is given twice"):
        bands_for(1, own)


def test_an_unknown_band_suggests_the_nearest() -> None:
    """`31` and `31M` lead to 31m; an unknown region says which there are."""
    with pytest.raises(UsageError, match="did you mean 31m"):
        band_named("31M", bands_for(1))
    with pytest.raises(UsageError, match=r"no band 'xyzzy'.*known are"):
        band_named("xyzzy", bands_for(1))
    with pytest.raises(UsageError, match="no ITU region 4"):
        bands_for(4)


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"name": "My Band"}, "no usable name"),
        ({"low": 7_000_000}, "lower edge first"),
        ({"raster": 0}, "raster of 0 Hz"),
        ({"service": "utility"}, "no service"),
    ],
)
def test_a_wrong_band_is_refused(changes: dict[str, object], complaint: str) -> None:
    fields: dict[str, object] = {"name": "alpha", "low": 6_200_000, "high": 6_400_000}
    with pytest.raises(UsageError, match=complaint):
        Band(**{**fields, **changes})  # type: ignore[arg-type]  # wrong on purpose


# --- chains --------------------------------------------------------------------------------------


def test_a_chain_meets_midway_rounded_down_to_the_raster() -> None:
    """Between 31 m (to 9 900) and 25 m (from 11 600) the border is 10 750 kHz."""
    table = bands_for(1)
    links = chain([band_named("25m", table), band_named("31m", table)])
    assert [(9_400_000, 10_750_000), (10_750_000, 12_100_000)] == [
        (band.low, band.high) for band in links
    ]
    # 12 100 and 13 570 meet midway at 12 835 kHz; rounded down to 10 kHz that is 12 830.
    links = chain([band_named("25m", table), band_named("22m", table)], raster=10_000)
    assert links[0].high == 12_830_000


def test_a_chain_of_bands_that_touch_keeps_their_edge() -> None:
    """1 606.5 kHz is off the raster of 9 kHz and stays the border, or 1 602 would change sides."""
    table = bands_for(1)
    links = chain([band_named("mw", table), band_named("mw-extended", table)])
    assert (1_606_500, 1_606_500) == (links[0].high, links[1].low)


def test_a_chain_of_overlapping_bands_is_refused() -> None:
    one = Band(name="alpha", low=6_200_000, high=6_400_000)
    with pytest.raises(UsageError, match="overlap"):
        chain([one, replace(one, name="beta", low=6_390_000, high=6_500_000)])


@st.composite
def separate_bands(draw: st.DrawFn) -> list[Band]:
    edges = draw(st.lists(st.integers(1, 30_000_000), min_size=2, max_size=16, unique=True))
    edges = sorted(edges[: len(edges) // 2 * 2])
    return draw(
        st.permutations(
            [
                Band(name=f"b{index}", low=edges[index], high=edges[index + 1])
                for index in range(0, len(edges), 2)
            ]
        )
    )


@settings(deadline=None, max_examples=300)
@given(separate_bands(), st.sampled_from([1, 100, 5_000, 9_000, 10_000]))
def test_chains_have_neither_gap_nor_overlap(bands: list[Band], raster: int) -> None:
    """A chain covers from the lowest to the highest edge once, and every band keeps its own."""
    links = chain(bands, raster)
    ascending = sorted(bands, key=lambda band: band.low)
    assert (ascending[0].low, ascending[-1].high) == (links[0].low, links[-1].high)
    for lower, upper in itertools.pairwise(links):
        assert lower.high == upper.low
    for band, link in zip(ascending, links, strict=True):
        assert band.name == link.name
        assert link.low <= band.low < band.high <= link.high
    for (lower, upper), link in zip(itertools.pairwise(ascending), links, strict=False):
        exact = (lower.high + upper.low) / 2
        assert link.high <= max(exact, lower.high)
        assert link.high > exact - raster - 1
        assert link.high % raster == 0 or link.high == lower.high


def test_the_upper_edge_of_an_own_band_is_its_own() -> None:
    """Also inside a band of the table, which does not begin there."""
    own = Band(name="lower", low=7_200_000, high=7_240_000)
    bands = bands_for(1, [own])
    assert ["lower", "lower", "41m"] == [
        band.name if (band := band_at(dial, bands)) else None
        for dial in (7_200_000, 7_240_000, 7_240_001)
    ]
