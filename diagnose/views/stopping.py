"""The stopping line in words: whether anything left to do could still change the answer."""

from __future__ import annotations

from diagnose.advice.stopping import COMPANY, OPEN, SOUND, TOGETHER, Stop
from diagnose.reading.figures import listed, percent


def says(stop: Stop) -> str:
    """The verdict in words, with what was checked."""
    if stop.state == SOUND:
        return "Nothing need be looked at to find a cause: the seal was taken out sound and nothing on record is amiss."
    if not stop.works:
        return "Nothing is left that could be looked at or measured and would tell anything."
    c, stands = stop.change, listed(stop.stands)
    moved = f"{c.name} from {c.before} to {c.after}" if c else ""
    chance = f"chance {percent(c.chance)}" if c else ""
    work = f'the answer to "{stop.work}"' if stop.work.endswith("?") else stop.work
    if stop.state == OPEN and not stands:
        return f"Not settled: no cause is probable yet. {work} could move {moved} ({chance})."
    if stop.state == OPEN:
        return f"Not settled: {work} could move {moved} ({chance})."
    stand = f"{stands} would stand" if len(stop.stands) == 1 else f"{stands} would all stand"
    checked = (
        f"Checked: {stop.works} pieces of work with {stop.findings} findings, every outcome with a chance of at "
        f"least {stop.reckoned * 100:g} %."
    )
    if stop.state == COMPANY:
        return (
            f"Settled but for company: {stand} whatever any piece of work that is left may show. What else was at "
            f"work is open: {work} could move {moved} ({chance}). {checked}"
        )
    if stands:
        settled = f"Settled: {stand} whatever any piece of work that is left may show."
        last = (
            f" Only all of it together, at its most unfavourable, could move {moved}." if stop.state == TOGETHER else ""
        )
    elif stop.state == TOGETHER:
        settled, last = (
            "No single piece of work that is left could make a cause probable.",
            f" Several together could move {moved}.",
        )
    else:
        settled, last = "Nothing that is left could make a cause probable.", ""
    return f"{settled}{last} {checked}"
