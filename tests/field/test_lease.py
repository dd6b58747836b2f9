"""Does the heater node keep its own rules, whatever it is told or not told?"""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from controller.field import commands, lease
from controller.field.lease import NodeSettings, NodeState

SSR = NodeSettings(power_w=5000.0, boot="a1", min_off_s=0.0)
CONTACTOR = NodeSettings(power_w=5000.0, boot="a1")
FITTED = NodeSettings(power_w=2400.0, boot="a1", min_off_s=0.0, outlet=True, level=True, flow=True)


def command(seq: int, duty: float, *, epoch: int = 1, valid_s: float = 10.0, **more: Any) -> bytes:
    return json.dumps({"epoch": epoch, "seq": seq, "duty": duty, "valid_s": valid_s, **more}).encode()


def told(state: NodeState, payload: bytes, now: float, of: NodeSettings = SSR, retained: bool = False) -> NodeState:
    """The state after a command that must be taken, and the beat that follows it."""
    state, why = commands.obey(of, state, payload, now, retained)
    assert why is None
    return lease.beat(of, state, now, outlet_c=60.0, level_ok=True, flow_ok=True)[0]


def refused(state: NodeState, payload: bytes, now: float, retained: bool = False) -> str:
    """The reason for a command that must not be taken, which changes nothing."""
    after, why = commands.obey(SSR, state, payload, now, retained)
    assert after == state
    assert why is not None
    return why


def test_it_is_off_at_power_up_and_obeys_no_retained_command() -> None:
    """A node that has just started gives no heat, and a command the broker kept for it changes nothing."""
    state = lease.boot(100.0)
    assert lease.beat(SSR, state, 100.0) == (state, 0.0)
    for duty in (1.0, 0.0):
        assert refused(state, command(1, duty), 100.0, retained=True) == "retained"


@pytest.mark.parametrize(
    ("settings", "asked_s", "lasts_s"),
    [(SSR, 4.0, 4.0), (SSR, 3600.0, 10.0), (SSR.but(ceiling_s=3.0), 3600.0, 3.0)],
)
def test_a_command_lasts_its_validity_and_no_longer(settings: NodeSettings, asked_s: float, lasts_s: float) -> None:
    """Heat for 4 s is there at 3.99 s and gone at 4 s; the report says that the lease ran out; an hour's validity runs
    out after 10 s, or after the 3 s set at the node."""
    state = told(lease.boot(0.0), command(1, 0.6, valid_s=asked_s), 20.0, settings)
    assert state.output == 0.6
    still, output = lease.beat(settings, state, 20.0 + lasts_s - 0.01)
    assert output == 0.6
    over, output = lease.beat(settings, still, 20.0 + lasts_s)
    assert output == 0.0
    assert over.expired and lease.worth_telling(still, over)
    assert lease.report(settings, over, 20.0 + lasts_s)["lease_left_s"] == 0.0


def test_only_the_highest_epoch_and_rising_sequences_bring_heat() -> None:
    """An older owner, the same sequence again and a lower one are refused with the reason; a newer owner is taken."""
    state = told(lease.boot(0.0), command(5, 0.5, epoch=3), 20.0)
    assert "another owner" in refused(state, command(99, 1.0, epoch=2), 21.0)
    assert "not above 5" in refused(state, command(5, 1.0, epoch=3), 21.0)
    assert "not above 5" in refused(state, command(4, 1.0, epoch=3), 21.0)
    assert told(state, command(0, 0.7, epoch=4), 21.0).output == 0.7


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"", "not JSON"),
        (b"\xff", "not UTF-8"),
        (b"[0.5]", "no object"),
        (b'{"duty": NaN, "epoch": 1, "seq": 1, "valid_s": 5}', "not a finite number"),
        (b'{"duty": true, "epoch": 1, "seq": 1, "valid_s": 5}', "no share"),
        (b'{"duty": "0", "epoch": 1, "seq": 1, "valid_s": 5}', "no share"),
        (b'{"duty": 1.01, "epoch": 1, "seq": 1, "valid_s": 5}', "no share"),
        (b'{"duty": -0.1, "epoch": 1, "seq": 1, "valid_s": 5}', "no share"),
        (b'{"epoch": 1, "seq": 1, "valid_s": 5}', "no share"),
        (b'{"duty": 1, "seq": 1, "valid_s": 5}', "whole numbers"),
        (b'{"duty": 1, "epoch": 1, "seq": 1.5, "valid_s": 5}', "whole numbers"),
        (b'{"duty": 1, "epoch": 1, "seq": 1}', "whole numbers"),
        (b'{"duty": 1, "epoch": 1, "seq": 1, "valid_s": 0}', "not above 0"),
        (b'{"duty": 1, "epoch": 1, "seq": 1, "valid_s": -3}', "not above 0"),
        (b'{"duty": 1, "epoch": 1099511627777, "seq": 1, "valid_s": 5}', "whole numbers"),
    ],
)
def test_what_is_no_proper_command_brings_no_heat(payload: bytes, why: str) -> None:
    """Malformed commands are refused with a reason and change nothing, with the heater off or on."""
    assert why in refused(lease.boot(0.0), payload, 20.0)
    assert why in refused(told(lease.boot(0.0), command(0, 0.5), 20.0), payload, 21.0)


