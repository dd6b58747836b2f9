"""How does a heater command on the wire come to the rules of the node?"""

from __future__ import annotations

from controller.core.nouns import Instant
from controller.field import lease
from controller.field.lease import NodeSettings, NodeState
from controller.messages.strict_json import Refused, document


def obey(
    settings: NodeSettings, state: NodeState, payload: bytes, now: Instant, retained: bool = False
) -> tuple[NodeState, str | None]:
    """Is this payload taken? Returns the state after it and, when it is refused, the reason."""
    if retained:
        return state, "retained"
    found = document(payload)
    if isinstance(found, Refused):
        return state, str(found)
    return lease.obey(settings, state, found, now) if isinstance(found, dict) else (state, "no object")
