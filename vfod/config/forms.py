"""The shape of the file, key by key: what may stand there, its default, what it is for.

The texts below the keys are shown by editors, through the schema.
What a key's value may look like is in `fields`; what must fit together, in `checks`.
"""

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from vfod.config import fields as f
from vfod.plan.sweep import Order
from vfod.plan.windows import WEEKDAYS
from vfod.radio.bands import REGIONS
from vfod.radio.levels import Source
from vfod.radio.receiver import Crystal, Detector, Injection


def _or_off(value: Any) -> Any:
    return None if value == "off" else value


#: A section that the word `off` may stand for; it is None then.
OFF = BeforeValidator(_or_off)
#: Marks such a section in the schema, where None would otherwise be `null`.
OFF_MARK = "x-off"
_OFF: dict[str, Any] = {OFF_MARK: True}

#: Who has the dial where windows overlap: a watch goes before windows, because it has one chance.
PRIORITY, WATCH_PRIORITY = 0, 100


def _written(default: str) -> Any:
    """A default as it would be written in the file; it is read like everything there."""
    return Field(default=default)


class Form(BaseModel):
    """A section of the file."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, use_attribute_docstrings=True, validate_default=True
    )


class PlaceForm(Form):
    """Where the receiver stands."""

    zone: str = "UTC"
    """Time zone of the windows, a name of the IANA database."""
    region: Annotated[int, f.one_of(*REGIONS)] = 1
    """ITU region, for the table of bands: 1 Europe, Africa and northern Asia, 2 the Americas,
    3 the rest of Asia and Oceania.
    """
    latitude: Annotated[float, f.number(-90, 90, "52.5")] | None = None
    """Degrees, north positive; together with longitude, for the sun."""
    longitude: Annotated[float, f.number(-180, 180, "13.4")] | None = None
    """Degrees, east positive."""


class RangeForm(Form):
    """A part of the receiver's tuning range in which it works in one way."""

    low: f.Frequency = Field(alias="from")
    """Lower end, dial frequency."""
    high: f.Frequency = Field(alias="to")
    """Upper end, dial frequency; the next range begins there."""
    detector: Annotated[Detector, f.one_of(*Detector)]
    """What turns the signal into sound."""
    intermediate_frequency: f.Spacing | None = None
    """Not with a direct detector."""
    injection: Annotated[Injection, f.one_of(*Injection)] = Injection.HIGH
    """Whether the oscillator lies above or below the frequency received."""
    oscillator_per_mixer: f.Ratio = _written("1")
    """Oscillator frequency per frequency at the mixer: 4 where a divider by four follows."""
    offset: f.Shift | None = None
    """Added to the dial; default 0Hz with an envelope detector, else -1k, which puts a carrier
    into the audio range.
    """
    select: Annotated[int, f.whole(0, 15, 3)] | None = None
    """Number of the band filter to switch on."""
    settle: f.Duration | None = None
    """Time to calm down after tuning; default 0.3s with an envelope detector, else 1s; doubled
    after a change of range.
    """
    level_table: f.Levels | None = None
    """What the counts of the level detector mean in this range; default the VFO's own table."""


class SynthesiserForm(Form):
    """A clock generator: its loop multiplies the crystal by a + b/c, an even divider follows."""

    crystal: f.Frequency
    """Frequency of its crystal."""
    loop_from: f.Frequency = _written("600M")
    """Lower end of the range of the loop's oscillator."""
    loop_to: f.Frequency = _written("900M")
    """Upper end of that range."""
    denominator: Annotated[int, f.whole(1, 2**32, 1_048_575)] = 1_048_575
    """The largest denominator c; or the only one, where fixed is true."""
    fixed: f.TrueFalse = False
    """Whether the firmware of the VFO uses that one denominator for every frequency."""
    divider: Annotated[int, f.whole(2, 1_000_000, 900)] = 900
    """The largest output divider."""
    extra: Annotated[int, f.one_of(1, 2, 4, 8, 16, 32, 64, 128)] = 128
    """The largest divider by a power of two behind that one; 1 where there is none."""


