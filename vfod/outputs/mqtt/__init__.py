"""MQTT by the Homie convention, version 5: what a household sees and may set.

`homie` is the convention, `nodes` what is described by it, `devices` how our state fills it,
`commands` what may be set; none of them waits. `publisher` keeps a broker up to date, `session`
lives as long as one connection, `broker` is the library behind a small interface, `door` puts
them together.
"""

from vfod.outputs.mqtt.devices import NAME as NAME
from vfod.outputs.mqtt.devices import OfferOf as OfferOf
from vfod.outputs.mqtt.door import Mqtt as Mqtt
from vfod.outputs.mqtt.door import MqttSettings as MqttSettings
from vfod.outputs.mqtt.nodes import Offer as Offer
