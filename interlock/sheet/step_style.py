"""The look of the test sheet beside that of every sheet: steps stay whole in print, one column under a thumb."""

from __future__ import annotations

# HEAD is replaced by what stands at the head of each printed page.
STEPS = """
@page { @top-left { content: HEAD; font: 8pt Arial, sans-serif; color: #000; vertical-align: bottom;
  padding-bottom: 1mm; width: 100% } }
.screen { display: none }
.live .screen { display: revert }
.live .screen[hidden] { display: none }
.warning { font-size: 1.1em }
.step { border-top: 1.6pt solid #000; padding-top: 1mm; margin-top: 4mm; break-inside: avoid }
.step:focus, .results:focus { outline: none }
.step h2 { margin-top: 0 }
.does { margin: 0 0 1mm }
.wait { margin-bottom: 1mm }
.timer { font-weight: bold; padding: 0 2mm }
.timer.due { background: #000; color: #fff }
.row { display: grid; grid-template-columns: 46fr 27fr 27fr; column-gap: 2mm; border-top: 0.5pt solid #8a8a8a;
  padding: 1mm 0; break-inside: avoid; align-items: start }
.row small { color: #404040 }
.row.differs { border-left: 4pt solid #9c2a00; padding-left: 2mm }
.mark { grid-column: 1 / -1; color: #9c2a00; font-weight: bold }
.mark:empty { display: none }
.choices { display: flex; flex-wrap: wrap; gap: 1mm 4mm }
.choices label { white-space: nowrap }
.measured input, .note input { width: 100% }
input[type=text], input[type=date], textarea { font: inherit; border: 0.8pt solid #000; border-radius: 0;
  background: #fff; color: #000; padding: 0.6mm 1mm; min-height: 6.5mm }
.initials { width: 16mm }
.verdict { display: grid; grid-template-columns: auto auto 1fr; gap: 1mm 5mm; align-items: end;
  border-top: 1pt solid #000; padding: 1.5mm 0 }
.who-page { display: grid; grid-template-columns: 1fr auto 1fr; gap: 4mm; align-items: end; margin: 4mm 0 }
.who-page input[type=text] { width: 100% }
.paper { border-top: 0.6pt solid #000; font-size: 8pt }
textarea { width: 100%; font-family: monospace; font-size: 9pt }
button { font: inherit; border: 1pt solid #0b4f8a; background: #fff; color: #0b4f8a; padding: 1mm 2.5mm;
  border-radius: 1mm }
a { color: #0b4f8a }
:focus-visible { outline: 2.5pt solid #0b4f8a; outline-offset: 1.5pt }
.bar { position: sticky; bottom: 0; background: #fff; border-top: 1.6pt solid #000; padding: 2mm 0 }
@media screen { .paper { display: none } body { font-size: 16px } .mark { min-height: 0 } }
@media screen and (max-width: 40rem) {
  body { padding: 0 0.75rem 1rem }
  .row, .verdict, .who-page { grid-template-columns: 1fr; row-gap: 2mm }
  .choices label, .live .choices button { display: inline-flex; align-items: center; gap: 2mm; min-height: 44px;
    padding: 0 3mm; border: 0.8pt solid #8a8a8a; border-radius: 1mm }
  .choices label:has(:checked) { border: 2pt solid #000; font-weight: bold }
  input[type=radio] { width: 20px; height: 20px }
  input[type=text], input[type=date], button { min-height: 44px; font-size: 16px }
  .initials { width: 30mm }
  .step { scroll-margin-top: 2mm; padding-bottom: 3mm }
}
.where th { width: 32%; border: 0.5pt solid #8a8a8a; font-size: inherit }
.limits ul { columns: 2; column-gap: 8mm; font-size: 8.5pt }
.limits li { overflow-wrap: anywhere }
.limits p { break-after: avoid }
@media screen { .where { display: none } }
@media print {
  .screen, .live .screen { display: none }
  input:invalid { color: transparent }
  .row small { display: none }
  .rows { display: grid; grid-template-columns: 1fr 1fr; column-gap: 4mm }
  .row { grid-template-columns: 32fr 34fr 26fr; column-gap: 1.5mm; padding: 0.8mm 0; font-size: 8pt; line-height: 1.15 }
  .row .choices { gap: 0 2mm }
  .row input[type=text] { min-height: 5.5mm }
  .row input[type=radio] { width: 3.2mm; height: 3.2mm; margin: 0 0.6mm 0 0 }
  .row .measured { font-size: 6.5pt }
  .step { font-size: 8.5pt; margin-top: 1.5mm; padding-top: 0.6mm; border-top-width: 1.1pt; line-height: 1.2 }
  .step h2 { display: inline; font-size: 10pt; margin: 0 3mm 0 0 }
  .step .wait { display: inline }
  .step .does { columns: 2; column-gap: 4mm; margin: 0.4mm 0; padding-left: 4mm }
  .step .does li { break-inside: avoid; margin: 0 }
  .verdict { padding: 0.4mm 0; border-top-width: 0.5pt; column-gap: 3mm }
  .verdict input[type=text] { min-height: 5mm }
}
"""
