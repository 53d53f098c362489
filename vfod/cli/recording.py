"""A recording as samples: PCM in a WAV file, by the standard library."""

import wave
from array import array
from pathlib import Path

from vfod.errors import UsageError

#: Samples that are looked at, from the middle of the recording: 20 s at 48 kHz, after which it is
#: the ionosphere and not the length that limits.
MOST = 1_000_000


def samples_of(path: str) -> tuple[list[float], float]:
    """The first channel, between -1 and 1, and the samples a second. UsageError names the file."""
    try:
        with wave.open(str(Path(path)), "rb") as file:
            channels, width, rate = file.getnchannels(), file.getsampwidth(), file.getframerate()
            skipped = max(0, (file.getnframes() - MOST) // 2)
            file.setpos(skipped)
            data = file.readframes(MOST)
    except OSError as error:
        raise UsageError(f"{path}: {error.strerror or error}", remedy="name a WAV file") from None
    except (wave.Error, EOFError, ValueError) as error:
        raise UsageError(
            f"{path}: no recording that can be read ({str(error) or 'it ends too early'})",
            remedy="record WAV with PCM samples",
        ) from None
    whole = len(data) // (width * channels) * width * channels
    return _scaled(data[:whole], width, channels), float(rate)


def _scaled(data: bytes, width: int, channels: int) -> list[float]:
    if width == 1:
        return [(one - 128) / 128 for one in data[::channels]]
    if width == 2:
        # WAV is little-endian (RIFF), and so is every machine this runs on but a few.
        numbers = array("h", data)
        if _BIG:
            numbers.byteswap()
        return [one / 32768 for one in numbers[::channels]]
    step, full = width * channels, float(1 << (8 * width - 1))
    return [
        int.from_bytes(data[at : at + width], "little", signed=True) / full
        for at in range(0, len(data), step)
    ]


_BIG = array("H", b"\0\1")[0] == 1
