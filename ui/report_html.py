"""The report as one HTML file: nothing outside it is asked for, and no text in it is code."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable
from html import escape
from typing import assert_never

from ui.drawings import roundness_drawing
from ui.report_blocks import (
    Block,
    Drawn,
    Facts,
    Grid,
    Heading,
    NewPage,
    Picture,
    Pictures,
    Rounds,
    Signatures,
    Words,
)
from ui.report_plots import drawing_of, svg_of

WIDTH = 560.0  # pt, of the figures
# Styles only: no script runs, and no address is asked.
POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
STYLE = """
body{font:15px/1.45 system-ui,'DejaVu Sans',Arial,sans-serif;color:#1a1a1a;max-width:62rem;
margin:1.5rem auto;padding:0 1rem;overflow-wrap:anywhere}
h1{font-size:1.6rem}h2{font-size:1.2rem;border-bottom:2px solid #0072B2;margin-top:2rem}
h3{font-size:1rem;margin-top:1.4rem}
.wide{overflow-x:auto}
table{border-collapse:collapse;width:100%;min-width:36rem;font-size:.84rem;overflow-wrap:normal}
th,td{border:1px solid #bbb;padding:.25rem .4rem;text-align:left;vertical-align:top}
th{background:#e8eef3}th.n,td.n{text-align:right;font-variant-numeric:tabular-nums}td.n{white-space:nowrap}
tr.strong td{font-weight:bold;background:#fdf1e7}
dl{display:grid;grid-template-columns:minmax(9rem,14rem) 1fr;gap:.15rem 1rem}
dt{font-weight:bold}dd{margin:0}
.caution{border-left:6px solid #D55E00;background:#fdf1e7;padding:.5rem .8rem}
.strong{font-weight:bold}.small{font-size:.85rem;color:#333}
figure{margin:1rem 0}figure img{max-width:100%;height:auto}
figcaption{font-size:.85rem;color:#333}
.plot img{width:100%;min-width:34rem}
.rounds{display:grid;grid-template-columns:repeat(auto-fit,minmax(15rem,1fr));gap:1rem}
.rounds img{width:100%}
.side{display:grid;grid-template-columns:repeat(auto-fit,minmax(17rem,1fr));gap:1rem}
.sign td{height:3.2rem;vertical-align:bottom}
@media(max-width:34rem){dl{grid-template-columns:1fr}dd{margin:0 0 .4rem}}
@media print{table,.plot img{min-width:0}
tr,figure,.caution,.sign{break-inside:avoid}h1,h2,h3{break-after:avoid}
.page{break-before:page}thead{display:table-header-group}}
"""


def html_of(blocks: Iterable[Block], *, title: str) -> str:
    """Return the report as the text of one HTML file.

    Parameters
    ----------
    blocks : iterable of Block
        The content.
    title : str
        What the browser calls it.
    """
    body = "\n".join(_block(one) for one in blocks)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n{body}\n"
        "</body>\n</html>\n"
    )


def _block(block: Block) -> str:
    match block:
        case Heading(words=words, level=level):
            return f'<h{level} dir="auto">{escape(words)}</h{level}>'
        case Words(text=text, kind=kind):
            return f'<p class="{kind}" dir="auto">{_lines(text)}</p>'
        case Facts(pairs=pairs):
            listed = "".join(
                f'<dt>{escape(name)}</dt><dd dir="auto">{_lines(value)}</dd>'
                for name, value in pairs
            )
            return f"<dl>{listed}</dl>"
        case Grid():
            return _table(block)
        case Pictures(shown=shown):
            return f'<div class="side">{"".join(_picture(one) for one in shown)}</div>'
        case Drawn(plot=plot, caption=caption):
            return _figure(svg_of(drawing_of(plot, WIDTH)), caption)
        case Rounds(shown=rounds, caption=caption):
            drawn = "".join(
                f'<img alt="{escape(one.words)}" src="{_svg_data(svg_of(roundness_drawing(one)))}">'
                for one in rounds
            )
            drawn = f'<div class="rounds">{drawn}</div>'
            return f"<figure>{drawn}<figcaption>{escape(caption)}</figcaption></figure>"
        case Signatures(people=people, says=says):
            rows = "".join(
                f'<tr><td>{escape(role)}</td><td dir="auto">{escape(name)}</td><td></td><td></td>'
                "</tr>"
                for role, name in people
            )
            return (
                f'<p>{escape(says)}</p><table class="sign"><thead><tr><th>Role</th><th>Name</th>'
                f"<th>Signature</th><th>Date</th></tr></thead><tbody>{rows}</tbody></table>"
            )
        case NewPage():
            return '<div class="page"></div>'
        case _:
            assert_never(block)


def _table(grid: Grid) -> str:
    head = "".join(
        f'<th scope="col"{" class=n" if column in grid.right else ""}>{escape(one)}</th>'
        for column, one in enumerate(grid.head)
    )
    total = sum(grid.widths)
    widths = "".join(f'<col style="width:{100 * one / total:.1f}%">' for one in grid.widths)
    rows = []
    for number, row in enumerate(grid.rows):
        cells = "".join(
            f'<td{" class=n" if column in grid.right else ""} dir="auto">{_lines(cell)}</td>'
            for column, cell in enumerate(row)
        )
        rows.append(f"<tr{' class=strong' if number in grid.strong else ''}>{cells}</tr>")
    return (
        f'<div class="wide"><table><colgroup>{widths}</colgroup>'
        f"<thead><tr>{head}</tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def _picture(one: Picture) -> str:
    data = b64encode(one.jpeg).decode("ascii")
    return (
        f'<figure><img alt="{escape(one.caption)}" width="{one.width_px}" '
        f'height="{one.height_px}" src="data:image/jpeg;base64,{data}">'
        f'<figcaption dir="auto">{escape(one.caption)}</figcaption></figure>'
    )


def _figure(svg: str, caption: str) -> str:
    said = escape(caption)
    return (
        f'<figure><div class="wide plot"><img alt="{said}" src="{_svg_data(svg)}"></div>'
        f"<figcaption>{said}</figcaption></figure>"
    )


def _svg_data(svg: str) -> str:
    return "data:image/svg+xml;base64," + b64encode(svg.encode("utf-8")).decode("ascii")


def _lines(text: str) -> str:
    return escape(text).replace("\n", "<br>")
