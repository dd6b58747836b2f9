"""Do the seeds of the swarm that once showed a mistake stay sound?

    python -m tests.regimes.once_failed

All of them, each in full: no promise broken, and the run comes to its end. The ordinary tests play the short ones.
"""

from __future__ import annotations

import sys

from sim import swarm

SEEDS = {  # with what it was about; they stay
    22: "the minute in band that opens a rest clock",
    10023: "an OFF of a higher epoch that a deaf heater node never reported",
    10060: "a mash 8 K too warm that nobody cooled",
}
SHORT = tuple(SEEDS)
SEEDS |= {
    3: "a heater that boots on, and wort that stands hot in the line",
    35: "a probe behind the heater that swings with a slow contactor",
    504: "a probe behind the heater that reads the hard limit in a healthy mash",
    10029: "a brewer who gave up while the fault was still on",
    10197: "a second owner before the start, for good",
    10511: "a rest that stays too warm in a tun too full to cool",
    10530: "a heater node whose mains came back while the broker was away",
    20202: "a brewer who asked for a start two hundred times and cleared nothing",
    28694: "a coil whose rest would not begin, and that G11 took for a broken heater",
    28779: "a stranger with a higher epoch while the daemon was still checking",
    40066: "an outlet that was announced twice when its trip got worse",
}


def main() -> int:
    """1 when one of them fails again."""
    failed = 0
    for seed, about in SEEDS.items():
        verdict = swarm.one(seed)
        failed += not verdict.sound
        print(f"{seed}: {verdict.result} after {verdict.simulated_s / 3600:.1f} h, {about}", flush=True)
        print("".join(f"    {breach}\n" for breach in verdict.breaches), end="")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
