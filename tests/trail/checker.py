"""An independent check of proofs: knows the rules' YAML text and the recorded facts, and none of the engine's code.

It reads conditions straight from the files, decides each against the records of the case file and the findings that the
trail claims, and complains where a claimed finding does not follow, where a leaf is no record of the case, or where a
finding that follows from the claimed ones is missing. Conditions on quantities and on marks compared on the clock are
decided from the numbers and pairs that the trail states, not worked out again. What states, acts and qualifiers (a colour, a
texture) say of a mark is left undecided.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml

Doc = dict[str, Any]


def _plain(word: Any) -> str:
    return re.sub(r"[\s_]+", " ", str(word)).strip().lower()


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [] if value is None else [value]


@lru_cache(maxsize=2000)
def _yaml(path: Path) -> Doc:
    return yaml.load(path.read_text("utf-8"), Loader=yaml.CBaseLoader)


READ = {"saw", "absent", "on", "at", "group", "face", "extent", "side", "degree"}
"""What this checker reads of a condition on marks."""
STATED = {"state", "act", "made of", "runs", "sound"}
"""Keys of a feature that is also read from what is said of points, people and materials."""


class Checker:
    def __init__(self, knowledge: Path, trail: Doc):
        self.trail = trail
        self.kinds = _yaml(knowledge / "vocabulary/parts.yaml")["parts"]
        self.features = dict(_yaml(knowledge / "vocabulary/features.yaml")["features"])
        forms = knowledge / "vocabulary/forms.yaml"
        self.features |= _yaml(forms)["forms"] if forms.exists() else {}
        self.degrees = _yaml(knowledge / "vocabulary/scales.yaml")["degrees"]
        self.kind_names = self._spellings(self.kinds)
        self.feature_names = self._spellings(self.features)
        settings = _yaml(knowledge / "vocabulary/settings.yaml")["settings"]
        self.single = {name for name, s in settings.items() if s.get("single") in (True, "true")}
        self.terms = {
            name: {_plain(w): t for t, also in s["terms"].items() for w in [t, *_list(also)]}
            for name, s in settings.items()
        }
        self.rules = {}
        for path in sorted((knowledge / "findings").glob("*.yaml")):
            if not path.name.endswith(".test.yaml"):
                card = _yaml(path)
                self.rules[card["finding"]] = card
        self.positions = [j["position"] for j in trail["sets"]]
        self.claims = {(f["text"], f["position"]): f["state"] for f in trail["findings"]}
        self.said = any("kind" not in r for r in trail["recorded"])
        itself = {f for f, card in self.features.items() if STATED & set(card or {})}
        below = {f for f in self.features if self.general(f) & itself}
        self.stated = below | {above for f in itself for above in self.general(f)}

    @staticmethod
    def _spellings(table: Doc) -> dict[str, str]:
        """Names go before other words for the same thing."""
        also = {_plain(w): name for name, v in table.items() for w in _list((v or {}).get("also"))}
        return also | {_plain(name): name for name in table}

    def above(self, kind: str) -> set[str]:
        found, todo = set(), [kind]
        while todo:
            k = todo.pop()
            if k in self.kinds and k not in found:
                found.add(k)
                todo += _list(self.kinds[k].get("is"))
        return found

    def general(self, feature: str) -> set[str]:
        """The feature, and the general words above it."""
        found: set[str] = set()
        todo = [feature]
        while todo:
            f = todo.pop()
            if f in self.features and f not in found:
                found.add(f)
                card = self.features[f] or {}
                todo += [*_list(card.get("form")), *_list(card.get("is"))]
        return found

    # ---- the check --------------------------------------------------------------------------------------------

    def complaints(self) -> list[str]:
        wrong = []
        recorded = {r["id"] for s in ("recorded", "settings", "quantities") for r in self.trail[s]}
        findings = {f["id"] for f in self.trail["findings"]}
        concluded: dict[str, list[Doc]] = {}
        for firing in self.trail["firings"]:
            for premise in firing["premises"]:
                for support in (i for many in premise["supports"] for i in many.split("+")):
                    if support not in recorded | findings:
                        wrong.append(f"{firing['id']} rests on {support}, which is nowhere")
            if firing["kind"] == "found":
                concluded.setdefault(f"f:{firing['rule']}@{firing['position']}", []).append(firing)
        for finding in self.trail["findings"]:
            name, position, state = finding["text"], finding["position"], finding["state"]
            firings = [f for f in concluded.get(finding["id"], []) if f["state"] == state]
            if not firings:
                wrong.append(f"{finding['id']} has no proof")
            if self.follows(name, position, state) is False:
                wrong.append(f"{finding['id']} is said to be {state}, but its rule does not hold")
        for name in self.rules:
            for position in self.positions:
                if (name, position) not in self.claims and self.follows(name, position, "present") is True:
                    wrong.append(f"{name} at {position} follows and is missing")
        return wrong

    def follows(self, name: str, position: str, state: str) -> bool | None:
        """Whether the rule's text gives this state; None where the numbers or marks stated do not decide it."""
        card = self.rules[name]
        if state == "present":
            return self.holds(card["when"], position)
        if card.get("absent when") == "never":
            return False
        if card.get("absent when"):
            return self.holds(card["absent when"], position)
        return self.fails(card["when"], position)

    # holds and fails: True, False, or None where this checker cannot tell

    def holds(self, c: Doc, position: str) -> bool | None:
        if "all" in c:
            return _all([self.holds(x, position) for x in _list(c["all"])])
        if "any" in c:
            return _any([self.holds(x, position) for x in _list(c["any"])])
        if "none" in c:
            return _not(_any([self.holds(x, position) for x in _list(c["none"])]))
        if "at least" in c:
            return _count([self.holds(x, position) for x in _list(c["at least"]["of"])], int(c["at least"]["count"]))
        if "saw" in c:
            return self.sure(c, "saw", any(self.matches(o, c, "saw", position) for o in self.seen(c, "saw", position)))
        if "absent" in c:
            return self.sure(c, "absent", self.not_seen(c, "absent", position))
        if "found" in c:
            return self.claimed(c["found"], "present", c, position)
        if "found absent" in c:
            return self.claimed(c["found absent"], "absent", c, position)
        if "not found" in c:
            return not self.claimed(c["not found"], "present", c, position)
        if "setting" in c:
            return all(self.setting(k, t, True, c, position) for k, t in c["setting"].items())
        if "not setting" in c:
            return all(self.setting(k, t, False, c, position) for k, t in c["not setting"].items())
        return None

    def fails(self, c: Doc, position: str) -> bool | None:
        """Whether the condition is known not to hold."""
        if "all" in c:
            return _any([self.fails(x, position) for x in _list(c["all"])])
        if "any" in c:
            return _all([self.fails(x, position) for x in _list(c["any"])])
        if "none" in c:
            return _any([self.holds(x, position) for x in _list(c["none"])])
        if "at least" in c:
            parts = _list(c["at least"]["of"])
            return _count([self.fails(x, position) for x in parts], len(parts) - int(c["at least"]["count"]) + 1)
        if "saw" in c:
            return self.sure(c, "saw", self.not_seen(c, "saw", position))
        if "absent" in c:
            return self.sure(
                c, "absent", any(self.matches(o, c, "absent", position) for o in self.seen(c, "absent", position))
            )
        if "found" in c:
            return self.claimed(c["found"], "absent", c, position)
        if "found absent" in c or "not found" in c:
            return self.claimed(c.get("found absent") or c["not found"], "present", c, position)
        if "setting" in c:
            return any(self.setting(k, t, False, c, position) for k, t in c["setting"].items())
        if "not setting" in c:
            return any(self.setting(k, t, True, c, position) for k, t in c["not setting"].items())
        return None

    def sure(self, c: Doc, form: str, decided: bool) -> bool | None:
        """None where qualifiers this checker does not read, or states and acts on record, may decide otherwise."""
        feature = self.feature_names[_plain(c[form])]
        return None if (set(c) - READ) or (self.said and feature in self.stated) else decided

    # ---- leaves -----------------------------------------------------------------------------------------------

    def places(self, c: Doc, position: str) -> list[str]:
        at = c.get("at", "")
        if at == "any":
            return self.positions
        if at == "other":
            return [p for p in self.positions if p != position and len(self.positions) == 2]
        return [at or position]

    def stands_at(self, recorded: str, c: Doc, position: str) -> bool:
        shared = recorded in ("", "machine")
        if shared and c.get("at") == "other":
            return False
        return any(recorded == s or (shared and s in self.positions) for s in self.places(c, position))

    def seen(self, c: Doc, form: str, position: str) -> list[Doc]:
        """Records of the feature on the parts the condition speaks of, present or absent."""
        feature = self.feature_names[_plain(c[form])]
        wanted = self.general(feature)
        on = self.kind_names[_plain(c["on"])] if c.get("on") else ""
        rows = []
        for o in self.trail["recorded"]:
            if "kind" not in o:  # a state, an act or a material
                continue
            # a special mark is there in general too; one that is not there in general is there in no special way
            answers = feature in self.general(o["what"]) if o["state"] == "present" else o["what"] in wanted
            if not answers or o["state"] not in ("present", "absent") or not self.stands_at(o["position"], c, position):
                continue
            if on and on not in self.above(o["kind"]):
                continue
            if c.get("group", o["group"]) == o["group"] and c.get("face", o["face"]) == o["face"]:
                rows.append(o)
        return rows

    def matches(self, o: Doc, c: Doc, form: str, position: str) -> bool:
        if o["state"] != "present":
            return False
        if c.get("extent") and o["extent"] != c["extent"]:
            return False
        if c.get("side") and o["side"] != c["side"]:
            return False
        return not c.get("degree") or (bool(o["degree"]) and self.rank(o["degree"]) >= self.rank(c["degree"]))

    def rank(self, degree: str) -> int:
        return list(self.degrees).index(degree)

    def not_seen(self, c: Doc, form: str, position: str) -> bool:
        """Looked for and not there, or there and known to be otherwise."""
        rows = self.seen(c, form, position)
        present = [o for o in rows if o["state"] == "present"]
        if any(self.matches(o, c, form, position) for o in present):
            return False
        for o in rows:
            if (
                o["state"] == "absent"
                and o["side"] in ("", c.get("side", ""))
                and o["extent"] in ("", c.get("extent", ""))
            ):
                return True
        if (
            c.get("extent")
            and present
            and all(o["extent"] for o in present)
            and any(o["extent"] != c["extent"] for o in present)
        ):
            return True
        if (
            c.get("side")
            and present
            and all(o["side"] for o in present)
            and any(o["side"] != c["side"] for o in present)
        ):
            return True
        return bool(
            c.get("degree")
            and present
            and all(o["degree"] for o in present)
            and any(self.rank(o["degree"]) < self.rank(c["degree"]) for o in present)
        )

    def claimed(self, finding: str, state: str, c: Doc, position: str) -> bool:
        fired = {
            (f["rule"], f["position"]) for f in self.trail["firings"] if f["kind"] == "found" and f["state"] == state
        }
        return any((finding, s) in fired for s in self.places(c, position))

    def setting(self, key: str, term: str, holds: bool, c: Doc, position: str) -> bool:
        term = self.terms[key][_plain(term)]
        for s in self.trail["settings"]:
            if s["what"] != key or not self.stands_at(s["position"], c, position):
                continue
            if s["term"] == term and s["holds"] == holds:
                return True
            if not holds and key in self.single and s["holds"] and s["term"] != term:
                return True
        return False


def _all(values: list[bool | None]) -> bool | None:
    return False if False in values else None if None in values else True


def _any(values: list[bool | None]) -> bool | None:
    return True if True in values else None if None in values else False


def _not(value: bool | None) -> bool | None:
    return None if value is None else not value


def _count(values: list[bool | None], needed: int) -> bool | None:
    sure = sum(v is True for v in values)
    return True if sure >= needed else None if sure + sum(v is None for v in values) >= needed else False
