"""The report as one HTML file: it loads nothing from outside, and no text in it is code."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable
from typing import assert_never

from ui.report.blocks import (
    LONGEST_WORD,
    Block,
    Drawn,
    Facts,
    Front,
    Grid,
    Heading,
    NewPage,
    Pictures,
    ReportPicture,
    Rounds,
    Words,
)
from ui.report.writers.drawings import svg_of
from ui.report.writers.letters import escaped

# Styles only: no script runs, and nothing is loaded.
POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
STYLE = """
body{font:15px/1.45 system-ui,'DejaVu Sans',Arial,sans-serif;color:#1a1a1a;max-width:62rem;
margin:1.5rem auto;padding:0 1rem;overflow-wrap:anywhere}
h1{font-size:1.6rem}h2{font-size:1.2rem;border-bottom:2px solid #0072B2;margin-top:2rem}
h3{font-size:1rem;margin-top:1.4rem}
.wide{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-size:.84rem;overflow-wrap:normal}
th,td{border:1px solid #bbb;padding:.25rem .4rem;text-align:left;vertical-align:top}
th{background:#e8eef3}th.n,td.n{text-align:right;font-variant-numeric:tabular-nums}
td.n,td.k{white-space:nowrap}td.l{overflow-wrap:anywhere;min-width:8rem}td.w{min-width:14rem}
td.b{font-weight:bold}
tr.strong td{background:#fdf1e7}tr.sum td{font-weight:bold;border-bottom:2px solid #555}
dl{display:grid;grid-template-columns:minmax(9rem,16rem) 1fr;gap:.15rem 1rem}
dt{font-weight:bold}dd{margin:0;text-align:left}
.caution{border-left:6px solid #D55E00;background:#fdf1e7;padding:.5rem .8rem}
p.strong{font-weight:bold}.small{font-size:.85rem;color:#333}
figure{margin:1rem 0}figure img{max-width:100%;height:auto}
figcaption{font-size:.85rem;color:#333}
.plot img{width:100%;min-width:34rem}
.rounds{display:grid;grid-template-columns:repeat(auto-fit,minmax(15rem,1fr));gap:1rem}
.rounds img{width:100%}
.side{display:grid;grid-template-columns:repeat(auto-fit,minmax(17rem,1fr));gap:1rem}
header{display:flex;justify-content:space-between;gap:2rem}header img{height:3rem;display:block}
.alarm{font-weight:bold}.headline{font-size:1.5rem;font-weight:bold;margin:0}
.answer{border-left:6px solid #0072B2;background:#e8eef3;padding:.6rem .9rem;margin:1rem 0}
.decision{border:1px solid #1a1a1a;padding:.2rem .9rem}.choices{list-style:none;padding:0}
.blank{display:inline-block;width:14rem;border-bottom:1px solid #444}
.sign{table-layout:fixed}.sign td{height:4.2rem;vertical-align:bottom;overflow-wrap:anywhere}
@media(max-width:34rem){dl{grid-template-columns:1fr}dd{margin:0 0 .4rem}}
@media print{html{font-size:12px}body{font-size:9.5pt;max-width:none;margin:0;padding:0}
table{font-size:7.6pt;min-width:0!important;overflow-wrap:anywhere}.plot img{min-width:0}
td,th{padding:1.5pt 3pt}td.l,td.w{min-width:0}.wide{overflow:visible}
.side{grid-template-columns:1fr 1fr;gap:6pt}.side img{max-height:62mm;width:auto}
.rounds{grid-template-columns:repeat(3,1fr);gap:6pt}.sign td{height:17mm}
th,tr.strong td,.caution{print-color-adjust:exact;-webkit-print-color-adjust:exact}
tr,figure,.caution,.signed,.decision,dl{break-inside:avoid}figure.many{break-inside:auto}
.rounds img{break-inside:avoid}h1,h2,h3,h2+p,h3+p{break-after:avoid}
.page{break-before:page}thead{display:table-header-group}}
"""
# header and footer of a printed page, where the browser supports them
EDGES = """
@page{margin:18mm 15mm 20mm;
@top-left{content:%s;font:7pt sans-serif;color:#444;width:100%%;overflow-wrap:anywhere}
@bottom-left{content:%s;font:7pt sans-serif;color:#444;width:78%%}
@bottom-right{content:"Page " counter(page) " of " counter(pages);font:7pt sans-serif;color:#444}}
"""


def html_of(blocks: Iterable[Block], *, title: str, caution: str = "") -> str:
    """Return the report as the text of one HTML file.

    Parameters
    ----------
    blocks : iterable of Block
        The content.
    title : str
        Title in the browser, and at the top of every printed page.
    caution : str, optional
        A sentence at the foot of every printed page.
    """
    body = "\n".join(_block(block) for block in blocks)
    edges = EDGES % (_in_style(title), _in_style(caution))
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escaped(title)}</title>\n<style>{STYLE}{edges}</style>\n</head>\n<body>\n"
        f"{body}\n</body>\n</html>\n"
    )


def _in_style(words: str) -> str:
    """Return a text as a style sheet's string, in which no character ends it or the sheet.

    Examples
    --------
    >>> print(_in_style('rope 1"</style>'))
    "rope 1\\22 \\3c \\2f style\\3e "
    """
    plain = (
        sign if sign == " " or (sign.isascii() and sign.isalnum()) else f"\\{ord(sign):x} "
        for sign in " ".join(words.split())
        if sign.isprintable()
    )
    return f'"{"".join(plain)}"'


def _block(block: Block) -> str:
    match block:
        case Heading(words=words, level=level):
            return f'<h{level} dir="auto">{escaped(words)}</h{level}>'
        case Words(text=text, kind=kind):
            return f'<p class="{kind}" dir="auto">{_lines(text)}</p>'
        case Facts(pairs=pairs):
            return _pairs(pairs)
        case Grid():
            return _table(block)
        case Pictures(shown=shown):
            return f'<div class="side">{"".join(_picture(one) for one in shown)}</div>'
        case Drawn(plot=plot, caption=caption, units=units):
            return _figure(svg_of(plot, units), caption)
        case Rounds(shown=rounds, caption=caption, units=units):
            drawn = "".join(
                f'<img alt="{escaped(shown.words(units))}" src="{_svg_data(svg_of(shown, units))}">'
                for shown in rounds
            )
            return (
                f'<p class="small">{escaped(caption)}</p><figure class="many">'
                f'<div class="rounds">{drawn}</div></figure>'
            )
        case Front():
            return _front(block)
        case NewPage():
            return '<div class="page"></div>'
        case _:
            assert_never(block)


def _front(front: Front) -> str:
    """Return the page to sign, in the order of the PDF."""
    letterhead, decision = front.letterhead, front.decision
    lines = "<br>".join(escaped(line) for line in letterhead.lines)
    number = f'No. <span dir="auto">{escaped(front.number)}</span>' if front.number else ""
    logo = ""
    if letterhead.logo_png:
        data = b64encode(letterhead.logo_png).decode("ascii")
        logo = f'<img alt="{escaped(letterhead.company)}" src="data:image/png;base64,{data}">'
    alarms = "".join(
        f'<p class="caution alarm" dir="auto">{_lines(one)}</p>' for one in front.alarms
    )
    choices = "".join(
        f"<li>{'☒' if taken else '☐'} {escaped(choice)}</li>" for choice, taken in decision.choices
    )
    signed = "".join(
        f'<tr><td>{escaped(role)}</td><td dir="auto">{escaped(name)}</td><td></td><td></td></tr>'
        for role, name in front.signers
    )
    entries = "".join(f'<li dir="auto">{_lines(entry)}</li>' for entry in front.open_entries)
    blank = '<span class="blank"></span>'
    written = _pairs((("Remarks", decision.remarks), ("Next due", decision.next_due)), blank)
    return (
        f'<header><div dir="auto"><strong>{escaped(letterhead.company)}</strong><br>{lines}</div>'
        f"<div>{logo}{number}</div></header>"
        f'<h1 dir="auto">{escaped(front.title)}</h1>{_pairs(front.job, blank)}{alarms}'
        f'<div class="answer"><p class="headline">{_lines(front.headline)}</p>'
        f"<p>{_lines(front.words)}</p></div>"
        f'<div class="side">{"".join(_picture(one) for one in front.pictures)}</div>'
        f"{_pairs(front.facts, blank)}"
        f'<p class="strong">{escaped(front.open_title)}</p>'
        f'<p class="small">{escaped(front.open_order)}</p><ul>{entries}</ul>'
        f'<div class="decision"><p class="strong">Decision of the competent person</p>'
        f'<ul class="choices">{choices}</ul>{written}</div>'
        f'<div class="signed"><p>{escaped(front.says)}</p><table class="sign"><thead><tr>'
        f"<th>Role</th><th>Name</th><th>Signature</th><th>Date</th></tr></thead>"
        f"<tbody>{signed}</tbody></table></div>"
    )


def _pairs(pairs: Iterable[tuple[str, str]], blank: str = "") -> str:
    listed = "".join(
        f'<dt>{escaped(name)}</dt><dd dir="auto">{_lines(value) or blank}</dd>'
        for name, value in pairs
    )
    return f"<dl>{listed}</dl>"


def _table(grid: Grid) -> str:
    head = "".join(
        f'<th scope="col"{" class=n" if column in grid.right else ""}>{escaped(one)}</th>'
        for column, one in enumerate(grid.head)
    )
    total = sum(grid.widths)
    widths = "".join(f'<col style="width:{100 * width / total:.1f}%">' for width in grid.widths)
    rows = []
    for number, row in enumerate(grid.rows):
        strong = number in grid.strong
        cells = "".join(
            f'<td class="{_kinds(cell, column, grid, strong)}" dir="auto">{_lines(cell)}</td>'
            for column, cell in enumerate(row)
        )
        kind = " class=strong" if strong else " class=sum" if number in grid.sums else ""
        rows.append(f"<tr{kind}>{cells}</tr>")
    least = min(5 * len(grid.head), 52)  # rem: a phone keeps words whole and scrolls
    return (
        f'<div class="wide"><table style="min-width:{least}rem"><colgroup>{widths}</colgroup>'
        f"<thead><tr>{head}</tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def _kinds(cell: str, column: int, grid: Grid, strong: bool) -> str:
    """Return a cell's classes: n figure, k on one line, l long word, w many words, b bold."""
    kinds = []
    if column in grid.right:
        kinds.append("n")
    elif column == 0 and len(cell) <= 24:
        kinds.append("k")
    if any(len(word) > LONGEST_WORD for word in cell.split()):
        kinds.append("l")
    if len(cell) > 60:
        kinds.append("w")
    if strong and len(cell) <= 24:  # whole sentences in bold are hard to read
        kinds.append("b")
    return " ".join(kinds)


def _picture(picture: ReportPicture) -> str:
    data = b64encode(picture.jpeg).decode("ascii")
    return (
        f'<figure><img alt="{escaped(picture.caption)}" width="{picture.width_px}" '
        f'height="{picture.height_px}" src="data:image/jpeg;base64,{data}">'
        f'<figcaption dir="auto">{escaped(picture.caption)}</figcaption></figure>'
    )


def _figure(svg: str, caption: str) -> str:
    words = escaped(caption)
    return (
        f'<figure><div class="wide plot"><img alt="{words}" src="{_svg_data(svg)}"></div>'
        f"<figcaption>{words}</figcaption></figure>"
    )


def _svg_data(svg: str) -> str:
    return "data:image/svg+xml;base64," + b64encode(svg.encode("utf-8")).decode("ascii")


def _lines(text: str) -> str:
    return escaped(text).replace("\n", "<br>")
