"""What must a heater node never take for a command to heat? Payloads by the rule that they try.

`E`, `S`: the owner's epoch and a fresh sequence, which a node would take if the rest were as it should be.
"""

from __future__ import annotations

from controller.messages.strict_json import READING_CAP

_GOOD = '"epoch":E,"seq":S,"valid_s":5'

REFUSALS: dict[str, tuple[str, ...]] = {
    "truth value": (f'{{{_GOOD},"duty":true}}', '{"epoch":E,"seq":S,"valid_s":true,"duty":1}'),
    "text": (
        f'{{{_GOOD},"duty":"1"}}',
        '{"epoch":E,"seq":"S","valid_s":5,"duty":1}',
        '{"epoch":"E","seq":S,"valid_s":5,"duty":1}',
        '{"epoch":E,"seq":S,"valid_s":"5","duty":1}',
    ),
    "no number": (
        f'{{{_GOOD},"duty":NaN}}',
        f'{{{_GOOD},"duty":Infinity}}',
        f'{{{_GOOD},"duty":1e999}}',
        '{"epoch":E,"seq":S,"valid_s":NaN,"duty":1}',
        '{"epoch":E,"seq":S,"valid_s":Infinity,"duty":1}',
        '{"epoch":E,"seq":S,"valid_s":1e999,"duty":1}',
        f'{{{_GOOD},"duty":null}}',
    ),
    "key twice": (
        f'{{{_GOOD},"duty":0,"duty":1}}',
        f'{{{_GOOD},"duty":1,"duty":1}}',
        '{"epoch":E,"seq":S,"valid_s":0,"valid_s":5,"duty":1}',
    ),
    "too long": (f'{{{_GOOD},"duty":1,"reason":"{"x" * READING_CAP}"}}',),
    "strict JSON": (
        f'{{{_GOOD},"duty":01}}',
        f'{{{_GOOD},"duty":1.}}',
        f'{{{_GOOD},"duty":+1}}',
        f'{{{_GOOD},"duty":1,}}',
        f'{{{_GOOD},"duty":1}} {{}}',
        f'[{{{_GOOD},"duty":1}}]',
        f'{{{_GOOD},"duty":1',
        f"{{{_GOOD},'duty':1}}",
        '{epoch:E,seq:S,valid_s:5,duty:1}',
        f'\ufeff{{{_GOOD},"duty":1}}',
        "1",
        "",
    ),
    "out of range": (
        f'{{{_GOOD},"duty":1.5}}',
        f'{{{_GOOD},"duty":1e300}}',
        '{"epoch":E,"seq":S,"valid_s":0,"duty":1}',
        '{"epoch":E,"seq":S,"valid_s":-5,"duty":1}',
        '{"epoch":E,"seq":S.5,"valid_s":5,"duty":1}',
        '{"epoch":E,"seq":-S,"valid_s":5,"duty":1}',
    ),
    "missing": (
        '{"seq":S,"valid_s":5,"duty":1}',
        '{"epoch":E,"valid_s":5,"duty":1}',
        '{"epoch":E,"seq":S,"duty":1}',
        '{"epoch":E,"seq":S,"valid_s":5}',
    ),
}  # fmt: skip


def payload(text: str, epoch: int, seq: int) -> bytes:
    """The text with its figures."""
    keyed = text.replace(":E", f":{epoch}").replace(':"E"', f':"{epoch}"')
    return keyed.replace(":S", f":{seq}").replace(':"S"', f':"{seq}"').replace(":-S", f":-{seq}").encode()