@pytest.mark.parametrize(
    "payload",
    [
        b'{"duty": 0}',
        b'{"duty": 0.0, "epoch": "x", "seq": null}',
        b'{"duty": 0, "epoch": 1, "seq": 1, "valid_s": -5}',
        command(2, 0.0, epoch=1),
        command(500, 0.0, epoch=9),
    ],
)
def test_a_well_formed_off_is_obeyed_from_anybody(payload: bytes) -> None:
    """OFF needs no epoch, sequence or validity; an older owner's counts, and it acts at once, not at the beat."""
    state = told(lease.boot(0.0), command(50, 1.0, epoch=7), 20.0)
    off, why = commands.obey(SSR, state, payload, 21.0)
    assert why is None
    assert (off.output, off.ordered, off.off_since) == (0.0, 0.0, 21.0)
    assert (off.epoch, off.seq) >= (7, 50)


def test_a_contactor_rests_ten_seconds_before_it_closes_again() -> None:
    """Off at 30 s and told on at 31 s, a contactor closes at 40 s and not before; after power-up it rests as well."""
    state = told(lease.boot(0.0), command(1, 1.0), 5.0, CONTACTOR)
    assert state.output == 0.0
    state = told(state, command(2, 1.0), 10.0, CONTACTOR)
    assert state.output == 1.0
    state = told(state, command(3, 0.0), 30.0, CONTACTOR)
    state = told(state, command(4, 1.0), 31.0, CONTACTOR)
    assert lease.beat(CONTACTOR, state, 39.9)[1] == 0.0
    assert lease.beat(CONTACTOR, state, 40.0)[1] == 1.0


def test_a_plain_relay_gives_a_share_as_on_and_off_within_its_window() -> None:
    """A third of a 30 s window is 10 s on and 20 s off, and the report tells the present output, not the mean."""
    relay = CONTACTOR.but(window_s=30.0)
    state, on = lease.boot(0.0), 0
    for second in range(30, 120):
        state = told(state, command(second, 1 / 3), float(second), relay)
        assert state.output in (0.0, 1.0)
        assert lease.report(relay, state, float(second))["duty"] == state.output
        on += state.output == 1.0
    assert on == 30


def test_no_liquid_means_no_heat_and_stays_when_it_was_lost_under_heat() -> None:
    """An empty tun refuses heat and is forgiven when filled for 3 s; lost while heating for a second, it latches until
    reset."""
    state, why = commands.obey(FITTED, lease.boot(0.0), command(1, 1.0, valid_s=10.0), 1.0)
    assert why is None
    empty, output = lease.beat(FITTED, state, 1.0, outlet_c=60.0, level_ok=False, flow_ok=True)
    assert (output, empty.fault, empty.latched) == (0.0, "no liquid at the heater", False)
    empty, output = lease.beat(FITTED, empty, 2.0, outlet_c=60.0, level_ok=False, flow_ok=True)
    assert (output, empty.latched) == (0.0, False)
    full, output = lease.beat(FITTED, empty, 2.25, outlet_c=60.0, level_ok=True, flow_ok=True)
    assert (output, full.fault) == (0.0, "")
    full, output = lease.beat(FITTED, full, 5.25, outlet_c=60.0, level_ok=True, flow_ok=True)
    assert (output, full.fault) == (1.0, "")
    lost, output = lease.beat(FITTED, full, 5.5, outlet_c=60.0, level_ok=None, flow_ok=True)
    assert (output, lost.fault, lost.latched) == (0.0, "no liquid at the heater", False)
    assert lease.worth_telling(full, lost)
    lost, output = lease.beat(FITTED, lost, 6.5, outlet_c=60.0, level_ok=None, flow_ok=True)
    assert (output, lost.latched) == (0.0, True)
    later = told(lost, command(2, 1.0), 7.0, FITTED)
    assert (later.output, later.seq) == (0.0, 2)  # answered, and off
    pressed = lease.reset(later)
    assert (pressed.fault, pressed.latched, pressed.ordered) == ("", False, 0.0)
    assert told(pressed, command(3, 1.0), 8.0, FITTED).output == 1.0


