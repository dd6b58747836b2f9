"""How long did the malt take to saccharify?

In a laboratory mash an iodine test is asked for at even intervals from the moment the temperature is reached. Nothing
waits for it: the programme of the mash is fixed. The first test without colour gives the saccharification time, said as
a class, since it lies between two tests (EBC 4.5.1, MEBAK R-206.00.002; classes from memory).
"""

from controller.core.nouns import Event, Instant, Leg
from controller.core.procedure.questions import ask
from controller.core.procedure.run import Run


def due(run: Run, leg: Leg, now: Instant) -> Run:
    """Is the next test of the series to be asked for? One that nobody answered is passed over by the next."""
    progress = run.progress
    reached = progress.in_band_at if progress.reached_at is None else progress.reached_at
    if progress.iodine_ok or reached is None:
        return run
    count = int((now - reached - leg.iodine.from_s) // leg.iodine.every_s) + 1
    if count <= progress.reminded:
        return run
    return ask(run._replace(progress=progress._replace(reminded=count)), leg, "iodine_series", now)


def saccharified(run: Run, leg: Leg) -> Event:
    """The saccharification time for the record: between the test before and this one."""
    first_min, every_min = leg.iodine.from_s / 60.0, leg.iodine.every_s / 60.0
    last_min = first_min + (max(1, run.progress.reminded) - 1) * every_min
    between = f"under {first_min:g} min" if last_min <= first_min else f"{last_min - every_min:g} to {last_min:g} min"
    text = f"{leg.name}: saccharification time {between} from {leg.target_c:g} °C on"
    return Event("note", "saccharification", text, value=last_min, unit="min", priority=3, data={"class": between})


def not_seen(leg: Leg) -> Event:
    """The rest is over, and every test showed colour."""
    text = f"{leg.name}: not saccharified within {leg.hold_s / 60.0:g} min, by the tests that were answered"
    return Event("note", "saccharification", text, priority=2, data={"class": f"over {leg.hold_s / 60.0:g} min"})
