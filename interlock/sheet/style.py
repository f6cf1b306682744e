"""The look of every sheet: black on white, A4 in print, one column on a phone."""

from __future__ import annotations

# FOOT is replaced by what stands at the foot of each printed page.
STYLE = """
@page { size: A4; margin: 13mm 12mm 17mm; @bottom-left { content: FOOT; font: 7pt Arial, sans-serif; color: #404040;
  width: 85%; vertical-align: top; padding-top: 2mm }
  @bottom-right { content: counter(page) " / " counter(pages); font: 7pt Arial, sans-serif; color: #404040;
  vertical-align: top; padding-top: 2mm } }
* { box-sizing: border-box }
body { font: 9.5pt/1.35 Arial, 'Liberation Sans', Helvetica, sans-serif; color: #000; background: #fff;
  margin: 0 auto; padding: 1rem; max-width: 52rem }
h1 { font-size: 15pt; margin: 0 0 1mm }
h2 { font-size: 11pt; margin: 4mm 0 1mm; break-after: avoid }
p, ul { margin: 0 0 2mm }
ul { padding-left: 5mm }
table { border-collapse: collapse; width: 100%; table-layout: fixed }
th, td { text-align: left; vertical-align: top; border: 0.5pt solid #8a8a8a; padding: 1mm 1.2mm;
  overflow-wrap: anywhere }
th { border-bottom: 1.2pt solid #000; font-size: 8pt }
thead { display: table-header-group }
tr { break-inside: avoid }
.cautions { border: 1.6pt solid #000; padding: 1mm 3mm; margin: 2mm 0 }
.cautions h2 { margin-top: 1mm }
.cautions li { margin-bottom: 0.8mm }
.warning { border: 2.4pt dashed #9c2a00; padding: 1mm 3mm; margin: 2mm 0; font-weight: bold }
.device { break-inside: avoid }
td.box { font-size: 14pt; line-height: 1; text-align: center }
.who { display: flex; gap: 4mm; margin: 4mm 0 }
.who span { flex: 1; border-top: 0.6pt solid #000; margin-top: 9mm; font-size: 8pt }
@media print { body { margin: 0; padding: 0; max-width: none } }
"""


def css_string(words: str) -> str:
    """A text as a CSS string inside a style element, its quotes included."""
    return '"' + "".join(c if c.isalnum() or c in " .,;:()-" else f"\\{ord(c):x} " for c in words) + '"'
