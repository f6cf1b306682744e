"""The look of the bench: black on white, one accent, one warning colour; both differ in weight and word too."""

from __future__ import annotations

from interlock.draw.style import ACCENT, WARNING

STYLE = f"""
.bench h3 {{ font-size: 1.1rem; margin: 1.4rem 0 .4rem }}
.bench h4 {{ font-size: 1rem; margin: .8rem 0 .2rem }}
.bench p {{ margin: 0 0 .5rem }}
.bench-live {{ display: none }}
.bench.live .bench-live {{ display: block }}
.bench-hint, .bench small {{ color: #404040 }}
.bench button, .bench select, .bench input[type=number], .bench input[type=text] {{ font: inherit; min-height: 44px;
  padding: .3rem .7rem; border: 1.5px solid {ACCENT}; border-radius: 4px; background: #fff; color: #000;
  max-width: 100% }}
.bench button {{ color: {ACCENT} }}
.bench button:disabled {{ color: #595959; border-color: #8a8a8a }}
.bench-time {{ display: flex; flex-wrap: wrap; gap: .4rem .6rem; align-items: center; padding: .6rem;
  border: 1.5px solid #000; border-radius: 4px }}
.bench-clock {{ font-weight: bold; min-width: 11rem; font-variant-numeric: tabular-nums }}
.bench-columns {{ display: grid; grid-template: "set see" auto "more see" 1fr / minmax(0, 9fr) minmax(0, 11fr);
  gap: 0 2rem }}
.bench-set {{ grid-area: set }} .bench-see {{ grid-area: see }} .bench-more {{ grid-area: more }}
.bench-reading {{ border-top: 1px solid #d9d9d9; padding: .5rem 0 }}
.bench-value {{ display: flex; gap: .8rem; align-items: center }}
.bench-value input[type=range] {{ flex: 1; min-width: 0; height: 44px; accent-color: {ACCENT} }}
.bench-value input[type=number] {{ width: 6.2rem; text-align: right }}
.bench-value span {{ white-space: nowrap }}
.bench-now:not(:empty) {{ color: {WARNING}; font-weight: bold }}
.bench summary {{ min-height: 32px; cursor: pointer; color: {ACCENT} }}
.bench details ul {{ margin: 0; padding-left: 1.2rem }}
.bench-lines, .bench-paths, .bench-planted, .bench-rules ul {{ list-style: none; padding: 0; margin: 0 }}
.bench-lines li {{ display: flex; gap: .8rem; align-items: center; min-height: 44px; border-top: 1px solid #d9d9d9;
  flex-wrap: wrap }}
.bench-lines label {{ display: inline-flex; align-items: center; gap: .5rem; min-height: 44px }}
.bench-lines input {{ width: 22px; height: 22px; accent-color: {ACCENT} }}
.bench-faults {{ display: flex; flex-wrap: wrap; gap: .5rem .8rem; align-items: end }}
.bench-faults label {{ display: grid; grid-template-columns: minmax(0, 1fr); min-width: 0 }}
.bench-faults select {{ width: 100% }}
.bench-planted li {{ display: flex; gap: .8rem; align-items: center; justify-content: space-between; min-height: 44px;
  border-top: 1px solid #d9d9d9 }}
.bench-paths > li {{ margin: 0 0 .3rem }}
.bench-paths > li > button {{ width: 100%; display: flex; justify-content: space-between; gap: .8rem; text-align: left;
  color: #000; border: 1.5px solid #8a8a8a; overflow-wrap: anywhere }}
.bench-paths > li > button::before {{ content: "\\25B8"; color: {ACCENT} }}
.bench-paths > li > button[aria-expanded=true]::before {{ content: "\\25BE" }}
.bench-paths > li > button b {{ flex: 1 }}
.bench-state {{ white-space: nowrap; padding: 0 .5rem; border-radius: 3px }}
[data-is=running] .bench-state {{ background: {ACCENT}; color: #fff; font-weight: bold }}
[data-is=stopped] .bench-state {{ border: 1.5px solid #000 }}
[data-is=either] .bench-state {{ border: 1.5px dashed {ACCENT} }}
.bench-why {{ border-left: 4px solid {ACCENT}; margin: .2rem 0 .8rem .3rem; padding: .3rem 0 .3rem .8rem }}
.bench-why p {{ margin: 0 0 .2rem; overflow-wrap: break-word }}
.bench-why ol, .bench-why ul {{ margin: 0 0 .4rem; padding-left: 1.3rem }}
.bench-why ul {{ list-style: disc }}
.bench-headline {{ font-weight: bold; font-size: 1.05rem }}
.bench-cause {{ font-weight: bold }}
.bench-links span {{ display: inline-block; padding: 0 .3rem }}
.bench-why progress {{ width: 100%; height: .8rem; accent-color: {WARNING} }}
.bench-warning {{ border: 2.5px dashed {WARNING}; padding: .4rem .6rem; font-weight: bold }}
.bench-rules li {{ padding: .2rem 0; border-top: 1px solid #d9d9d9; overflow-wrap: anywhere }}
.bench-rules .bench-acting {{ border-left: 5px solid {WARNING}; padding-left: .5rem }}
.bench-drawing, .bench-chart {{ margin: 0; overflow-x: auto; border: 1px solid #d9d9d9 }}
.bench-drawing svg {{ display: block; width: 100%; height: auto }}
.bench-chart svg {{ display: block; width: 100%; min-width: 720px; height: auto }}
.bench-badge rect {{ fill: #fff; stroke: none }}
.bench-acts > rect {{ stroke: {WARNING}; stroke-width: 3 }}
.bench-acts > .bench-badge text {{ fill: {WARNING} }}
.bench-acts > path, .bench-acts > polygon {{ stroke: {WARNING}; stroke-width: 3 }}
.bench-idle > rect {{ stroke: {WARNING}; stroke-width: 2; stroke-dasharray: 3 2 }}
.bench-runs > rect {{ stroke: {ACCENT}; stroke-width: 3 }}
.bench-runs > .bench-badge text {{ fill: {ACCENT} }}
.bench-runs > path {{ stroke: {ACCENT}; stroke-width: 2.4 }}
.bench-stops > rect {{ stroke-dasharray: 5 3 }}
.bench-either > rect {{ stroke: {ACCENT}; stroke-width: 2; stroke-dasharray: 2 2 }}
.bench-badge > rect, .bench-acts > .bench-badge > rect {{ stroke: none }}
.bench-situations {{ list-style: none; padding: 0; columns: 19rem }}
.bench-situations li {{ break-inside: avoid }}
.bench-situations a {{ display: inline-block; padding: .6rem .35rem .6rem 0 }}
.bench-log {{ max-height: 20rem; overflow: auto; padding-left: 1.5rem; list-style: none }}
.bench-share {{ display: flex; flex-wrap: wrap; gap: .5rem; align-items: center }}
.bench-share input {{ flex: 1; min-width: 10rem }}
.bench-bar {{ position: sticky; bottom: 0; background: #fff; border-top: 2.5px solid #000; display: flex; gap: .8rem;
  align-items: center; justify-content: space-between; padding: .4rem 0; min-height: 60px }}
.bench-bar:has(p:empty) {{ border: 0; padding: 0; min-height: 0 }}
.bench-why {{ scroll-margin-bottom: 5rem }}
.bench-bar p {{ margin: 0; overflow-wrap: anywhere; max-height: 4.5rem; overflow: auto }}
@media (max-width: 56rem) {{ .bench-columns {{ grid-template: "set" "see" "more" / minmax(0, 1fr) }} }}
@media (max-width: 30rem) {{ .bench-time button, .bench-time label {{ flex: 1 1 45% }} .bench-bar button {{ flex: none;
  max-width: 45% }} }}
@media print {{ .bench {{ display: none }} }}
"""
