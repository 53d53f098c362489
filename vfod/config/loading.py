"""From a path to a Config, or to all complaints at once."""

import dataclasses
import hashlib
import json

from vfod.config.assembly import Assembly
from vfod.config.changes import written
from vfod.config.complaints import Complaint, Fault, refuse
from vfod.config.forms import FileForm
from vfod.config.model import Config
from vfod.config.reader import read, understand
from vfod.config.shape import shape
from vfod.plan.stations import Station
from vfod.plan.stations import parse as parse_stations

#: Hexadecimal digits of a digest: 64 bits tell the configurations of a lifetime apart.
_DIGITS = 16


def load(path: str) -> Config:
    """Read and understand a configuration file; ConfigError with all complaints."""
    return parse(read(path), path)


def parse(text: str, path: str) -> Config:
    """Understand the text of a configuration file; ConfigError with all complaints.

    `path` names the file in complaints, and relative paths are meant from its directory.
    """
    document = understand(text, path)
    if document.root is None:
        what = "the file is empty; write vfos: {main: {port: /dev/serial/by-id/...}}"
        raise refuse(path, [Complaint(1, 1, what)])
    if not isinstance(document.data, dict):
        what = "the file is no section; write keys with values, like vfos: {...}"
        raise refuse(path, [*document.complaints, document.complaint(Fault((), what))])
    shaped = shape(document.data)
    assembly = Assembly(document, shaped, _digest(shaped.form))
    faults = [*shaped.faults, *assembly.faults]
    if faults or document.complaints:
        raise refuse(path, [*document.complaints, *map(document.complaint, faults)])
    names = [window.name for window in assembly.config.windows]
    return dataclasses.replace(assembly.config, written=written(shaped.form, names))


def _digest(form: FileForm) -> str:
    """A name for what is written, defaults included, whatever its spacing and comments."""
    canonical = json.dumps(form.model_dump(), default=str)
    return hashlib.sha256(canonical.encode()).hexdigest()[:_DIGITS]


def stations_of(config: Config) -> tuple[Station, ...]:
    """The listener's own list; ConfigError with all complaints about its file."""
    if config.stations is None:
        return ()
    return parse_stations(read(config.stations), config.stations)
