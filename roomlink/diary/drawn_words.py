"""Words in a drawing: safe in XML, and cut or broken to about the room that there is, as nothing is measured here."""

from __future__ import annotations

from xml.sax.saxutils import escape

CHAR = 0.53
"""Mean width of a letter as a part of the type's size: a guess."""
_NOT_XML = dict.fromkeys((*range(9), 11, 12, *range(14, 32), 0xFFFE, 0xFFFF, *range(0xD800, 0xE000)))


def plain(words: str) -> str:
    """Without the characters that no XML may have."""
    return words.translate(_NOT_XML)


def text(words: str) -> str:
    """As the text of an element."""
    return escape(plain(words))


def fitted(words: str, width: float, size: float) -> str:
    """As much of it as fits into ``width`` at a type's ``size``, about."""
    most = int(width / (size * CHAR))
    return words if len(words) <= most else words[: max(most - 1, 1)].rstrip() + "\N{HORIZONTAL ELLIPSIS}"


def wrapped(words: str, width: float, size: float, most: int) -> list[str]:
    """Up to ``most`` lines of ``width`` at a type's ``size``; the last is cut where there is more."""
    lines: list[str] = []
    line, left = "", words.split()
    while left and len(lines) < most:
        longer = f"{line} {left[0]}".strip()
        if not line or len(longer) * size * CHAR <= width:
            line, left = longer, left[1:]
        else:
            lines.append(line)
            line = ""
    rest = " ".join([line, *left]).strip()
    if len(lines) < most:
        lines.append(rest)
    elif rest:
        lines[-1] = f"{lines[-1]} {rest}"
    return [fitted(each, width, size) for each in lines]