def outlet(state: NodeState, now: float, c: float | None) -> tuple[NodeState, float]:
    return lease.beat(FITTED, state, now, outlet_c=c, level_ok=True, flow_ok=True)


def test_the_outlet_limiter_acts_at_its_limit_and_lets_go_five_kelvin_below() -> None:
    """Off at 85.0 °C and not at 84.9, back on below 80 °C; a second time within ten minutes it latches."""
    state = told(lease.boot(0.0), command(1, 1.0, valid_s=10.0), 20.0, FITTED)
    state, output = outlet(state, 21.0, 84.9)
    assert output == 1.0
    state, output = outlet(state, 22.0, 85.0)
    assert (output, state.latched) == (0.0, False)
    assert "85.0 °C, limit 85 °C" in state.fault
    state, output = outlet(state, 23.0, 80.0)
    assert output == 0.0
    state, output = outlet(state, 24.0, 79.9)
    assert (output, state.fault) == (1.0, "")
    state = told(state, command(2, 1.0), 600.0, FITTED)
    late, output = outlet(state, 622.0, 86.0)  # 600 s after the first: forgotten
    assert (output, late.latched) == (0.0, False)
    state, output = outlet(state, 621.9, 86.0)
    assert (output, state.latched) == (0.0, True)
    assert outlet(state, 700.0, 20.0)[0].fault == state.fault


def test_a_far_too_hot_outlet_latches_at_once_and_a_hot_one_that_falls_silent_stays_limited() -> None:
    """91.9 °C limits, 92.0 °C for a second latches; while the limiter holds, one missing value does not give the heat
    back."""
    heated = told(lease.boot(0.0), command(1, 1.0), 20.0, FITTED)
    for hot_c, for_s, latched in ((91.9, 2.0, False), (92.0, 0.9, False), (92.0, 1.0, True)):
        once, output = outlet(heated, 21.0, hot_c)
        assert (output, once.latched, outlet(once, 21.0 + for_s, hot_c)[0].latched) == (0.0, False, latched)
    state, _ = outlet(heated, 21.0, 86.0)
    state, output = outlet(state, 21.5, None)
    assert (output, state.limiting) == (0.0, True)
    assert outlet(state, 23.0, None)[1] == 0.0


@pytest.mark.parametrize("gone", [None, float("nan"), float("inf")])
def test_a_silent_outlet_thermometer_takes_the_heat_after_a_second(gone: float | None) -> None:
    """Fitted and silent for more than 1 s is a fault; it goes when the thermometer is back."""
    state = told(lease.boot(0.0), command(1, 1.0), 20.0, FITTED)
    state, output = outlet(state, 21.0, gone)
    assert output == 1.0
    state, output = outlet(state, 21.1, gone)
    assert (output, state.fault) == (0.0, "the outlet thermometer is silent")
    state, output = outlet(state, 22.0, 70.0)
    assert (output, state.fault) == (1.0, "")


def flow(state: NodeState, now: float, ok: bool | None) -> tuple[NodeState, float]:
    return lease.beat(FITTED, state, now, outlet_c=60.0, level_ok=True, flow_ok=ok)


