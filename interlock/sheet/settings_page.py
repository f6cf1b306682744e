"""The settings sheet as a page that prints on A4, with room for the value found, a box to tick and initials."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from interlock.sheet.cautions import CAUTIONS, NO_CERTIFICATE
from interlock.sheet.settings import DeviceSheet, Row, SettingsSheet
from interlock.sheet.style import STYLE, css_string

OWN = """
td.set { font-weight: bold; white-space: nowrap }
td.set small, td.then { font-weight: normal; color: #404040 }
col.name { width: 17% } col.set { width: 23% } col.then { width: 31% } col.found { width: 13% }
col.tick { width: 6% } col.initials { width: 10% }
tr.setting td { height: 9mm }
@page drawing { size: A4 landscape }
.ladder { page: drawing; break-inside: avoid }
.ladder svg { width: 100%; height: auto; max-height: 178mm }
"""


def settings_page(sheet: SettingsSheet, findings: Iterable[str], ladders: Iterable[str]) -> str:
    """The page, with nothing to be fetched from anywhere. `findings` of the grading, in words; `ladders`: SVG drawings
    of the quantities that the settings are on."""
    title = f"Settings: {escape(sheet.title)}"
    revision = f"revision {escape(sheet.revision)}" if sheet.revision else ""
    found = "".join(f"<li>{escape(words)}</li>" for words in findings)
    warned = (
        f'<section class="warning"><h2>Do not set these yet: the grading has faults</h2><ul>{found}</ul></section>\n'
        if found
        else ""
    )
    cautions = "".join(f"<li><b>{escape(c.word)}.</b> {escape(c.says)}</li>" for c in CAUTIONS)
    without = (
        f"<p>Nothing is said of the settings of: {escape(', '.join(sheet.without))}.</p>\n" if sheet.without else ""
    )
    drawn = "".join(f'<div class="ladder">{_bare(svg)}</div>\n' for svg in ladders)
    foot = css_string(f"{sheet.title} {revision}. {NO_CERTIFICATE}")
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n<style>{STYLE.replace('FOOT', foot)}{OWN}</style>\n</head>\n<body>\n"
        f"<h1>{title}</h1>\n<p>{revision}</p>\n"
        f'<section class="cautions"><h2>Cautions</h2><ul>{cautions}</ul><p>{escape(NO_CERTIFICATE)}</p></section>\n'
        f"{warned}"
        '<p class="who"><span>Set and read back by</span><span>Date</span><span>Signature</span></p>\n'
        + "".join(map(_device, sheet.devices))
        + f"{without}{drawn}</body>\n</html>\n"
    )


def _bare(svg: str) -> str:
    """A drawing without its XML declaration."""
    return svg[svg.index("<svg") :]


def _device(device: DeviceSheet) -> str:
    cells = f"<p>Its volts are those of {device.cells} cells in series.</p>" if device.cells > 1 else ""
    why = f"<p>{escape(device.why)}</p>" if device.why else ""
    what = f": {escape(device.what)}" if device.what else ""
    rows = "".join(map(_row, device.rows))
    ticks = "".join(
        f'<tr><td colspan="3">{escape(tick)}</td><td></td><td class="box">&#9744;</td><td></td></tr>'
        for tick in device.ticks
    )
    columns = "".join(f'<col class="{c}">' for c in ("name", "set", "then", "found", "tick", "initials"))
    heads = "".join(
        f'<th scope="col">{h}</th>' for h in ("setting", "set to", "on the pack", "found", "set", "initials")
    )
    return (
        f'<section class="device" id="{escape(device.path)}"><h2>{escape(device.path)}{what}</h2>{cells}{why}\n'
        f"<table><colgroup>{columns}</colgroup><thead><tr>{heads}</tr></thead>\n<tbody>{rows}{ticks}</tbody></table>"
        "</section>\n"
    )


def _row(row: Row) -> str:
    each = f"<br><small>{escape(row.each)}</small>" if row.each else ""
    after = f"<br>{escape(row.next)}" if row.next else ""
    return (
        f'<tr class="setting"><td>{escape(row.name)}</td><td class="set">{escape(row.to)}{each}</td>'
        f'<td class="then">{escape(row.then)}{after}</td><td></td><td class="box">&#9744;</td><td></td></tr>'
    )
