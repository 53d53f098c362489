"""Standard-frequency carriers: what a crystal can be compared with, and when.

Frequencies by the annex to ITU-R TF.768 and the operators' own pages; all were on the air in 2026.
The accuracy of each is far beyond what arrives on short wave, where the ionosphere moves a carrier
by some parts in 10^8 (brochure of NICT on JJY), so it is not kept here.
"""

from dataclasses import dataclass

#: What the ionosphere does to a short-wave carrier in the long run, as a fraction.
IONOSPHERE = 1e-8

#: Below this a carrier arrives by ground wave for the most part, hertz.
SHORT_WAVE = 1_600_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Carrier:
    """A carrier of `frequency` hertz.

    `minutes` are those of an hour in which it is plain, None where the carrier stands all the
    time beside its modulation.
    """

    station: str
    place: str
    frequency: int
    minutes: frozenset[int] | None = None

    @property
    def limit(self) -> float:
        """The best that a comparison can be, as a fraction."""
        return IONOSPHERE if self.frequency >= SHORT_WAVE else IONOSPHERE / 100

    def plain_at(self, minute: int) -> bool:
        """Whether the carrier can be measured in that minute of the hour."""
        return self.minutes is None or minute in self.minutes


def _carriers() -> tuple[Carrier, ...]:
    # Half an hour at RWM: plain carrier, pause, identification, pulses, pulses.
    plain = frozenset({*range(8), *range(30, 38)})
    table: tuple[tuple[str, str, tuple[int, ...], frozenset[int] | None], ...] = (
        ("MSF", "Anthorn", (60_000,), None),
        ("DCF77", "Mainflingen", (77_500,), None),
        ("ALS162", "Allouis", (162_000,), None),
        ("WWV", "Colorado", (2_500_000, 5_000_000, 10_000_000, 15_000_000, 20_000_000), None),
        ("WWVH", "Hawaii", (2_500_000, 5_000_000, 10_000_000, 15_000_000), None),
        ("BPM", "China", (2_500_000, 5_000_000, 10_000_000, 15_000_000), None),
        ("CHU", "Ottawa", (3_330_000, 7_850_000, 14_670_000), None),
        ("RWM", "Moscow", (4_996_000, 9_996_000, 14_996_000), plain),
        ("HLA", "Korea", (5_000_000,), None),
    )
    return tuple(
        Carrier(station=station, place=place, frequency=frequency, minutes=minutes)
        for station, place, frequencies, minutes in table
        for frequency in frequencies
    )


#: Every carrier, station by station.
CARRIERS = _carriers()


def carriers_on(frequency: int) -> tuple[Carrier, ...]:
    """The stations that share a carrier frequency in hertz."""
    return tuple(carrier for carrier in CARRIERS if carrier.frequency == frequency)
