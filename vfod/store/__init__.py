"""The journal's file: SQLite, kept small enough for years, sound at every moment.

`schema` and `migrations/` say what is in it, `rows` how an event becomes a row, `file` how it is
opened, `writer` writes (run by `thread`), `reader` answers questions. No other room speaks SQL.
"""

from vfod.store.reader import ChannelSummary as ChannelSummary
from vfod.store.reader import PastFloor as PastFloor
from vfod.store.reader import Reader as Reader
from vfod.store.reader import Run as Run
from vfod.store.rows import Entry as Entry
from vfod.store.rows import Observation as Observation
from vfod.store.rows import is_promised as is_promised
from vfod.store.thread import Direct as Direct
from vfod.store.thread import ReadableStore as ReadableStore
from vfod.store.thread import Store as Store
from vfod.store.thread import Threaded as Threaded
from vfod.store.upkeep import Keeping as Keeping
from vfod.store.writer import Writer as Writer
