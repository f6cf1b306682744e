"""What surrounds the slides of a deck: its styles, its master page, its manifest and what it says of itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from interlock.draw.style import ACCENT, GREY, WARNING
from interlock.draw.svg import number

MIMETYPE = "application/vnd.oasis.opendocument.presentation"
FAMILY = "Arial"  # the text's widths are its; Liberation Sans and Arimo have the same

_URN = "urn:oasis:names:tc:opendocument:xmlns"
NAMESPACES = " ".join(
    [
        *(
            f'xmlns:{name}="{_URN}:{place}:1.0"'
            for name, place in (
                ("office", "office"),
                ("style", "style"),
                ("text", "text"),
                ("draw", "drawing"),
                ("fo", "xsl-fo-compatible"),
                ("svg", "svg-compatible"),
                ("presentation", "presentation"),
                ("meta", "meta"),
                ("table", "table"),
            )
        ),
        # not of the standard, which allows for others' (part 1, 2.2.2): without it one reader paints tables blue
        'xmlns:loext="urn:org:documentfoundation:names:experimental:office:xmlns:loext:1.0"',
        'xmlns:dc="http://purl.org/dc/elements/1.1/"',
        'xmlns:xlink="http://www.w3.org/1999/xlink"',
    ]
)
FONT = (
    f'<style:font-face style:name="{FAMILY}" svg:font-family="{FAMILY}" style:font-family-generic="swiss" '
    'style:font-pitch="variable"/>'
)

# Hatchings by the names of the drawings' patterns: colour, degrees.
HATCHINGS = {"hatch": (WARNING, 450), "depends": (ACCENT, 1350), "turns": (ACCENT, 0)}
TITLE_SIZE, NOTES_SIZE, FOOT_SIZE = 28, 14, 10
POINT_INDENT = 22  # from a list's bullet to its words, in points

POINTS = (
    '<text:list-style style:name="points"><text:list-level-style-bullet text:level="1" text:bullet-char="●">'
    f'<style:list-level-properties text:space-before="4pt" text:min-label-width="{POINT_INDENT - 4}pt"/>'
    f'<style:text-properties fo:font-family="{FAMILY}" fo:font-size="45%" fo:color="#000000"/>'
    "</text:list-level-style-bullet></text:list-style>"
)


def styles(language: str, foot: str, dashes: Mapping[tuple[float, float], str]) -> str:
    """The file `styles.xml`. `foot` is markup already."""
    hatchings = "".join(
        f'<draw:hatch draw:name="{name}" draw:style="single" draw:color="{colour}" draw:distance="6pt" '
        f'draw:rotation="{turned}"/>'
        for name, (colour, turned) in HATCHINGS.items()
    )
    dashed = "".join(
        f'<draw:stroke-dash draw:name="{name}" draw:style="rect" draw:dots1="1" draw:dots1-length="{number(on)}pt" '
        f'draw:distance="{number(off)}pt"/>'
        for (on, off), name in dashes.items()
    )
    tongue, _, country = language.partition("-")
    plain = (
        f'style:font-name="{FAMILY}" fo:font-size="18pt" fo:color="#000000" fo:language="{tongue}" '
        f'fo:country="{country or "none"}"'
    )
    no_edge = (
        'draw:stroke="none" draw:fill="none" draw:auto-grow-height="false" draw:fit-to-size="false" '
        'fo:padding-top="0pt" fo:padding-bottom="0pt" fo:padding-left="0pt" fo:padding-right="0pt"'
    )
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<office:document-styles {NAMESPACES} office:version="1.2">'
        f"<office:font-face-decls>{FONT}</office:font-face-decls><office:styles>{dashed}{hatchings}"
        f'<style:default-style style:family="graphic"><style:graphic-properties draw:fill="none" '
        f'draw:stroke="none"/><style:paragraph-properties/><style:text-properties {plain}/>'
        f"</style:default-style>"
        + _presentation("title", no_edge + ' draw:textarea-vertical-align="middle"', TITLE_SIZE, bold=True)
        + _presentation("notes", no_edge, NOTES_SIZE)
        + '<style:style style:name="foot" style:family="graphic"><style:graphic-properties '
        f'{no_edge} fo:wrap-option="wrap"/><style:text-properties fo:font-size="{FOOT_SIZE}pt" fo:color="{GREY}"/>'
        "</style:style></office:styles><office:automatic-styles>"
        '<style:page-layout style:name="slide"><style:page-layout-properties fo:margin-top="0pt" '
        'fo:margin-bottom="0pt" fo:margin-left="0pt" fo:margin-right="0pt" fo:page-width="960pt" '
        'fo:page-height="540pt" style:print-orientation="landscape"/></style:page-layout>'
        '<style:page-layout style:name="sheet"><style:page-layout-properties fo:margin-top="0pt" '
        'fo:margin-bottom="0pt" fo:margin-left="0pt" fo:margin-right="0pt" fo:page-width="595.3pt" '
        'fo:page-height="841.9pt" style:print-orientation="portrait"/></style:page-layout>'
        '<style:style style:name="paper" style:family="drawing-page"><style:drawing-page-properties '
        'draw:fill="solid" draw:fill-color="#ffffff"/></style:style>'
        '<style:style style:name="right" style:family="paragraph"><style:paragraph-properties fo:text-align="end"/>'
        f'<style:text-properties fo:font-size="{FOOT_SIZE}pt" fo:color="{GREY}"/></style:style>'
        '<style:style style:name="left" style:family="paragraph"><style:text-properties '
        f'fo:font-size="{FOOT_SIZE}pt" fo:color="{GREY}"/></style:style>'
        "</office:automatic-styles><office:master-styles>"
        '<draw:layer-set><draw:layer draw:name="layout"/><draw:layer draw:name="background"/>'
        '<draw:layer draw:name="backgroundobjects"/><draw:layer draw:name="controls"/>'
        '<draw:layer draw:name="measurelines"/></draw:layer-set>'
        '<style:master-page style:name="Slide" style:page-layout-name="slide" draw:style-name="paper">'
        '<draw:frame presentation:style-name="Slide-title" presentation:class="title" '
        'presentation:placeholder="true" draw:layer="backgroundobjects" svg:x="36pt" svg:y="16pt" svg:width="888pt" '
        'svg:height="66pt"><draw:text-box/></draw:frame>'
        '<draw:frame draw:style-name="foot" draw:layer="backgroundobjects" svg:x="36pt" svg:y="514pt" '
        f'svg:width="800pt" svg:height="16pt"><draw:text-box><text:p text:style-name="left">{foot}</text:p>'
        "</draw:text-box></draw:frame>"
        '<draw:frame draw:style-name="foot" draw:layer="backgroundobjects" svg:x="844pt" svg:y="514pt" '
        'svg:width="80pt" svg:height="16pt"><draw:text-box><text:p text:style-name="right"><text:page-number/>'
        "</text:p></draw:text-box></draw:frame>"
        '<presentation:notes style:page-layout-name="sheet" draw:style-name="paper">'
        '<draw:page-thumbnail draw:layer="backgroundobjects" presentation:class="page" svg:x="57.6pt" svg:y="55pt" '
        'svg:width="480pt" svg:height="270pt"/>'
        '<draw:frame presentation:style-name="Slide-notes" presentation:class="notes" presentation:placeholder="true" '
        'draw:layer="backgroundobjects" svg:x="57.6pt" svg:y="350pt" svg:width="480pt" svg:height="430pt">'
        "<draw:text-box/></draw:frame></presentation:notes></style:master-page></office:master-styles>"
        "</office:document-styles>\n"
    )


def _presentation(name: str, frame: str, size: int, *, bold: bool = False) -> str:
    weight = "bold" if bold else "normal"
    return (
        f'<style:style style:name="Slide-{name}" style:family="presentation"><style:graphic-properties {frame}/>'
        f'<style:text-properties style:font-name="{FAMILY}" fo:font-size="{size}pt" fo:font-weight="{weight}" '
        'fo:color="#000000"/></style:style>'
    )


def meta(title: str, language: str) -> str:
    """The file `meta.xml`."""
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<office:document-meta {NAMESPACES} office:version="1.2">'
        f"<office:meta><meta:generator>interlock</meta:generator><dc:title>{title}</dc:title>"
        f"<dc:language>{language}</dc:language></office:meta></office:document-meta>\n"
    )


def manifest(names: Iterable[str]) -> str:
    """The file `META-INF/manifest.xml`."""
    listed = "".join(
        f'<manifest:file-entry manifest:full-path="{name}" manifest:media-type="text/xml"/>' for name in names
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<manifest:manifest xmlns:manifest="{_URN}:manifest:1.0" manifest:version="1.2">'
        f'<manifest:file-entry manifest:full-path="/" manifest:version="1.2" manifest:media-type="{MIMETYPE}"/>'
        f"{listed}</manifest:manifest>\n"
    )