def test_lost_flow_takes_the_heat_and_latches_the_second_time() -> None:
    """Flow lost under heat: off at once, back when it has flowed for 3 s; lost for a second it is a loss, and a second
    one within ten minutes stays; a resting pump is none while no heat is asked for."""
    state = told(lease.boot(0.0), command(1, 1.0, valid_s=10.0), 20.0, FITTED)
    state, output = flow(state, 20.5, False)
    assert (output, state.fault, state.flow_lost_at) == (0.0, "no flow at the heater", None)
    state, output = flow(state, 21.5, None)
    assert (output, state.latched, state.flow_lost_at) == (0.0, False, 21.5)
    state, output = flow(state, 22.0, True)
    assert (output, state.fault) == (0.0, "")
    assert flow(state, 24.9, True)[1] == 0.0
    state, output = flow(state, 25.0, True)
    assert output == 1.0
    state, _ = flow(state, 26.0, False)
    state, output = flow(state, 27.0, False)
    assert (output, state.latched) == (0.0, True)
    state, output = flow(told(lease.boot(0.0), command(1, 0.0), 20.0, FITTED), 21.0, False)
    assert (output, state.fault) == (0.0, "")


def test_bounces_are_counted() -> None:
    """Half a second open in every three gives no heat, and is a loss once it is more than 5 s in a minute; the second
    loss stays."""
    state = told(lease.boot(0.0), command(1, 1.0, valid_s=10.0), 20.0, FITTED)
    lost: list[float] = []
    for half in range(1, 121):
        now = 20.0 + half * 0.5
        if half % 8 == 0:
            state, _ = commands.obey(FITTED, state, command(half, 1.0, valid_s=10.0), now)
        state, output = flow(state.but(heating=True), now, half % 6 > 0)
        assert half < 6 or output == 0.0
        lost += [now] if state.flow_lost_at == now else []
    assert (lost, state.latched) == ([56.0, 59.0], True)


def test_power_with_the_output_off_is_a_stuck_switch() -> None:
    """More than 5 % of the plate's power for 2 s after OFF latches a fault; less, or shorter, does not."""
    state = told(lease.boot(0.0), command(1, 0.0), 20.0)
    state, _ = lease.beat(SSR, state, 21.0, power_w=250.0)
    assert state.stuck_since is None
    state, _ = lease.beat(SSR, state, 21.0, power_w=251.0)
    state, _ = lease.beat(SSR, state, 22.9, power_w=251.0)
    assert state.fault == ""
    short, _ = lease.beat(SSR, state, 22.95, power_w=0.0)
    assert short.stuck_since is None
    state, _ = lease.beat(SSR, state, 23.0, power_w=251.0)
    assert "stuck" in state.fault and state.latched
    on, _ = lease.beat(SSR, told(lease.boot(0.0), command(1, 1.0), 20.0), 21.0, power_w=5000.0)
    assert on.stuck_since is None


WINDOWED = NodeSettings(5000.0, "b1", min_off_s=0.0, window_s=2.0, level=True, flow=True)


def windowed(lost: str, at: float, until: float) -> NodeState:
    """40 s in half seconds of a node that makes on and off of a half, one input lost for a while."""
    state = lease.boot(0.0)
    for half in range(80):
        now = half * 0.5
        if half % 2 == 0:
            state, why = commands.obey(WINDOWED, state, command(half + 1, 0.5), now)
            assert why is None
        inputs = {"level_ok": True, "flow_ok": True} | ({lost: False} if at <= now < until else {})
        state, _ = lease.beat(WINDOWED, state, now, **inputs)
    return state


@pytest.mark.parametrize("at", [20.0, 20.5, 21.0, 21.5])
def test_a_loss_in_any_part_of_a_window_counts(at: float) -> None:
    """The output is on for the first second of each two; the loss counts in the second as well; liquid lost for a
    second latches, lost flow is tried again once and its time is remembered; a bounce of half a second is neither."""
    dry = windowed("level_ok", at, at + 1.5)
    assert (dry.code, dry.latched, dry.output) == (lease.NO_LIQUID, True, 0.0)
    still = windowed("flow_ok", at, at + 1.5)
    assert (still.latched, still.flow_lost_at) == (False, at + 1.0)
    for name in ("level_ok", "flow_ok"):
        bounced = windowed(name, at, at + 1.0)
        assert (bounced.code, bounced.latched, bounced.flow_lost_at) == ("", False, None)


