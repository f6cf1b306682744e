"""The look of the handbook: black on white, one column, one accent, a warning that differs in weight and pattern."""

from __future__ import annotations

from interlock.explain.failure_modes import COLUMNS
from interlock.explain.failure_page import WIDTHS

# FOOT is replaced by what stands at the foot of each printed page. Drawings are A4 landscape sheets, and so is what
# they stand among; the card is a page of its own.
STYLE = """
@page { size: A4; margin: 14mm 14mm 18mm; @bottom-left { content: FOOT; font: 7pt Arial, sans-serif; color: #404040;
  width: 85%; vertical-align: top; padding-top: 2mm }
  @bottom-right { content: counter(page) " / " counter(pages); font: 7pt Arial, sans-serif; color: #404040;
  vertical-align: top; padding-top: 2mm } }
@page wide { size: A4 landscape; margin: 10mm 12mm 15mm }
@page sheet { size: A4 landscape; margin: 0; @bottom-left { content: none } @bottom-right { content: none } }
@page card { size: A5 landscape; margin: 0; @bottom-left { content: none } @bottom-right { content: none } }
* { box-sizing: border-box }
html { scroll-padding-top: 1rem }
body { font: 1rem/1.5 Arial, 'Liberation Sans', Helvetica, sans-serif; color: #000; background: #fff; margin: 0 auto;
  padding: 0 1rem 3rem; max-width: 60rem; overflow-wrap: break-word }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 1.5rem 0 0.3rem }
h2 { font-size: 1.3rem; margin: 2.5rem 0 0.5rem; padding-top: 0.5rem; border-top: 2px solid #000; break-after: avoid }
h3 { font-size: 1.05rem; margin: 1.6rem 0 0.3rem; break-after: avoid }
h4 { font-size: 1rem; margin: 1rem 0 0.2rem; break-after: avoid }
p, ul, dl { margin: 0 0 0.7rem }
ul { padding-left: 1.3rem }
li { margin-bottom: 0.2rem }
a { color: #0b4f8a }
a:focus-visible, summary:focus-visible, figure:focus-visible, button:focus-visible, input:focus-visible,
select:focus-visible { outline: 3px solid #0b4f8a; outline-offset: 2px }
.skip { position: absolute; left: -100rem }
.skip:focus { left: 1rem; top: 0.5rem; background: #fff; padding: 0.5rem }
.try a { display: inline-block; border: 2px solid #0b4f8a; border-radius: 4px; padding: 0.6rem 1rem; font-weight: bold }
.try { display: flex; flex-wrap: wrap; gap: 0.6rem }
.stopped summary { border-top: 1px solid #8a8a8a; min-height: 44px }
.stopped li { margin-bottom: 0.6rem }
.back a { display: inline-block; font-size: 0.85rem; padding: 0.6rem 0 }
nav ol { columns: 17rem; column-gap: 2.5rem; padding-left: 1.5rem; margin: 0 }
nav { margin: 1rem 0 }
.small { font-size: 0.85rem; color: #404040 }
.cautions { border: 2px solid #000; padding: 0.3rem 1rem; margin: 1rem 0 }
.cautions h2 { border: 0; margin: 0.5rem 0; padding: 0 }
.warning { border: 3px dashed #9c2a00; padding: 0.4rem 1rem; margin: 0.7rem 0; font-weight: bold }
.warning li, .warning p { font-weight: bold }
.good { border-left: 4px solid #0b4f8a; padding-left: 1.8rem }
.why { border-left: 4px solid #8a8a8a; padding-left: 0.8rem }
figure { margin: 0.8rem 0; overflow-x: auto; border: 1px solid #8a8a8a }
figure svg { display: block; width: 100%; min-width: 44rem; height: auto }
dl { border-top: 1px solid #8a8a8a }
dl > div { display: grid; grid-template-columns: 11rem 1fr; gap: 1rem; border-bottom: 1px solid #8a8a8a;
  padding: 0.15rem 0 }
dt { font-weight: bold }
dd { margin: 0 }
table { border-collapse: collapse; width: 100%; margin: 0.5rem 0 1rem; font-size: 0.9rem; line-height: 1.35 }
caption { text-align: left; font-weight: bold; padding: 0.3rem 0 }
th, td { text-align: left; vertical-align: top; padding: 0.25rem 0.5rem 0.25rem 0; border-bottom: 1px solid #8a8a8a;
  overflow-wrap: anywhere }
thead th { border-bottom: 2px solid #000 }
tbody th { font-weight: bold }
.verdict-bad { font-weight: bold; text-decoration: underline double }
summary { cursor: pointer; padding: 0.4rem 0; font-weight: bold }
@media (max-width: 40rem) {
  dl > div { grid-template-columns: 1fr; gap: 0 }
  thead { position: absolute; left: -100rem }
  table, tbody, tr, th, td, caption { display: block }
  tbody tr { border-bottom: 2px solid #000; padding: 0.4rem 0 }
  tbody th, td { border-bottom: 0; padding: 0.1rem 0 }
  td::before { content: attr(data-head) ": "; color: #404040 }
}
@media print {
  details:not(.set, .exercise *)::details-content { content-visibility: visible; block-size: auto }
  body { font-size: 9.5pt; line-height: 1.35; padding: 0; max-width: none }
  h1 { margin-top: 0 }
  h2 { margin-top: 6mm }
  nav, .skip, .screen, .try, .back { display: none }
  a { color: #000; text-decoration: none }
  table { font-size: 8pt }
  table.faults { page: wide; font-size: 7pt; line-height: 1.25; table-layout: fixed }
  table.faults thead th { overflow-wrap: normal }
FAULT_WIDTHS  tr, li, dl > div, .cautions, .warning { break-inside: avoid }
  thead { display: table-header-group }
  figure { overflow: visible; border: 0; margin: 0; break-inside: avoid }
  figure svg { min-width: 0 }
  figure.sheet { page: sheet; width: 297mm; height: 209.5mm }
  figure.strip { width: 86%; margin: 1mm 0 }
  section.sheets > h2, section.sheets > p { display: none }
  section.wide, .wide { page: wide }
  .rule { break-inside: avoid }
  .rule h3 { margin-top: 4mm }
  .rule dl { border: 0; font-size: 8.5pt }
  .rule dl > div, .rule dt, .rule dd { display: inline; border: 0; padding: 0 }
  .rule dt::after { content: ": " }
  .rule dd::after { content: "; " }
  .rule dl > div:last-child dd::after { content: "" }
  figure.card { page: card; width: 210mm; height: 147.5mm; overflow: hidden }
}
""".replace(
    "FAULT_WIDTHS",
    "".join(f"  table.faults th:nth-child({i}) {{ width: {WIDTHS[c]}% }}\n" for i, c in enumerate(COLUMNS, 1)),
)
