"""Drawing: numbers over two axes as a picture, for the reports and for the page.

chart  what is drawn: cells, axes, rules, in words of its own and without a pixel
scale  levels and shares as colours whose lightness never turns back
sheet  where everything comes to stand on a sheet of some width
svg    a sheet as SVG for a page, in light and dark
png    a sheet as a file of pixels

Pure; the imaging library is imported where a pixel is made and nowhere else.
"""

from vfod.picture.chart import Chart as Chart
from vfod.picture.chart import Panel as Panel
from vfod.picture.chart import Rule as Rule
from vfod.picture.chart import Tick as Tick
from vfod.picture.scale import Scale as Scale
from vfod.picture.scale import nice_scale as nice_scale
