"""Where a receiver may hear itself, or another frequency than the one it is tuned to.

A superhet hears the multiples of its crystals and of its intermediate frequency, and, on the other
side of the oscillator and as far from it, the image. This is arithmetic of where to expect them;
whether they are there is for a pass without the antenna to tell.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from vfod.radio.band_tables import BROADCASTING
from vfod.radio.bands import Band, band_at
from vfod.radio.receiver import Receiver
from vfod.units import format_frequency

#: Half the bandwidth of a receiver for speech with carrier, hertz: what is nearer to where it is
#: tuned is heard.
NEAR = 2500

#: The highest multiple that is told; those above are too weak and too many.
MOST_MULTIPLES = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """A signal of the receiver's own may be heard at `dial`: at `frequency`, because of `why`."""

    dial: int
    frequency: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Image:
    """What is received beside the channel at `dial`: hertz, and the broadcast band it is in."""

    dial: int
    frequency: int
    broadcast: str | None


def predicted(
    receiver: Receiver, dials: Iterable[int], crystals: Sequence[int] = ()
) -> list[Predicted]:
    """The channels near a multiple of a crystal or of the intermediate frequency, ascending."""
    found = []
    for dial in sorted(set(dials)):
        part = receiver.range_at(dial)
        tuned = dial + part.pitch
        sources = [(one, "crystal") for one in crystals]
        if part.intermediate_frequency:
            sources.append((part.intermediate_frequency, "intermediate frequency"))
        for base, name in sources:
            times = round(tuned / base)
            least = 2 if base == part.intermediate_frequency else 1
            if least <= times <= MOST_MULTIPLES and abs(times * base - tuned) <= NEAR:
                why = f"{times} x {name} of {format_frequency(base)}"
                found.append(Predicted(dial=dial, frequency=times * base, why=why))
    return found


def images(receiver: Receiver, dials: Iterable[int], bands: Sequence[Band]) -> list[Image]:
    """The image of each channel; none with a direct receiver, or where it would be below 0 Hz."""
    found = []
    for dial in sorted(set(dials)):
        part = receiver.range_at(dial)
        frequency = dial + part.pitch + 2 * part.mixed
        if not part.mixed or frequency <= 0:
            continue
        band = band_at(frequency, bands)
        name = band.name if band is not None and band.service == BROADCASTING else None
        found.append(Image(dial=dial, frequency=frequency, broadcast=name))
    return found
