"""The composition root: builds every part once, in the order of the data, and lets them run."""

from vfod.app.notify import ServiceManager as ServiceManager
from vfod.app.serve import serve as serve
