"""Is a level or flow contact of the node open, or did it bounce?

The first look that finds it open takes the heat; heat comes back once it has been closed for 3 s without a break. Open
for a second, or for more than 5 s in a minute with all bounces counted, it is open beyond doubt. Plain tuples, and no
import at all: a small board's interpreter runs this same file.
"""

CLOSED_S = 3.0  # closed for so long before heat comes back (own proposal)
OPEN_S = 1.0  # open for so long it is no bounce (own proposal)
BOUNCED_S, WITHIN_S = 5.0, 60.0  # open for longer than this in so long is no bounce either (own proposal)

MYPY = False  # true for the type checker alone
if MYPY:
    Contact = tuple[
        float | None,  # open since; None: closed
        bool,  # it opened under heat, and that was not settled yet
        float | None,  # closed since, where it was ever open
        tuple[tuple[float, float], ...],  # each bounce: when it ended, how long it was open
    ]

NEVER_OPEN: "Contact" = (None, False, None, ())


def looked(known: "Contact", ok: bool, heating: bool, now: float) -> "Contact":
    """After this look at the contact. `heating`: was heat flowing, or would it, but for this contact?"""
    opened, _, closed, bounces = known
    if not ok:
        return known if opened is not None else (now, heating, closed, bounces)
    if opened is None:
        return known
    recent = [bounce for bounce in bounces if now - bounce[0] < WITHIN_S]
    recent.append((now, now - opened))
    return (None, False, now, tuple(recent))


def is_open(known: "Contact", now: float) -> bool:
    """Is it open beyond doubt?"""
    opened, _, _, bounces = known
    if opened is None:
        return False
    bounced_s = sum([lasted for ended, lasted in bounces if now - ended < WITHIN_S])
    return now - opened >= OPEN_S or now - opened + bounced_s > BOUNCED_S


def told(known: "Contact") -> "Contact":
    """What it did under heat has been acted on."""
    opened, _, closed, bounces = known
    return (opened, False, closed, bounces)


def settled(now: float, *contacts: "Contact") -> bool:
    """Are they closed, and were they for long enough?"""
    return all(one[0] is None and (one[2] is None or now - one[2] >= CLOSED_S) for one in contacts)