class AudioForm(Form):
    """The receiver's sound, as a program records it."""

    program: Annotated[str, f.one_of("arecord", "parec")]
    """What records it: arecord from a sound card, parec from a sound server."""
    device: f.Device
    """The device as the program calls it: plughw:CARD=Device, or the name of a source."""
    delay: f.Duration | None = None
    """By how much the sound is late; default measured each time that it begins, by muting the
    speaker or switching the output some times.
    """


class VfoForm(Form):
    """A VFO and the receiver it drives."""

    port: f.Port
    """Path of the serial device, or socket://host:port."""
    baud: Annotated[int, f.whole(300, 4_000_000, 115200)] = 115_200
    """Bits per second of the serial line."""
    dtr: Annotated[str, f.one_of("on", "off", "leave")] = "on"
    """Control line DTR while the port is open; leave it where the box resets by it."""
    rts: Annotated[str, f.one_of("on", "off", "leave")] = "on"
    """Control line RTS while the port is open."""
    correction: f.Correction = _written("measured")
    """Error of the VFO's crystal, positive when it runs fast; measured is what vfod calibrate
    found last, 0ppm before.
    """
    crystal_drives: Annotated[Crystal, f.one_of(*Crystal)] = Crystal.VFO
    """What hangs on that crystal: the VFO alone, or all oscillators of the receiver."""
    synthesiser: SynthesiserForm | None = None
    """The clock generator that makes the oscillator, for vfod tune --explain and vfod spurs."""
    quiet: f.SomeTime = _written("10m")
    """How long a sweep yields to a hand on the knob or to a person."""
    output: Annotated[str, f.one_of("on", "windows", "leave")] = "on"
    """on: switched on whenever the box is reached, and left on. windows: on while a window is
    open, off outside of windows and when the daemon stops. leave: never switched by the daemon
    itself. In all three a low battery switches it off."""
    speaker: Annotated[str, f.one_of("mute-in-sweeps", "leave")] = "mute-in-sweeps"
    """What happens to the speaker, where the box can mute it."""
    afterwards: f.Afterwards = "return"
    """Where the dial goes when a window closes: return to where it was, leave it on the last
    channel, or a frequency to park on.
    """
    own_signals: list[f.Skipped] = []
    """Where the receiver hears itself, single frequencies or stretches: nothing there is ever
    taken for a station.
    """
    level_table: f.Levels | None = None
    """Counts of the level detector and what they mean, rising or falling, like
    {200: -110dBm, 900: -20dBm}; in dB where the chain is not calibrated. Default 0.1 dB a count.
    """
    audio: AudioForm | None = None
    """The receiver's sound, for levels; default none is recorded."""
    level_from: Annotated[Source, f.one_of(*Source)] | None = None
    """Where levels come from: box, audio, both (the box says how strong, either says that something
    is there), or none; default audio where there is one, else box.
    """
    receiver: list[RangeForm] | None = None
    """The receiver in ranges without gap or overlap. Without it the dial is the oscillator:
    a direct range with offset 0Hz over all that the box can tune.
    """


class BandForm(Form):
    """A band of your own; it goes before one of the same name in the table."""

    low: f.Frequency = Field(alias="from")
    """Lower edge."""
    high: f.Frequency = Field(alias="to")
    """Upper edge."""
    raster: f.Spacing = _written("5k")
    """Distance of its channels, counted from 0 Hz."""


class HoldForm(Form):
    """Staying on a channel where something is."""

    limit: f.SomeTime = _written("30s")
    """Longest stay."""
    quiet: f.Duration = _written("3s")
    """The hold ends after so long without activity."""
    rest: f.Duration = _written("10m")
    """How long a channel is not held again after several holds."""
    times: Annotated[int, f.whole(1, 1000, 3)] = 3
    """Holds in a row before the rest."""


