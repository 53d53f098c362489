"""Whose identifier is it? Asked at the broker before it is taken.

A broker that gets a second client of the same identifier throws the first one out, without a word
to either. So a daemon asks first, as a client of another name, and one that stands there answers.
This goes by two topics beside the convention's tree:

    vfod/IDENTIFIER/asked       a word that is made up for this question
    vfod/IDENTIFIER/answered    that word, and who answers

Where the root device is not said to be alive, nobody can be there and nobody is waited for; a state
that was left behind by a dead broker costs the wait. A broker that lets neither topic pass gives no
answer: then the second one comes in, and the first finds out when it is thrown out.
"""

import asyncio
import secrets
from contextlib import AbstractAsyncContextManager

from vfod.outputs.mqtt import homie
from vfod.outputs.mqtt.broker import Broker, Message

#: Seconds to wait for an answer: a busy daemon on a small board across a radio link.
ANSWER = 2.0

#: Seconds to wait for the state that lies at the broker, once the question has come back: some
#: brokers send what is retained a little later.
STATE = 0.2


class Owner:
    """The question and the answer for one identifier; `root_state` is the root's `$state` topic."""

    def __init__(self, identifier: str, *, root_state: str, who: str) -> None:
        self.asked = f"vfod/{identifier}/asked"
        self._answered = f"vfod/{identifier}/answered"
        self._root_state = root_state
        self._who = who

    async def answer(self, broker: Broker, message: Message) -> None:
        """Tell whoever asks that this daemon stands there."""
        payload = message.payload[:64] + b" " + self._who.encode()
        await broker.publish(self._answered, payload, retain=False)

    async def ask(self, connection: AbstractAsyncContextManager[Broker]) -> str | None:
        """Who stands there, None where nobody answers. Raises DoorError."""
        word = secrets.token_hex(8)
        async with connection as broker:
            for topic in (self._answered, self._root_state, self.asked):
                await broker.subscribe(topic)
            await broker.publish(self.asked, word.encode(), retain=False)
            try:
                async with asyncio.timeout(ANSWER) as limit:
                    return await self._heard(broker, word, limit)
            except TimeoutError:
                return None

    async def _heard(self, broker: Broker, word: str, limit: asyncio.Timeout) -> str | None:
        state = came_back = ""
        async for message in broker.messages():
            text = message.payload.decode("utf-8", "replace")
            if message.topic == self._answered:
                given, _, who = text.partition(" ")
                if given == word:
                    return who
            elif message.topic == self._root_state:
                state = text
            else:
                came_back = came_back or text
            if came_back == word and state not in (homie.INIT, homie.READY):
                if state:
                    return None
                limit.reschedule(asyncio.get_running_loop().time() + STATE)
        return None
