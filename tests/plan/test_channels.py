"""Channels on a raster, against the published counts of docs/standards.md, sections 1.4 and 2."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vfod.errors import UsageError
from vfod.plan.channels import Skip, channels_at, channels_in, on_raster, skipped
from vfod.radio.bands import Band, band_named, bands_for

REGION_1 = bands_for(1)

#: Section 2.2: band, region, 5 kHz steps with the edges, 5 kHz steps inside the edges.
STEPS = [
    ("120m", 3, 40, 38),
    ("90m", 1, 41, 39),
    ("75m", 3, 21, 19),
    ("60m", 1, 50, 48),
    ("60m-upper", 1, 12, 10),
    ("49m", 1, 61, 59),
    ("41m", 1, 51, 49),
    ("31m", 1, 101, 99),
    ("25m", 1, 101, 99),
    ("22m", 1, 61, 59),
    ("19m", 1, 141, 139),
    ("16m", 1, 85, 83),
    ("15m", 1, 25, 23),
    ("13m", 1, 81, 79),
    ("11m", 1, 87, 85),
]

#: Section 2.1: band, region, first and last carrier in kHz, their spacing, their number.
CARRIERS = [
    ("lw", 1, 153, 279, 9, 15),
    ("mw", 1, 531, 1602, 9, 120),
    ("mw", 3, 531, 1602, 9, 120),
    ("mw-extended", 1, 1611, 1701, 9, 11),
    ("mw", 2, 540, 1700, 10, 117),
]


@pytest.mark.parametrize(("name", "region", "with_edges", "inside"), STEPS)
def test_steps_of_the_shortwave_bands(name: str, region: int, with_edges: int, inside: int) -> None:
    """Each band has the published number of channels, both edges among them."""
    band = band_named(name, bands_for(region))
    found = channels_in([band])
    assert with_edges == len(found)
    assert inside == sum(band.low < channel.dial < band.high for channel in found)
    assert (band.low, band.high) == (found[0].dial, found[-1].dial)


def test_the_sum_from_49_to_11_metres() -> None:
    """All channels of 49 m to 11 m with 41 m as in Regions 1 and 3: 794 (section 2.2)."""
    names = [name for name, *_ in STEPS[5:]]
    assert ("49m", "11m") == (names[0], names[-1])
    assert len(channels_in([band_named(name, REGION_1) for name in names])) == 794


@pytest.mark.parametrize(("name", "region", "first", "last", "spacing", "count"), CARRIERS)
def test_carriers_of_long_and_medium_wave(
    name: str, region: int, first: int, last: int, spacing: int, count: int
) -> None:
    """First and last carrier and their number; edges off the raster are no channels."""
    found = [channel.dial for channel in channels_in([band_named(name, bands_for(region))])]
    assert (first * 1000, last * 1000, count) == (found[0], found[-1], len(found))
    assert {spacing * 1000} == {b - a for a, b in itertools.pairwise(found)}


def test_digit_sums_of_geneva_carriers() -> None:
    """The digit sum of every carrier of the 9 kHz plan is a multiple of 9 (section 2.1)."""
    for name in ("lw", "mw", "mw-extended"):
        for channel in channels_in([band_named(name, REGION_1)]):
            assert sum(map(int, str(channel.dial // 1000))) % 9 == 0


def test_a_shared_edge_is_one_channel() -> None:
    """60 m ends where the standard-frequency band begins: 50 + 2 - 1 channels."""
    found = channels_in([band_named("60m", REGION_1), band_named("std-5000", REGION_1)])
    assert len(found) == 51
    assert ["std-5000"] == [channel.band for channel in found if channel.dial == 4_995_000]


def test_the_sweep_s_raster_goes_before_the_band_s() -> None:
    """31 m on 10 kHz: 9 400, 9 410 ... 9 900."""
    assert len(channels_in([band_named("31m", REGION_1)], raster=10_000)) == 51


def test_a_band_without_a_channel_is_refused() -> None:
    """Nothing of 9 401 to 9 404 kHz lies on 5 kHz; that is a mistake, not an empty sweep."""
    band = Band(name="sliver", low=9_401_000, high=9_404_000)
    with pytest.raises(UsageError, match=r"sliver.*no channel on a raster of 5 kHz.*smaller"):
        channels_in([band])


def test_every_band_of_every_region_has_channels() -> None:
    """No band of the tables is lost on its own raster."""
    for region in (1, 2, 3):
        for band in bands_for(region):
            assert channels_in([band])


def test_skip_list_takes_single_frequencies_and_stretches() -> None:
    """A stretch holds both its ends."""
    skip: list[Skip] = [9_420_000, (9_600_000, 9_650_000)]
    found = {channel.dial for channel in channels_in([band_named("31m", REGION_1)], skip=skip)}
    assert len(found) == 101 - 1 - 11
    assert not found & {9_420_000, 9_600_000, 9_625_000, 9_650_000}
    assert found >= {9_415_000, 9_425_000, 9_595_000, 9_655_000}


def test_explicit_channels_are_sorted_named_and_counted_once() -> None:
    found = channels_at([9_420_000, 6_070_000, 9_420_000, 8_000_000], REGION_1, [8_000_000])
    assert [(6_070_000, "49m"), (9_420_000, "31m")] == [(c.dial, c.band) for c in found]


@settings(deadline=None, max_examples=300)
@given(
    st.integers(1, 10_000),
    st.integers(1, 2_000),
    st.integers(1, 500),
    st.integers(-700, 700),
)
def test_a_raster_holds_exactly_the_multiples(
    low: int, width: int, raster: int, anchor: int
) -> None:
    """Against the plain definition, tried on every hertz."""
    high = low + width
    expected = [f for f in range(low, high + 1) if (f - anchor) % raster == 0]
    assert expected == list(on_raster(low, high, raster, anchor))


@settings(deadline=None, max_examples=200)
@given(
    st.lists(st.integers(1, 400), min_size=2, max_size=8, unique=True),
    st.integers(1, 9),
    st.lists(st.integers(1, 400) | st.tuples(st.integers(1, 400), st.integers(1, 400)), max_size=3),
)
def test_counting_identity(edges: list[int], raster: int, skip: list[Skip]) -> None:
    """Channels of touching bands = those of the whole stretch, less the skipped; each just once."""
    edges.sort()
    bands = [
        Band(name=f"b{i}", low=low, high=high, raster=raster)
        for i, (low, high) in enumerate(itertools.pairwise(edges))
    ]
    if not all(on_raster(b.low, b.high, raster) for b in bands):
        return
    whole = on_raster(edges[0], edges[-1], raster)
    expected = [dial for dial in whole if not skipped(dial, skip)]
    assert expected == [channel.dial for channel in channels_in(bands, skip=skip)]