def test_the_report_has_the_contracts_fields() -> None:
    """boot, epoch, seq, duty, lease_left_s, fault and its code always; outlet and power where they are measured."""
    state = told(lease.boot(0.0), command(7, 0.25, epoch=3, valid_s=8.0), 20.0)
    plain = {"boot": "a1", "epoch": 3, "seq": 7, "duty": 0.25, "lease_left_s": 6.5}
    plain |= {"fault": None, "fault_code": None}
    assert lease.report(SSR, state, 21.5) == plain
    full = lease.report(SSR, state, 21.5, outlet_c=71.234, power_w=1250.04)
    assert full == {**plain, "outlet_c": 71.23, "power_w": 1250.0}
    assert lease.report(SSR, state, 21.5, outlet_c=float("nan"), power_w=float("inf")) == plain
    assert not lease.worth_telling(state, state)


NUMBERS = st.one_of(st.floats(), st.integers(-5, 5), st.none(), st.booleans(), st.sampled_from(("", "0", "x")))


@given(payload=st.one_of(st.binary(max_size=60), st.dictionaries(st.sampled_from(["duty", "epoch", "seq", "valid_s"]),
       NUMBERS).map(lambda d: json.dumps(d).encode())))  # fmt: skip
def test_no_payload_raises_or_brings_more_than_was_asked(payload: bytes) -> None:
    """Whatever arrives, the output stays a share of 0..1 and heat comes only with a reasoned yes."""
    state, why = commands.obey(SSR, lease.boot(0.0), payload, 20.0)
    state, output = lease.beat(SSR, state, 20.0)
    assert 0.0 <= output <= 1.0
    assert output == 0.0 or why is None


class AnyOrderOfEvents(RuleBasedStateMachine):
    """A node under any sequence of commands, silences and inputs, judged against its contract alone."""

    def __init__(self) -> None:
        super().__init__()
        self.now, self.state = 0.0, lease.boot(0.0)
        self.lease_end, self.output, self.went_off = 0.0, 0.0, 0.0
        self.settings = CONTACTOR.but(outlet=True, level=True, flow=True)
        self.inputs: dict[str, Any] = {"outlet_c": 60.0, "level_ok": True, "flow_ok": True}

    @rule(
        seq=st.integers(0, 30), epoch=st.integers(0, 3), duty=st.sampled_from((0.0, 0.3, 1.0)),
        valid_s=st.sampled_from((0.5, 5.0, 100.0)), retained=st.booleans(),
    )  # fmt: skip
    def order(self, seq: int, epoch: int, duty: float, valid_s: float, retained: bool) -> None:
        before = (self.state.epoch, self.state.seq)
        payload = command(seq, duty, epoch=epoch, valid_s=valid_s)
        self.state, why = commands.obey(self.settings, self.state, payload, self.now, retained)
        if why is None and duty > 0:
            assert (epoch, seq) > before and not retained
            self.lease_end = self.now + min(valid_s, 10.0)
        if why is None and duty == 0:
            self.lease_end = self.now
            assert self.state.output == 0.0

    @rule(dt=st.sampled_from((0.0, 0.5, 3.0, 30.0)))
    def wait(self, dt: float) -> None:
        self.now += dt
        self.state, output = lease.beat(self.settings, self.state, self.now, **self.inputs)
        if output > 0.0:
            assert self.now < self.lease_end
            assert self.inputs["level_ok"] and self.inputs["flow_ok"] and self.inputs["outlet_c"] < 85.0
            if self.output == 0.0:
                assert self.now - self.went_off >= 10.0
        if output == 0.0 and self.output > 0.0:
            self.went_off = self.now
        self.output = output

    @rule(which=st.sampled_from(("level_ok", "flow_ok")), ok=st.booleans())
    def switch(self, which: str, ok: bool) -> None:
        self.inputs[which] = ok

    @rule(c=st.sampled_from((60.0, 84.9, 85.0, 95.0)))
    def outlet(self, c: float) -> None:
        self.inputs["outlet_c"] = c

    @rule()
    def press(self) -> None:
        self.state = lease.reset(self.state)

    @invariant()
    def output_is_a_share(self) -> None:
        assert 0.0 <= self.state.output <= 1.0


TestAnyOrder = AnyOrderOfEvents.TestCase
TestAnyOrder.settings = settings(max_examples=60, stateful_step_count=50)