class MarginForm(Form):
    """How far above the noise floor a channel counts as active."""

    active: f.Margin = _written("6dB")
    """To become active."""
    stay: f.Margin = _written("3dB")
    """To stay so."""


class SweepForm(Form):
    """A walk over the channels of bands, or over single channels."""

    vfo: f.Name | None = None
    """Which VFO; default the first one of the file."""
    bands: list[f.Name] | None = None
    """Bands of the table or of your own; either these or channels."""
    channels: list[f.Frequency] | None = None
    """Single dial frequencies."""
    joined: f.TrueFalse = False
    """Lay neighbouring bands edge to edge and sweep what is between them too."""
    raster: f.Spacing | None = None
    """Distance of the channels; default each band's own."""
    dwell: f.SomeTime = _written("2s")
    """Time to measure and listen on a channel, after settling."""
    readings: Annotated[int, f.whole(1, 1000, 8)] = 8
    """Readings of the level in a dwell."""
    settle: f.Duration | None = None
    """Time to calm down after tuning; default the receiver's own."""
    order: Annotated[Order, f.one_of(*Order)] = Order.UP
    """Direction of a pass."""
    skip: list[f.Skipped] = []
    """Channels to leave out: 9420k, or a stretch 9500k-9510k."""
    known_quiet: list[f.Frequency] = []
    """Channels on which nothing ever is: the noise floor of their band is taken from them."""
    margin: MarginForm = Field(default_factory=MarginForm)
    """How far above the noise floor a channel counts as active."""
    hold: Annotated[HoldForm | None, OFF] = Field(default_factory=HoldForm, json_schema_extra=_OFF)
    """Staying where something is, or off."""


class GuestForm(Form):
    """A sweep that shares a window; either every or share."""

    sweep: f.Name
    """The sweep that takes part, for the same VFO."""
    every: f.SomeTime | None = None
    """Revisit time to keep: a pass of it is begun so often, and the window's own sweep, without
    these channels, is swept in between.
    """
    share: f.Share | None = None
    """Its part of the window's time."""


class WindowForm(Form):
    """A stretch of time in which a sweep is due."""

    name: f.Name | None = None
    """Default the sweep's name."""
    sweep: f.Name
    """The sweep that is due."""
    start: f.AMoment = Field(alias="from")
    """When it opens: local time, UTC, or an event of the sun with an offset and what is meant
    where there is no such event, like sunset+45m or 22:00 (default 22:00, in the morning 04:00).
    """
    end: f.AMoment | None = Field(default=None, alias="until")
    """When it closes, the first such time after it opened; either this or for."""
    lasting: f.SomeTime | None = Field(default=None, alias="for")
    """How long it is open, at most a day."""
    days: list[Annotated[str, f.one_of(*WEEKDAYS)]] = list(WEEKDAYS)
    """Nights on which it opens, by the date of the evening."""
    dates: list[f.Dates] | None = None
    """Nights on which it opens, by the date of the evening: dates and stretches of them, with a
    year or for every year; default all.
    """
    left_out: list[f.Dates] = Field(default=[], alias="except")
    """Nights on which it does not open, as in dates."""
    season: f.ASeason | None = None
    """Broadcast season in which it opens: A (from the last Sunday of March), B (from that of
    October), or one with its year, like A26; default both.
    """
    priority: Annotated[int, f.whole(-1000, 1000, 5)] = PRIORITY
    """Where windows overlap, the highest has the dial; of equals the first one in the list."""
    guests: list[GuestForm] = Field(default=[], alias="with")
    """Sweeps that share the window's time."""


class WatchForm(Form):
    """A single frequency at a single time; the dial then goes back to what was due."""

    name: f.Name | None = None
    """Default watch- and the kilohertz."""
    frequency: f.Frequency
    """Dial frequency."""
    at: f.Appointment
    """Date and clock time, local or UTC."""
    lasting: f.SomeTime = Field(alias="for")
    """How long, at most a day."""
    vfo: f.Name | None = None
    """Which VFO; default the first one of the file."""
    priority: Annotated[int, f.whole(-1000, 1000, 5)] = WATCH_PRIORITY
    """As of windows, which have 0 where nothing else is written."""


