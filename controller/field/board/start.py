"""How does a board run its node? `main.py` on the board says: from controller.field.board import start; start.run()

The loop at the pin comes first and never waits for the network. It alone feeds the watchdog, right after it has worked
the pin: a board that hangs anywhere starts anew within 5 s, off. It does not connect while the output is on, since
looking up a name and shaking hands may stop everything for seconds.
"""

import asyncio

from controller.field.board import hardware, settings
from controller.field.board.heater_board import HeaterBoard
from controller.field.board.mqtt import Link
from controller.field.board.probe_board import ProbeBoard, believed

BEAT_S = 0.05
READ_S = 0.2  # between two conversions: about a reading a second
TIRED_S, IDLE_S = 7 * 86400.0, 3600.0  # single floats count seconds to a sixteenth by then: start anew, once idle

MYPY = False  # true for the type checker alone
if MYPY:
    from typing import Any


def run() -> None:
    """For ever. What is wrong in the board's file is said, and nothing is switched."""
    import board_config

    found = settings.read(board_config)
    asyncio.run(heater(found) if found["NODE"] == "heater" else probe(found))


def link(found: "dict[str, Any]", name: str, will: str, topics: list[str], hear: "Any") -> Link:
    """The link that the board's file describes."""
    broker = {"host": found["HOST"], "port": found["PORT"], "user": found["USER"], "password": found["PASSWORD"]}
    broker["ssl"] = hardware.tls(found["CA"])
    return Link(broker, f"underback-{name}-{hardware.boot_word()}", will, topics, hear)


async def heater(found: "dict[str, Any]") -> None:
    """The heater node."""
    output = hardware.output(found["OUTPUT"])
    feed, clock, base = hardware.watchdog(), hardware.Clock(), found["BASE"]
    contacts = hardware.contact(found["LEVEL"]), hardware.contact(found["FLOW"])
    node = settings.node(found, hardware.boot_word())
    command = base + "/heater/command"

    def hear(topic: str, payload: bytes, retained: bool) -> None:
        if topic == command:
            board.hear(payload, retained, clock.now())

    async def ready() -> None:
        while board.state.output > 0.0:  # noqa: ASYNC110 - the pin sets no event
            await asyncio.sleep(BEAT_S)
        await hardware.wifi(*found["WIFI"])

    line = link(found, "heater", base + "/heater/online", [command], hear)
    board = HeaterBoard(node, base, output, line.say, clock.now(), *contacts)
    tasks = [asyncio.create_task(line.run(ready)), asyncio.create_task(_warm(found, board, clock))]
    try:
        await _hand(board, clock, feed, hardware.contact(found["RESET"]), tasks)
    finally:
        output(False)


async def _hand(board: HeaterBoard, clock: hardware.Clock, feed: "Any", pressed: "Any", tasks: "list[Any]") -> None:
    """The loop at the pin. A task that has ended ends it too: the watchdog does the rest."""
    asked_s = clock.now()
    while not any(task.done() for task in tasks):
        now = clock.now()
        if pressed is not None and pressed():
            board.press()
        board.beat(now)
        feed()
        asked_s = now if board.state.ordered else asked_s
        if now > TIRED_S and now - asked_s > IDLE_S:
            hardware.restart()
        await asyncio.sleep(BEAT_S)


async def _warm(found: "dict[str, Any]", board: HeaterBoard, clock: hardware.Clock) -> None:
    """The own thermometer: the hottest of the sensors on its line; none where one of them has no reading."""
    line = hardware.OneWire(found["THERMOMETER"])
    while True:
        found_c = [believed(scratch)[0] for scratch in (await line.read()).values()]
        values = [value for value in found_c if value is not None]
        if values and len(values) == len(found_c):
            board.warm(max(values), clock.now())
        await asyncio.sleep(READ_S)


async def probe(found: "dict[str, Any]") -> None:
    """The probe node."""
    feed, wires = hardware.watchdog(), hardware.OneWire(found["THERMOMETER"])
    topics = found["PROBES"]

    async def ready() -> None:
        await hardware.wifi(*found["WIFI"])

    line = link(found, "probe", found["FIRST"] + "/online", [], None)
    boards = {serial: ProbeBoard(topic, line.say) for serial, topic in topics.items()}
    speaking = asyncio.create_task(line.run(ready))
    while not speaking.done():
        read = await wires.read()
        for serial, board in boards.items():
            board.got(only(read) if serial == "any" else read.get(serial))
            line.there = board.there if board.topic == found["FIRST"] else line.there
        feed()
        await asyncio.sleep(READ_S)


def only(read: dict[str, bytes]) -> bytes | None:
    """The bytes of the only sensor; none where there are several."""
    return next(iter(read.values())) if len(read) == 1 else None
