"""Somebody who has never used the tool types scenarios/bench-sheet.txt in: what the sheet says, question by question."""

from __future__ import annotations

import re

FIGURES = {
    "tag of the machine": "K-7", "fluid": "caustic liquor", "how the seal came out": "failed", "rotation": "clockwise", "rotation seen from": "driver end",
    "index mark of the rotating parts": "keyway", "index mark of the stationary parts": "top dead centre",
    "kind of machine": "overhung pump", "speed": "1450", "shaft diameter": "45",
    "what about the fluid": "crystallising, caustic soda", "temperature": "62", "chamber pressure": "2.4",
    "wetting": "flooded", "design": "pusher", "cartridge": "no", "balance": "balanced", "springs": "several springs",
    "spring-loaded ring": "rotating", "spring place": "outside the product", "drive": "pins", "held by": "set screws",
    "plan": "none", "soft face": "carbon", "hard face": "sic", "elastomer": "EPDM", "new nose height": "3.0",
    "new free length": "22.0", "springs fitted": "8", "running hours": "1900", "starts": "160",
    "history": "shutdown",
}  # fmt: skip

READINGS = {
    (3, "Shaft"): "shaft runout: 0.03", (5, "2 Silicon carbide ring"): "track width: 4.0 4.0 4.0 4.0",
    (7, "1 Carbon ring"): "nose height left: 2.8", (7, "5 Springs"): "free length: 22.0 21.9 22.0 22.1 21.9 22.0 22.0 21.9",
}  # fmt: skip

# by step and heading: what the sheet says is there, and what it says is not
LOOKS: dict[tuple[int, str], tuple[list[str], str]] = {
    (1, "Leak"): (["leak at the shaft exit", "leak after standstill", "growing leak", "leak running and standing"],
                  "leak from the first start, puffs, smoke at the seal"),
    (1, "Sound"): ([], "squeal, popping, gravel noise, chatter"),
    (1, "Machine"): ([], "vibration, ran hot"),
    (1, "History"): (["lived months", "repeated short life", "failed at start", "frequent starts"],
                     "dry spell, suction lost, over-pressure, process upset"),
    (3, "Fit"): ([], "working length short, working length long"),
    (3, "Shaft"): ([], "shaft lifts, shaft floats"),
    (4, "8 Set screws"): ([], "loose"),
    (4, "6 Drive collar"): ([], "loose, moved along the shaft"),
    (5, "14 Seal chamber"): ([], "chamber not square"),
    (3, "15 Gland bolts"): ([], "loose bolts"),
    (4, "1 Carbon ring"): ([], "faces stuck together, fitted backwards"),
    (4, "2 Silicon carbide ring"): ([], "faces stuck together, fitted backwards"),
    (4, "5 Springs"): ([], "spring missing"),
    (4, "3 Sliding O-ring"): ([], "missing, displaced from its groove"),
    (5, "1 Carbon ring"): (["hang-up", "crystals between the faces: 6 to 10"],
                           "coke on the faces, metallic film, heat tint, burnt, embedded grit"),
    (5, "2 Silicon carbide ring"): (["track as wide as the nose"], "heat tint"),
    (5, "3 Sliding O-ring"): (["deposit ridge: all round", "crystals"], ""),
    (5, "5 Springs"): (["packed", "clogged outside the liquid", "crystals"], "corroded springs, branched cracks"),
    (5, "9 Sleeve"): (["deposit beside the O-ring"], "fretting band"),
    (5, "12 Gland"): (["crystals"], "carbon dust"),
    (5, "Atmosphere side"): (["crystals: severe"], "coke, oil varnish, iron oxide, sticky residue"),
    (6, "3 Sliding O-ring"): ([], "swollen, flat on both sides, extruded edge, soft, sticky"),
    (6, "4 O-ring of the stationary ring"): ([], "swollen, flat on both sides, extruded edge, soft, sticky"),
    (6, "10 O-ring under the sleeve"): ([], "swollen, flat on both sides, extruded edge, soft, sticky"),
    (6, "13 O-ring of the gland"): ([], "swollen, flat on both sides, extruded edge, soft, sticky"),
    (7, "1 Carbon ring"): (["scored face: moderate, 6 to 10"],
                           "blisters, pits in the track, edge chips, radial cracks, fracture"),
    (7, "2 Silicon carbide ring"): (["scores: light, all round"],
                                    "radial cracks, edge chips, concentric grooves, attack outside the track"),
    (7, "3 Sliding O-ring"): ([], "hard, cracked rubber, clean cut"),
    (7, "5 Springs"): ([], "broken"),
    (7, "7 Drive pins"): ([], "worn on both flanks, worn on the driving flank, worn on the wrong flank"),
    (7, "8 Set screws"): ([], "smeared screw marks"),
}  # fmt: skip


class Newcomer:
    """Answers each question from the sheet, a card in one line; Enter where the sheet says nothing."""

    def __init__(self) -> None:
        self.step, self.heading = 0, ""
        self.left = {k: list(v[0]) for k, v in LOOKS.items()}
        self.absent = {k: v[1] for k, v in LOOKS.items()}
        self.readings = dict(READINGS)
        self.unused: set[str] = set(FIGURES)

    def answer(self, text: str) -> str:
        """The answer to the question at the end of what the program wrote since the last one."""
        if found := re.findall(r"^Step (\d) of 8:", text, re.M):
            self.step = int(found[-1])
        question = text.rstrip().split("\n")[-1].strip()
        if question.startswith("Seen (none"):
            return self.card(" ".join(text.split("\n\n")[-1].split()))
        if question.startswith("What differs"):
            named = (
                "part 1 name Carbon ring, seen from driver end; part 2 name Silicon carbide ring, seen from driver end"
            )
            return f"none 16; {named}" if "16 Flush line" in text else ""
        if question.startswith("number (Enter"):
            return "1"
        if question.startswith("gauge or absolute"):
            return "g"
        if question.startswith("at clock positions"):
            return "12 3 6 9"
        name = re.split(r" \(|:", question)[0]
        if name in FIGURES:
            self.unused.discard(name)
            return FIGURES[name]
        return ""

    def card(self, heading: str) -> str:
        """All that the sheet says of what stands on a card, entry by entry."""
        heading = heading.partition(": ")[0] if ";" not in heading.partition(": ")[0] else heading
        entries: list[str] = []
        for step, name in list(self.left):
            if step != self.step or not re.search(rf"(^|\W){re.escape(name)}(\W|$)", heading):
                continue
            about = f"part {name.split()[0]} " if name[0].isdigit() else ""
            absent = [f"absent {words}"] if (words := self.absent.pop((step, name))) else []
            entries += [about + said for said in [*self.left.pop((step, name)), *absent]]
        for (step, name), said in list(self.readings.items()):
            if step == self.step and re.search(rf"(^|\W){re.escape(name)}(\W|$)", heading):
                about = f"part {name.split()[0]} " if name[0].isdigit() else ""
                entries.append(about + said)
                del self.readings[step, name]
        return "; ".join(entries)
