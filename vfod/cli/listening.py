"""Some seconds of the receiver's sound, recorded for a measurement by the configured recorder."""

import subprocess
import sys
import threading
from array import array

from vfod.config.model import VfoConfig
from vfod.device.audio import PROGRAMS
from vfod.errors import UsageError
from vfod.survey.sound import RATE

#: Seconds at the beginning that are not used: the receiver calms down, and the sound is delayed.
CALM = 2.0

#: Seconds that are measured: what a longer record gains is lost in the ionosphere.
SECONDS = 8.0

#: Seconds beyond the record's own length until the recorder is taken for stuck.
_PATIENCE = 10.0

_WIDTH = 2


def listened(settings: VfoConfig) -> tuple[list[float], float]:
    """Samples between -1 and 1, and how many a second; UsageError says why there are none."""
    audio = settings.audio
    if audio is None:
        raise UsageError(
            f"no recorder is named for {settings.name}",
            remedy="write audio: under it, see `vfod config schema`, or use --recording",
        )
    command = [*PROGRAMS[audio.program], audio.device]
    wanted = _WIDTH * round((CALM + SECONDS) * RATE)
    try:
        child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)  # noqa: S603 - the recorder and the device that the configuration names
    except OSError as error:
        raise UsageError(
            f"{audio.program} cannot be started ({error.strerror})", remedy="install it"
        ) from None
    # A recorder whose server hangs gives nothing and does not end.
    stuck = threading.Timer(CALM + SECONDS + _PATIENCE, child.kill)
    stuck.start()
    with child:
        try:
            data = child.stdout.read(wanted) if child.stdout else b""
        finally:
            stuck.cancel()
            child.kill()
        said = child.stderr.read().decode(errors="replace").strip() if child.stderr else ""
    if len(data) < wanted:
        last = said.splitlines()[-1] if said else "without a word"
        raise UsageError(
            f"{audio} ended too early ({last})",
            remedy="if the daemon has the sound card, name one of a sound server, which both can"
            " record from, or use --recording",
        )
    samples = array("h", data)
    if sys.byteorder == "big":
        samples.byteswap()
    return [one / 32768 for one in samples[round(CALM * RATE) :]], float(RATE)
