"""A latched heater node is reset on its own machine, and nowhere else."""

from __future__ import annotations

import asyncio
import os
import secrets
from pathlib import Path

import pytest

from controller.field import reset_line
from tests.commands.called import called
from tests.field.pins import Bench, FakeInput
from tests.places import own_config


def latched(level: FakeInput) -> Bench:
    """A node whose level contact opened under heat."""
    bench = Bench(level=level)
    bench.heated()
    level.ok = False
    bench.run(2)
    assert bench.node.state.latched and not bench.node.on
    return bench


@pytest.mark.parametrize(
    ("full", "answer"),
    [
        (True, "cleared: no liquid at the heater"),
        (False, f"cleared: no liquid at the heater{reset_line.STILL}no liquid at the heater"),
    ],
)
def test_a_latched_fault_goes_by_a_word_on_this_machine(full: bool, answer: str) -> None:
    """Asked over the kernel's socket the node clears what is latched, tells whether its cause is still there, gives no
    heat until it is commanded anew; asked again, nothing is latched."""
    level, tun = FakeInput(), secrets.token_hex(8)
    bench = latched(level)
    level.ok = full
    bench.run(4)

    async def asked() -> list[str]:
        async with await reset_line.listen(tun, lambda: bench.node.reset(bench.now)):
            return [await asyncio.to_thread(reset_line.ask, tun) for _ in range(2)]

    first, second = asyncio.run(asked())
    assert first == answer
    assert second.startswith(reset_line.NOTHING)
    assert not any(bench.run(2))
    bench.heat(seq=900)
    assert any(bench.run(1)) == full


def test_a_place_has_one_node() -> None:
    """A second heater node of the same tun on one machine does not begin."""
    tun = secrets.token_hex(8)

    async def twice() -> None:
        async with await reset_line.listen(tun, str):
            with pytest.raises(OSError):
                await reset_line.listen(tun, str)

    asyncio.run(twice())


def test_only_root_and_the_nodes_user_may() -> None:
    """Another user of the machine is refused."""
    own = os.getuid()
    assert [reset_line.may(user) for user in (0, own, own + 1)] == [True, True, False]


def test_without_a_node_the_command_says_where_to_type_it(tmp_path: Path) -> None:
    """Where no heater node runs `node reset` ends with 3 and a sentence."""
    code, out, err = called("node", "reset", "--tun", "plover", config=own_config(tmp_path))
    assert (code, out) == (3, "") and "no heater node of plover runs on this machine" in err
