"""HTTP: the live page, the table of requests, the metrics and the daemon's health.

`server` runs the server on the daemon's loop, `guard` says who may come in and do what, `live`
streams the state to pages, `site` holds what a browser is given, `door` puts them together.
"""

from vfod.outputs.web.door import NAME as NAME
from vfod.outputs.web.door import Beats as Beats
from vfod.outputs.web.door import Render as Render
from vfod.outputs.web.door import Web as Web
from vfod.outputs.web.door import WebSettings as WebSettings
from vfod.outputs.web.guard import NO_KEYS as NO_KEYS
from vfod.outputs.web.guard import Keys as Keys
from vfod.outputs.web.server import Certificate as Certificate
