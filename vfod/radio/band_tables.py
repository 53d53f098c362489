"""The bands of the ITU regions as data: one row per band, with its source and how sure it is.

Edges are written in kilohertz, as the tables print them, and turned into whole hertz once.
Marks: F read at the publisher; F2 read in a transcription of the standard; C computed; M from
memory.
docs/standards.md says which document stands behind which row.
"""

from decimal import Decimal
from typing import NamedTuple

#: Shortwave broadcasters keep to multiples of 5 kHz; long and medium wave differ by region.
HF_RASTER = 5_000
MF_RASTER = 9_000
MF_RASTER_REGION_2 = 10_000

BROADCASTING = "broadcasting"
STANDARD_FREQUENCY = "standard-frequency"
AMATEUR = "amateur"
SERVICES = (BROADCASTING, STANDARD_FREQUENCY, AMATEUR)

ARTICLE_5 = "ITU Radio Regulations Article 5, as transcribed in national tables"
GENEVA_75 = "ITU regional plan Geneva 1975 (LF/MF broadcasting, Regions 1 and 3)"
CFR_73 = "47 CFR 73.14"
IARU_1 = "IARU Region 1 spectrum page quoting Article 5"
IARU_WRC_19 = "IARU notice on WRC-19"
ADIF = "ADIF 3.1.7 Band enumeration"


class Row(NamedTuple):
    """A band in some regions; `regions` is the digits of the ITU regions it holds in."""

    name: str
    regions: str
    low_khz: str
    high_khz: str
    service: str
    raster: int
    mark: str
    source: str

    @property
    def low(self) -> int:
        """Lower edge in hertz."""
        return int(Decimal(self.low_khz) * 1000)

    @property
    def high(self) -> int:
        """Upper edge in hertz."""
        return int(Decimal(self.high_khz) * 1000)


def _broadcasting(name: str, regions: str, low: str, high: str, mark: str = "F2") -> Row:
    return Row(name, regions, low, high, BROADCASTING, HF_RASTER, mark, ARTICLE_5)


def _standard(name: str, regions: str, low: str, high: str, mark: str = "F2") -> Row:
    return Row(name, regions, low, high, STANDARD_FREQUENCY, HF_RASTER, mark, ARTICLE_5)


def _amateur(
    name: str,
    regions: str,
    low: str,
    high: str,
    mark: str = "F2",
    source: str = ARTICLE_5,
    raster: int = HF_RASTER,
) -> Row:
    return Row(f"{name}-amateur", regions, low, high, AMATEUR, raster, mark, source)


ROWS: tuple[Row, ...] = (
    Row("lw", "1", "148.5", "283.5", BROADCASTING, MF_RASTER, "F2", GENEVA_75),
    Row("mw", "13", "526.5", "1606.5", BROADCASTING, MF_RASTER, "F2", GENEVA_75),
    # The carriers 1611 to 1701 kHz are F2; the upper edge is theirs plus half a raster.
    Row("mw-extended", "13", "1606.5", "1705.5", BROADCASTING, MF_RASTER, "C", GENEVA_75),
    Row("mw", "2", "535", "1705", BROADCASTING, MF_RASTER_REGION_2, "F", CFR_73),
    _broadcasting("120m", "1", "2300", "2498", "M"),
    _broadcasting("120m", "23", "2300", "2495"),
    _broadcasting("90m", "123", "3200", "3400"),
    Row("75m", "1", "3950", "4000", BROADCASTING, HF_RASTER, "F", IARU_1),
    Row("75m", "3", "3900", "4000", BROADCASTING, HF_RASTER, "F", IARU_1),
    # The standard-frequency band at 5 MHz cuts the tropical 60 m band in two.
    _broadcasting("60m", "123", "4750", "4995"),
    _broadcasting("60m-upper", "123", "5005", "5060"),
    _broadcasting("49m", "123", "5900", "6200"),
    _broadcasting("41m", "13", "7200", "7450"),
    _broadcasting("41m", "2", "7300", "7400"),
    _broadcasting("31m", "123", "9400", "9900"),
    _broadcasting("25m", "123", "11600", "12100"),
    _broadcasting("22m", "123", "13570", "13870"),
    _broadcasting("19m", "123", "15100", "15800"),
    _broadcasting("16m", "123", "17480", "17900"),
    _broadcasting("15m", "123", "18900", "19020"),
    _broadcasting("13m", "123", "21450", "21850"),
    _broadcasting("11m", "123", "25670", "26100"),
    _standard("std-20", "123", "19.95", "20.05", "M"),
    _standard("std-2500", "1", "2498", "2501", "M"),
    _standard("std-2500", "23", "2495", "2501", "M"),
    _standard("std-5000", "123", "4995", "5003"),
    _standard("std-10000", "123", "9995", "10003"),
    _standard("std-15000", "123", "14990", "15005"),
    _standard("std-20000", "123", "19995", "20010"),
    _standard("std-25000", "123", "24990", "25005"),
    # Narrower than the shortwave raster: 5 kHz would leave them no channel, or one.
    _amateur("2200m", "123", "135.7", "137.8", "F", IARU_1, raster=100),
    _amateur("630m", "123", "472", "479", "F2", ADIF, raster=1_000),
    _amateur("160m", "1", "1810", "1850"),
    _amateur("160m", "23", "1800", "2000"),
    _amateur("80m", "1", "3500", "3800", "F", IARU_1),
    _amateur("80m", "2", "3500", "4000", "F", IARU_1),
    _amateur("80m", "3", "3500", "3900", "F", IARU_1),
    _amateur("40m", "13", "7000", "7200"),
    _amateur("40m", "2", "7000", "7300"),
    _amateur("30m", "123", "10100", "10150"),
    _amateur("20m", "123", "14000", "14350"),
    _amateur("17m", "123", "18068", "18168"),
    _amateur("15m", "123", "21000", "21450"),
    _amateur("12m", "123", "24890", "24990"),
    _amateur("10m", "123", "28000", "29700"),
    _amateur("6m", "1", "50000", "52000", "F", IARU_WRC_19),
    _amateur("6m", "23", "50000", "54000", "F", IARU_WRC_19),
    _amateur("2m", "1", "144000", "146000", "M"),
    _amateur("2m", "23", "144000", "148000", "M"),
)
