"""Where does the answer to an order go, besides the tun's own reply topic?

To the response topic that its sender named (MQTT 5), where that lies below `reply/`: anywhere else the sender would
write with the daemon's rights.
"""

from __future__ import annotations

from collections import OrderedDict

from controller.core.nouns import Instant, Reply
from controller.edge.log import Log
from controller.edge.mqtt.transport import Post, ReplyTo
from controller.messages import incoming, outgoing
from controller.messages.inbox import Inbox

ELSEWHERE = "response topic of others, not used"
KEPT = 256  # orders whose answer is still owed


class Replies:
    """Remembers who asked where, and makes each answer's messages."""

    def __init__(self, inbox: Inbox, log: Log) -> None:
        self._inbox, self._log = inbox, log
        self._to: OrderedDict[str, ReplyTo] = OrderedDict()

    def heard(self, payload: bytes, to: ReplyTo, now: Instant) -> None:
        """An order came with a response topic."""
        if not self._inbox.topics.may_answer_on(to.topic):
            self._inbox.counters[ELSEWHERE] += 1
            times = self._inbox.counters[ELSEWHERE]
            if times & (times - 1) == 0:  # the first, second, fourth, eighth ...: a stranger must not fill the log
                self._log.warning(ELSEWHERE, topic=ascii(to.topic[:100])[1:-1], times=times)
            return
        order = incoming.order(payload, now)
        self._to[order.id or order.name] = to
        while len(self._to) > KEPT:
            self._to.popitem(last=False)

    def posts(self, reply: Reply) -> list[Post]:
        """What is sent: to all who listen, and to the sender's own topic."""
        said, to = outgoing.reply(reply), self._to.pop(reply.id or reply.order, None)
        own = [] if to is None else [Post(to.topic, said, "reply", correlation=to.correlation)]
        return [Post(self._inbox.topics.reply, said, "reply"), *own]
