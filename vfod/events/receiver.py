"""What was found out about the receiver itself."""

from dataclasses import dataclass

from vfod.events.root import Event
from vfod.origin import Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class CrystalCalibrated(Event):
    """The error of the VFO's crystal was measured, parts per million, positive when it runs fast.

    `deviation` is its standard deviation; from `low` to `high` it lies in 95 of 100 cases.
    `measurements` against carriers that `against` names went in; `temperature` is the box's then,
    degrees Celsius, None where it is not known.
    """

    error: float
    deviation: float
    low: float
    high: float
    measurements: int
    against: str
    temperature: float | None
    by: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class CorrectionTaken(Event):
    """The dial goes by this correction from now on, parts per million.

    `source` is "measured", or "written" where the configuration has a figure of its own.
    """

    correction: float
    source: str


@dataclass(frozen=True, kw_only=True, slots=True)
class OwnSignalsMeasured(Event):
    """On `dials`, of `channels` channels of `sweep`, it is no station that the receiver hears.

    It hears itself, as a pass without the antenna has shown; or, with `images`, what is on the
    image frequency. `levels` say how strong, the dials are hertz.
    """

    sweep: str
    channels: int
    dials: tuple[int, ...]
    levels: tuple[float, ...]
    images: bool
    by: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class LevelWatched(Event):
    """The level detector was read for `seconds` at `dial`, for a table or a settle time.

    `counts` is the median of so many `readings`, as the box counts.
    """

    dial: int
    seconds: float
    readings: int
    counts: int
    by: Origin