class ControlForm(Form):
    """The control socket, which the command line uses."""

    socket: f.Path | None = None
    """Its path; the command line then needs it too, by --socket or $VFOD_SOCKET."""
    group: f.Plain | None = None
    """Group whose members may use it; default the daemon's own."""


class TlsForm(Form):
    """An encrypted connection to the broker."""

    ca_file: f.Path | None = None
    """Certificates of the authorities to believe; default the machine's own."""


class MqttForm(Form):
    """The MQTT broker to publish to; without this section nothing is published."""

    host: f.Host = "127.0.0.1"
    """Name or address of the broker."""
    port: Annotated[int, f.whole(1, 65535, 1883)] | None = None
    """Its port; default 1883, with TLS 8883."""
    name: f.Name = "vfod"
    """First part of the identifiers of the devices; two daemons at a broker need two."""
    user: f.Plain | None = None
    """User name at the broker."""
    password_file: f.Path | None = None
    """A file with the password in its first line; a secret never stands in this file."""
    commands: Annotated[str, f.one_of("on", "off")] = "on"
    """Whether what is published may also be set from there."""
    tls: TlsForm | None = None
    """Present, if only as {}, where the broker wants TLS."""


class WebTlsForm(Form):
    """A certificate and its key."""

    certificate_file: f.Path
    """The certificate and those between it and its authority, PEM."""
    key_file: f.Path
    """Its key, PEM."""


class WebForm(Form):
    """The page, the metrics and the health check by HTTP."""

    listen: f.Listen = _written("127.0.0.1:8073")
    """Address and port; port 0 is any free one."""
    names: list[f.Host] = Field(default_factory=list)
    """Names, beside localhost and that address, by which a browser may call."""
    token_file: f.Path | None = None
    """A file with the token in its first line; needed where others than this machine can call."""
    read_token_file: f.Path | None = None
    """The same with a second token, which may only look."""
    tls: WebTlsForm | None = None
    """The certificate, for HTTPS."""
    proxies: list[f.Host] = Field(default_factory=list)
    """Addresses of reverse proxies, whose forwarded headers are believed."""


class JournalForm(Form):
    """The journal, an SQLite file."""

    path: f.Path | None = None
    """Default: see `vfod serve --help`; of a service /var/lib/vfod/journal.sqlite."""
    keep: f.Keep = "for-ever"
    """How long observations and events are kept, 31d or more. Sums, notes stay."""


class FileForm(Form):
    """The configuration of vfod. Every quantity carries its unit: 9.42M, 9420k, 2s, 10m, 6dB."""

    place: PlaceForm = Field(default_factory=PlaceForm)
    """Where the receiver stands."""
    vfos: dict[f.Name, VfoForm] = {}
    """The VFOs by name; at least one."""
    bands: dict[f.Name, BandForm] = {}
    """Bands of your own by name, beside the table of the ITU region."""
    sweeps: dict[f.Name, SweepForm] = {}
    """Sweeps by name."""
    windows: list[WindowForm] = []
    """When which sweep is due; where they overlap, priority decides, then the order here."""
    watches: list[WatchForm] = []
    """Single frequencies to be on at single times."""
    stations: f.Path | None = None
    """Your own list of stations, a CSV file: kHz, days, times in UTC, name."""
    control: ControlForm = Field(default_factory=ControlForm)
    """The control socket, which the command line uses."""
    mqtt: Annotated[MqttForm | None, OFF] = Field(default=None, json_schema_extra=_OFF)
    """The MQTT broker to publish to, or off; off by default."""
    web: Annotated[WebForm | None, OFF] = Field(default_factory=WebForm, json_schema_extra=_OFF)
    """The page, the metrics and the health check by HTTP, or off."""
    journal: JournalForm = Field(default_factory=JournalForm)
    """The journal."""
