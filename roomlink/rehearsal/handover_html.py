"""The paper that a handover is printed on: escaping, tables, and a page's frame. No scripts, nothing from elsewhere."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape

STYLE = """
:root { color-scheme: light; --line: #9a9a9a; --faint: #555; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 62rem; padding: 2.5rem 1.5rem 4rem; background: #fff; color: #000;
  font: 15px/1.45 "Optima", "Candara", "Gill Sans Nova", "Noto Sans", "Liberation Sans", sans-serif; }
h1 { font-size: 2.6rem; font-weight: 300; line-height: 1.1; margin: 0; }
h2 { font-size: 1.55rem; font-weight: 400; margin: 3rem 0 0.6rem; padding-top: 0.5rem; border-top: 2px solid #000; }
h3 { font-size: 1.08rem; font-weight: 600; margin: 1.5rem 0 0.4rem; }
p, ul { margin: 0 0 0.7rem; max-width: 46rem; }
a { color: inherit; }
.sub { font-size: 1.2rem; margin: 0.3rem 0 1.6rem; color: var(--faint); }
code { font: 0.87em "DejaVu Sans Mono", "Liberation Mono", monospace; white-space: nowrap; }
dl { display: grid; grid-template-columns: max-content minmax(0, 1fr); gap: 0.25rem 1.2rem; margin: 0 0 1.4rem; }
dt { color: var(--faint); } dd { margin: 0; overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%; font-size: 0.87rem; line-height: 1.35; margin: 0 0 1rem;
  font-variant-numeric: tabular-nums lining-nums; }
th, td { text-align: left; vertical-align: top; padding: 0.32rem 0.9rem 0.32rem 0; overflow-wrap: break-word;
  border-bottom: 1px solid var(--line); }
thead th { font-weight: 600; border-bottom: 1.5px solid #000; overflow-wrap: normal; }
td:first-child { font-weight: 600; }
td small { max-width: 30rem; }
table.checks td { width: 12%; } table.checks td:nth-child(1) { width: 40%; }
table.checks td:nth-child(n + 4) { width: 18%; }
td small { display: block; font-weight: 400; color: var(--faint); }
.caution { border: 2px solid #000; padding: 0.7rem 1rem; margin: 1.2rem 0; }
.caution p { max-width: none; } .caution p:last-child { margin: 0; }
.contents { columns: 2; column-gap: 3rem; padding: 0; list-style: none; max-width: none; }
.contents li { break-inside: avoid; padding: 0.12rem 0; }
.plan svg { display: block; width: 100%; max-height: 34rem; }
svg { font-family: inherit; }
.pictures { display: grid; grid-template-columns: repeat(4, minmax(0, 1fr)); gap: 1.2rem 1.6rem; margin: 0 0 1.4rem; }
.pictures figure { margin: 0; break-inside: avoid; }
.pictures svg { display: block; width: 100%; height: 8.5rem; }
.pictures figcaption { font-size: 0.82rem; line-height: 1.35; margin-top: 0.35rem; }
.pictures figcaption b { font-weight: 600; }
.pictures p { margin: 0 0 0.2rem; }
.sign { display: grid; grid-template-columns: 1.6fr 1.6fr 1fr; gap: 3.4rem 2rem; margin-top: 3.6rem;
  break-inside: avoid; }
.sign span { border-top: 1px solid #000; padding-top: 0.25rem; font-size: 0.85rem; }
.sums { display: grid; grid-template-columns: repeat(2, minmax(0, 1fr)); gap: 0 2.4rem; }
.sums > div { break-inside: avoid; min-width: 0; }
@media (max-width: 40rem) { .pictures { grid-template-columns: repeat(2, minmax(0, 1fr)); } .sums { display: block; } }
@media print {
  body { max-width: none; padding: 0; font-size: 10pt; }
  h2 { break-after: avoid; margin-top: 9mm; } h3 { break-after: avoid; }
  section.page { break-before: page; } section.page > h2 { margin-top: 0; }
  thead { display: table-header-group; } tr { break-inside: avoid; }
  table { font-size: 8.5pt; } .plan svg { max-height: 100mm; }
  .pictures { grid-template-columns: repeat(3, minmax(0, 1fr)); gap: 6mm 7mm; }
  p { orphans: 3; widows: 3; }
}
"""

WORD_MAX = 24
"""Letters of a word that fit into any column."""

_MINUS = re.compile(r"(?<![\w./:-])-(?=\d)")


def say(text: str) -> str:
    """Text for a page: escaped, with a real minus sign before numbers."""
    return escape(_MINUS.sub("\u2212", text))


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], small: str = "", kind: str = "plain") -> str:
    """A table of plain text; without rows the sentence ``small`` in its place. ``kind`` is its class in the style."""
    body = "".join(f"<tr>{''.join(f'<td>{_cell(cell)}</td>' for cell in row)}</tr>" for row in rows)
    if not body:
        return f"<p>{say(small or 'None is configured.')}</p>"
    head = "".join(f'<th scope="col">{say(name[:1].upper() + name[1:])}</th>' for name in heads)
    return f'<table class="{kind}"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def _cell(text: str) -> str:
    """A cell; what follows its first line is set small."""
    first, _, rest = text.partition("\n")
    return _wrapping(first) + (f"<small>{_wrapping(rest)}</small>" if rest else "")


def _wrapping(text: str) -> str:
    """As ``say``; a word that is too long for a column may be broken."""
    pieces = (re.findall(rf".{{1,{WORD_MAX}}}", word) for word in text.split(" "))
    return " ".join("<wbr>".join(map(say, piece)) if len(piece) > 1 else say("".join(piece)) for piece in pieces)


def pairs(found: Iterable[tuple[str, str]]) -> str:
    return f"<dl>{''.join(f'<dt>{say(key)}</dt><dd>{say(value)}</dd>' for key, value in found)}</dl>"


def section(key: str, title: str, body: str, *, page: bool = False) -> str:
    """A part of the document; with ``page`` it begins on a new sheet."""
    kind = ' class="page"' if page else ""
    return f'<section id="{key}"{kind}><h2>{say(title)}</h2>{body}</section>'


def document(title: str, left: str, right: str, body: str) -> str:
    """A whole page. ``left`` and ``right`` head every printed sheet."""
    margins = (
        f"@page {{ margin: 22mm 16mm 18mm; @top-left {{ content: {_css(left)}; }}"
        f" @top-right {{ content: {_css(right)}; }}"
        ' @bottom-right { content: counter(page) " of " counter(pages); }'
        ' @bottom-left { content: "Not a safety function. Hard-wired protection, local codes and licensed practice come'
        ' first."; } }'
        " @page { @top-left { FONT } @top-right { FONT } @bottom-left { FONT } @bottom-right { FONT } }"
    ).replace("FONT", 'font: 8pt "Optima", "Candara", "Noto Sans", "Liberation Sans", sans-serif; color: #555;')
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{say(title)}</title><style>{STYLE}{margins}</style></head>\n<body>{body}</body></html>\n"
    )


def _css(text: str) -> str:
    """A string of CSS: whatever could end it, or the style element around it, is written as its code point."""
    return '"' + "".join(c if c.isalnum() or c in " .,:-()" else f"\\{ord(c):x} " for c in text) + '"'
