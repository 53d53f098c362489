"""Form → Config, and faults of what fits by itself but not together.

What depends on a part that is not sound is left alone, so that one mistake gives one complaint.
"""

from collections.abc import Iterable, Mapping
from ipaddress import ip_address
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar
from zoneinfo import ZoneInfo

from vfod.config import forms, parts
from vfod.config import model as m
from vfod.config.complaints import Fault, Where, meant
from vfod.config.reader import Document
from vfod.config.shape import Shaped
from vfod.config.sweep_checks import outside, sweep_faults
from vfod.config.windows import Around, watches_of, windows_of
from vfod.errors import UsageError
from vfod.plan.localtime import parse_zone
from vfod.plan.sweep import Sweep
from vfod.plan.windows import Window
from vfod.radio.bands import Band, bands_for
from vfod.radio.levels import LevelTable, Source
from vfod.radio.receiver import Receiver, complaints
from vfod.radio.sun import Site
from vfod.radio.synthesiser import ClockGenerator, is_possible
from vfod.units import format_frequency

#: The VFO's own level table, as its ranges name it.
_OWN_TABLE = "vfo"

#: Listening at these, one is called by any name.
_ANY_ADDRESS = ("0.0.0.0", "::")  # noqa: S104 - named to be told apart, not listened at

#: Ports of MQTT, as registered with IANA: without and with TLS.
_MQTT, _MQTT_TLS = 1883, 8883

_Part = TypeVar("_Part")


def _frozen(content: Mapping[str, _Part]) -> Mapping[str, _Part]:
    return MappingProxyType(dict(content))


