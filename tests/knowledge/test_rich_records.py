"""Rich bench records, invented: the root leads, what followed from it stands in its chain, and nothing wrong is established.

The records of `rich/` were written from the trade to its kinds of long chains (heat from a blocked flush, a coupling out of
line, a dry run, slurry through a plan that keeps no solids off, grease on the wrong rubber, low flow, a spring of the wrong
hand, oil in a gas seal, a choked strainer, pipe strain). Two links and two words were mended after a first look at them.
"""

from __future__ import annotations

from pathlib import Path

import pytest

RICH = Path(__file__).parent / "rich"
CHAINS = {
    "a-coked": ("flush lost", {"faces short of cooling", "faces overheated", "O-ring heated from the faces", "coking"}),
    "b-coupling": ("pump and driver misaligned", {"vibration", "worn or failed bearings", "drive-pin wear"}),
    "c-dry": ("pump run without liquid", {"dry running", "faces overheated", "O-ring heated from the faces"}),
    "d-slurry": ("plan unsuited to the service", {"solids collect in the seal", "abrasive wear", "clogged springs"}),
    "e-grease": ("elastomer swollen by a wrong lubricant", {"rubber swollen", "hang-up of the sliding ring"}),
    "f-flow": ("running far from best flow", {"vibration", "worn or failed bearings", "shaft pushed to one side"}),
    "h-gas": ("seal gas wet, dirty or lost", {"gas-seal faces wetted or fouled", "gas film lost"}),
    "i-hand": ("parts of the wrong hand or put together wrongly", {"spring drive slips"}),
    "u-strainer": ("suction blocked or starved", {"cavitation", "vibration"}),
    "v-strain": ("pipe strain", {"vibration", "worn or failed bearings"}),
}
MOST = 45
"""dB that an honest bench record moves a root or a mechanism by."""


def test_each_record_has_its_chain():
    assert {p.stem for p in RICH.glob("*.yaml")} == set(CHAINS)


@pytest.mark.parametrize("name", CHAINS)
def test_the_root_leads_and_what_followed_is_its_chain(judged, name):
    root, chain = CHAINS[name]
    (at,) = judged(RICH / f"{name}.yaml").judgements
    assert at.causes[0].name == root
    assert {c.name for c in at.causes if c.standing == "established"} <= {root}
    likely = {m.name for m in at.mechanisms if m.probability > 0.6}
    assert chain <= likely
    assert all(j.weight <= MOST for j in (*at.causes, *at.mechanisms))


@pytest.mark.parametrize("name", CHAINS)
def test_nothing_is_established_that_the_record_denies(judged, name):
    """What a chain does not hold and no finding of the record speaks for is never established."""
    (at,) = judged(RICH / f"{name}.yaml").judgements
    for mechanism in at.mechanisms:
        if mechanism.standing == "established":
            assert any(w.weight > 0 for w in mechanism.evidence)
