"""`underback node check`: does what hangs on this tun's topics keep the rules of a field node?

Nothing but a lamp, or nothing at all, may be connected in place of the element. It is refused while a daemon owns the
tun, and until somebody has confirmed that. What the broker shows it finds out alone; with `--alone` that is all.
"""

from __future__ import annotations

import argparse
import asyncio
import secrets
from collections.abc import Collection, Sequence

import aiomqtt

from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, NO, Unreachable, Wrong
from controller.commissioning import node_check, node_rules
from controller.commissioning.node_bench import Bench, Stranger
from controller.commissioning.node_rules import Hands, Nobody, Verdict
from controller.edge.clock import MachineClock
from controller.edge.files import config_files
from controller.edge.mqtt import connection
from controller.messages.topics import topics
from controller.settings.service import Settings

WORDS = "nothing connected"
CONFIRM = (
    "Commands that heat will be sent to the heater of {tun}. Take the element off its output: a lamp in its place, or\n"
    f'nothing. Type "{WORDS}" when that is so:'
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """What only `check` has."""
    parser.add_argument("--part", action="append", choices=node_check.PARTS, help="check: this alone; may be repeated")
    parser.add_argument("--alone", action="store_true", help="check: nobody is at the node; the rest is not tried")
    parser.add_argument(
        "--nothing-connected", action="store_true", help="check: confirms that no element hangs on the output"
    )


def run(args: argparse.Namespace) -> int:
    """The check and its table. 1 when a rule is broken or somebody else owns the tun."""
    settings = config_files.settings(config_files.config_dir(args.config), args.tun)
    parts = _parts(args.part, settings)
    if not args.nothing_connected and terminal.answered(CONFIRM.format(tun=settings.tun.name)).lower() != WORDS:
        raise Wrong("node check: not begun; it needs somebody who says that no element is connected")
    hands: Hands = Nobody() if args.alone else AtTheNode()
    try:
        verdicts = asyncio.run(_go(settings, hands, parts))
    except Stranger as who:
        terminal.show(
            args.json, {"refused": str(who)}, [f"{settings.tun.name} is not free: {who}. End the daemon first."]
        )
        return NO
    broken = [verdict for verdict in verdicts if verdict.result == "failed"]
    terminal.show(args.json, _document(settings, verdicts), [*node_rules.lines(verdicts), _sum(verdicts)])
    return NO if broken else DONE


def _parts(asked: Collection[str] | None, settings: Settings) -> Collection[str]:
    """Which parts are checked? Raises Wrong for one that this tun has not."""
    there = node_check.fitted(settings.tun)
    missing = [part for part in asked or () if part not in there]
    if missing:
        raise Wrong(f"--part: found {missing[0]}, wanted one of {', '.join(there)}: {settings.tun.name} has no other")
    return asked or there


def _sum(verdicts: list[Verdict]) -> str:
    counts = [f"{sum(v.result == word for v in verdicts)} {word}" for word in ("passed", "failed", "not tried")]
    return ", ".join(counts)


def _document(settings: Settings, verdicts: list[Verdict]) -> dict[str, object]:
    passed = not any(verdict.result == "failed" for verdict in verdicts)
    return {"tun": settings.tun.name, "passed": passed, "rules": node_rules.as_json(verdicts)}


class AtTheNode:
    """A person at the node who reads this screen."""

    async def do(self, key: str, text: str) -> bool:
        answer = await asyncio.to_thread(terminal.answered, f"{text} Enter when done, or `skip`:")
        return not answer.lower().startswith("s")


async def _go(settings: Settings, hands: Hands, parts: Collection[str]) -> list[Verdict]:
    """The check on the tun's broker. Raises Stranger where somebody owns the tun, Unreachable without a broker."""
    broker = settings.service.broker
    try:
        return await _linked(settings, hands, parts)
    except (aiomqtt.MqttError, OSError, TimeoutError) as error:
        raise Unreachable(f"broker {broker.host}:{broker.port}: {connection.plain(error)}") from None


async def _linked(settings: Settings, hands: Hands, parts: Collection[str]) -> list[Verdict]:
    """On one connection, as the daemon's own user of the broker; what ends it ends the check."""
    named, name = topics(settings), f"underback-{settings.tun.name}-check-{secrets.token_hex(4)}"

    async def send(topic: str, payload: bytes, retain: bool) -> None:
        await client.publish(topic, payload, 1, retain, timeout=connection.CALL_S)

    def deliver(message: aiomqtt.Message) -> None:
        bench.hear(message.topic.value, bytes(message.payload), bool(message.retain))

    async def ask(names: Sequence[str]) -> None:
        await client.subscribe([(topic, 1) for topic in names], timeout=connection.CALL_S)

    bench = Bench(send, ask, MachineClock().now, named)
    client = await asyncio.wait_for(connection.make(settings.service.broker, name, deliver), connection.CONNECT_S)
    async with client:
        await ask(named.heard())
        checking = asyncio.create_task(_checked(bench, settings, hands, parts))
        ending = asyncio.create_task(_end(client))
        await asyncio.wait({checking, ending}, return_when=asyncio.FIRST_COMPLETED)
        (checking if ending.done() else ending).cancel()
        if ending.done():
            await asyncio.wait({checking})
            await ending
        return await checking


async def _end(client: aiomqtt.Client) -> None:
    """Until the connection ends, with its error."""
    async for _ in client.messages:
        pass


async def _checked(bench: Bench, settings: Settings, hands: Hands, parts: Collection[str]) -> list[Verdict]:
    """The tun is nobody's; then the check."""
    if (who := await bench.owner()) is not None:
        raise Stranger(who)
    return await node_check.check(bench, settings.tun, hands, parts)
