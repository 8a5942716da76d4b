"""How wide a text gets, and how it is wrapped or cut to a width, where nothing can be asked that lays text out."""

from __future__ import annotations

FONT = 12.0
_NARROW, _SLIM, _WIDE = frozenset("ijl.,:;'|!"), frozenset('ftr()[]-/ "'), frozenset("mwMW%@—")


def text_width(text: str, size: float = FONT) -> float:
    """About as wide as the text gets in a common sans-serif face, erring on the wide side."""
    return sum(map(_em, text)) * size


def _em(c: str) -> float:
    return 0.31 if c in _NARROW else 0.40 if c in _SLIM else 0.98 if c in _WIDE else 0.76 if c.isupper() else 0.62


def wrap(text: str, width: float, size: float = FONT, most: int = 5) -> list[str]:
    """The text in lines no wider than `width`; words too long are cut, lines beyond `most` end in an ellipsis."""
    lines = [""]
    for word in text.split():
        if len(lines) > most + 1:
            break  # nobody will see it
        while text_width(word, size) > width and len(word) > 1 and len(lines) <= most + 1:
            head = _fitting(word, width, size)
            lines.append(head)
            word = word[len(head) :]
        joined = f"{lines[-1]} {word}".strip()
        if text_width(joined, size) <= width:
            lines[-1] = joined
        else:
            lines.append(word)
    lines = [line for line in lines if line] or [""]
    if len(lines) > most:
        lines = [*lines[: most - 1], cut(" ".join(lines[most - 1 :]), width, size)]
    return lines


def cut(text: str, width: float, size: float = FONT) -> str:
    """The text, ended by an ellipsis where it is wider than `width`."""
    return (
        text if text_width(text, size) <= width else _fitting(text, width - text_width("…", size), size).rstrip() + "…"
    )


def _fitting(text: str, width: float, size: float) -> str:
    em, n = 0.0, 0
    for c in text:
        em += _em(c)
        if em * size > width:
            break
        n += 1
    return text[: max(n, 1)]