class Assembly:
    """Parts and faults; `config` holds for the program only while there are no faults."""

    def __init__(self, document: Document, shaped: Shaped, digest: str) -> None:
        self.faults: list[Fault] = []
        self._document = document
        self._shaped = shaped
        self._form = form = shaped.form
        zone = self._zone()
        self._bands = self._all_bands()
        self._vfos = self._all_vfos()
        written = {name: self._sweep(name, item) for name, item in form.sweeps.items()}
        sweeps = {name: sweep for name, sweep in written.items() if sweep}
        place = self._place(zone or ZoneInfo("UTC"))
        windows = self._agenda(zone, place, sweeps)
        self.config = m.Config(
            path=document.path,
            digest=digest,
            place=place,
            bands=self._bands,
            vfos=_frozen(self._vfos),
            sweeps=_frozen(sweeps),
            windows=tuple(windows),
            stations=self._beside(form.stations),
            control=m.Control(socket=self._beside(form.control.socket), group=form.control.group),
            mqtt=self._mqtt(),
            web=self._web(),
            journal=self._beside(form.journal.path),
            keep=None if isinstance(form.journal.keep, str) else form.journal.keep,
        )

    def _fault(self, where: Where, text: str, *, key: bool = False) -> None:
        self.faults.append(Fault(where, text, key))

    def _written(self, section: str, sound: Iterable[str]) -> list[str]:
        """All names of a section, those of entries that were set aside as well."""
        aside = [str(where[1]) for where in self._shaped.aside if where[:-1] == (section,)]
        return [*sound, *aside]

    def _is_aside(self, section: str) -> bool:
        return (section,) in self._shaped.aside

    def _beside(self, path: str | None) -> str | None:
        """A relative path is meant from where the configuration lies."""
        return None if path is None else str(Path(self._document.path).parent / path)

    # --- place and bands ------------------------------------------------------------------------

    def _zone(self) -> ZoneInfo | None:
        try:
            return parse_zone(self._form.place.zone)
        except UsageError as error:
            self._fault(("place", "zone"), str(error))
            return None

    def _place(self, zone: ZoneInfo) -> m.Place:
        form = self._form.place
        here = {"latitude": form.latitude, "longitude": form.longitude}
        missing = [name for name, degrees in here.items() if degrees is None]
        if len(missing) == 1:
            given = "longitude" if missing == ["latitude"] else "latitude"
            self._fault(("place", given), f"of no use without {missing[0]}; write both or neither")
        return m.Place(zone=zone, region=form.region, **here)

    def _all_bands(self) -> tuple[Band, ...]:
        """The bands in force, without own ones that are not sound."""
        upwards = []
        for name, form in self._form.bands.items():
            if form.low < form.high:
                upwards.append(parts.band(name, form))
            else:
                self._fault(("bands", name), "its upper edge is not above the lower; exchange them")
        own: list[Band] = []
        for band in sorted(upwards, key=lambda band: band.low):
            if own and band.low < own[-1].high:
                text = (
                    f"{band} overlaps {own[-1]}; begin it at {format_frequency(own[-1].high)} or "
                    f"above, or end {own[-1].name} at {format_frequency(band.low)} or below"
                )
                self._fault(("bands", band.name), text, key=True)
            else:
                own.append(band)
        return bands_for(self._form.place.region, own)

    # --- VFOs -----------------------------------------------------------------------------------

    def _all_vfos(self) -> dict[str, m.VfoConfig]:
        if not self._written("vfos", self._form.vfos) and not self._is_aside("vfos"):
            text = "no VFO is described; write vfos: {main: {port: /dev/serial/by-id/...}}"
            self._fault((), text)
        found: dict[str, m.VfoConfig] = {}
        ports: dict[str, str] = {}
        for name, form in self._form.vfos.items():
            if form.port in ports:
                text = f"already the port of {ports[form.port]}; write the one of {name}"
                self._fault(("vfos", name, "port"), text)
            ports.setdefault(form.port, name)
            vfo = self._vfo(name, form)
            if vfo is not None:
                found[name] = vfo
        return found

    def _vfo(self, name: str, form: forms.VfoForm) -> m.VfoConfig | None:
        where: Where = ("vfos", name)
        tables = {} if form.level_table is None else {_OWN_TABLE: form.level_table}
        receiver = self._receiver(where, form, tables)
        if receiver is None:
            return None
        afterwards: m.Afterwards | int
        if isinstance(form.afterwards, int):
            afterwards = form.afterwards
            place = (*where, "afterwards")
            self.faults += outside(place, afterwards, receiver, self._document)
        else:
            afterwards = m.Afterwards(form.afterwards)
        return m.VfoConfig(
            name=name,
            port=form.port,
            baud=form.baud,
            dtr=m.ControlLine(form.dtr),
            rts=m.ControlLine(form.rts),
            quiet=form.quiet,
            output=m.OutputPolicy(form.output),
            speaker=m.SpeakerPolicy(form.speaker),
            afterwards=afterwards,
            receiver=receiver,
            goes_by_measured=form.correction is None,
            synthesiser=self._synthesiser((*where, "synthesiser"), form.synthesiser),
            own_signals=tuple(form.own_signals),
            level_tables=_frozen(tables),
            level_from=self._level_from(where, form),
            audio=None if form.audio is None else parts.audio(form.audio),
        )

    def _level_from(self, where: Where, form: forms.VfoForm) -> Source:
        if form.level_from is None:
            return Source.BOX if form.audio is None else Source.AUDIO
        if form.level_from in (Source.AUDIO, Source.BOTH) and form.audio is None:
            text = "there is no audio to take levels from; describe it under audio, or write box"
            self._fault((*where, "level_from"), text)
        return form.level_from

    def _receiver(
        self, where: Where, form: forms.VfoForm, tables: dict[str, LevelTable]
    ) -> Receiver | None:
        """The receiver; level tables of single ranges are added to `tables`."""
        own = next(iter(tables), None)
        if form.receiver is None:
            return parts.receiver(form, [parts.without_receiver(own)])
        if not form.receiver:
            self._fault((*where, "receiver"), "no range; describe one, or remove the key")
            return None
        ranges = []
        for number, item in enumerate(form.receiver, 1):
            name = own
            if item.level_table is not None:
                name = f"range-{number}"
                tables[name] = item.level_table
            ranges.append(parts.range_of(item, name))
        faults = complaints(ranges)
        for index, text in faults:
            # The remedy stands behind a colon there, behind a semicolon here.
            self._fault((*where, "receiver", index), text.replace(": ", "; ", 1))
        return None if faults else parts.receiver(form, ranges)

    def _synthesiser(
        self, where: Where, form: forms.SynthesiserForm | None
    ) -> ClockGenerator | None:
        if form is None:
            return None
        if form.loop_from >= form.loop_to:
            self._fault((*where, "loop_to"), "not above loop_from; exchange the two")
            return None
        found = parts.synthesiser(form)
        if not is_possible(found):
            text = "a loop cannot bring this crystal into its range; compare them"
            self._fault((*where, "crystal"), text)
            return None
        return found

    # --- sweeps and windows ---------------------------------------------------------------------

    def _sweep(self, name: str, form: forms.SweepForm) -> Sweep | None:
        where: Where = ("sweeps", name)
        before = len(self.faults)
        if bool(form.bands) == bool(form.channels):
            self._fault(where, "needs either bands or channels; write one of the two", key=True)
        if form.joined and form.channels:
            text = "single channels cannot be joined; remove it, or sweep bands"
            self._fault((*where, "joined"), text)
        if form.margin.stay > form.margin.active:
            text = "larger than the margin to become active; make it the smaller one"
            self._fault((*where, "margin", "stay"), text)
        bands = self._bands_of((*where, "bands"), form.bands or [])
        vfo = self._vfo_of((*where, "vfo"), form.vfo)
        if vfo is None or bands is None or len(self.faults) > before:
            return None
        sweep = parts.sweep(name, vfo.name, form, bands, vfo.own_signals)
        faults = sweep_faults(where, sweep, vfo, self._document)
        self.faults += faults
        return None if faults else sweep

    def _bands_of(self, where: Where, names: list[str]) -> tuple[Band, ...] | None:
        known = {band.name: band for band in self._bands}
        written = self._written("bands", [*known, *self._form.bands])
        if not self._is_aside("place") and not self._is_aside("bands"):
            for index, name in enumerate(names):
                if name not in written:
                    text = f"there is no band {name!r}; {meant(name, written)}"
                    self._fault((*where, index), text)
        return tuple(known[n] for n in names) if all(n in known for n in names) else None

    def _vfo_of(self, where: Where, name: str | None) -> m.VfoConfig | None:
        written = self._written("vfos", self._form.vfos)
        if name is not None and name not in written and not self._is_aside("vfos"):
            self._fault(where, f"there is no VFO {name!r}; {meant(name, written)}")
        if name is None:
            # The first VFO of the file, not the first one that is sound.
            in_file = self._document.data.get("vfos")
            name = next(iter(in_file), None) if isinstance(in_file, dict) else None
        return self._vfos.get(name or "")

    def _agenda(
        self, zone: ZoneInfo | None, place: m.Place, sweeps: dict[str, Sweep]
    ) -> list[Window]:
        """The windows, and those of the watches, whose sweeps are added to `sweeps`."""
        site = None
        if place.latitude is not None and place.longitude is not None:
            site = Site(latitude=place.latitude, longitude=place.longitude)
        around = Around(
            document=self._document,
            zone=zone,
            site=site,
            sweeps=sweeps,
            written=self._written("sweeps", self._form.sweeps),
            sweeps_aside=self._is_aside("sweeps"),
            vfos=self._vfos,
            bands=self._bands,
        )
        found, faults = windows_of(self._shaped, around)
        vfos = [
            self._vfo_of(("watches", number, "vfo"), form.vfo)
            for number, form in zip(self._shaped.places["watches"], self._form.watches, strict=True)
        ]
        names = [*around.written, *(window.name for window in found)]
        watches, more = watches_of(self._shaped, around, names, vfos)
        self.faults += [*faults, *more]
        for sweep, window in watches:
            sweeps[sweep.name] = sweep
            found.append(window)
        return found

    # --- doors ----------------------------------------------------------------------------------

    def _mqtt(self) -> m.Mqtt | None:
        form = self._form.mqtt
        if form is None:
            return None
        if form.password_file is not None and form.user is None:
            self._fault(("mqtt", "password_file"), "a password needs a user; write user: as well")
        return m.Mqtt(
            host=form.host,
            port=form.port or (_MQTT_TLS if form.tls else _MQTT),
            name=form.name,
            user=form.user,
            password_file=self._beside(form.password_file),
            commands=form.commands == "on",
            tls=form.tls is not None,
            ca_file=self._beside(form.tls.ca_file) if form.tls else None,
        )

    def _web(self) -> m.Web | None:
        form = self._form.web
        if form is None:
            return None
        host, port = form.listen
        if form.token_file is None and not _is_loopback(host):
            text = (
                "others than this machine can call there, so it needs a token; "
                "write token_file: web-token as well, and a long random word into that file"
            )
            self._fault(("web", "listen"), text)
        if host in _ANY_ADDRESS and not form.names:
            text = "every address of this machine; write names: [radio.lan] as a browser calls it"
            self._fault(("web", "listen"), text)
        if form.read_token_file is not None and form.token_file is None:
            text = "of no use without token_file; write both, or neither"
            self._fault(("web", "read_token_file"), text)
        return m.Web(
            host=host,
            port=port,
            names=tuple(form.names),
            token_file=self._beside(form.token_file),
            read_token_file=self._beside(form.read_token_file),
            certificate_file=self._beside(form.tls.certificate_file) if form.tls else None,
            key_file=self._beside(form.tls.key_file) if form.tls else None,
            proxies=tuple(form.proxies),
        )


def _is_loopback(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
