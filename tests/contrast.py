"""How far the parts of a picture stand out from what is behind them, and how big its words are on a phone."""

import xml.etree.ElementTree as ET

SVG = "{http://www.w3.org/2000/svg}"
#: Contrast that words and that marks need (WCAG 2.2, 1.4.3 and 1.4.11).
WORDS, MARKS = 4.5, 3.0
#: Width of a picture on a phone of 390 CSS pixels, within the margins of the report.
PHONE = 361


def luminance(colour):
    """Relative luminance of #rrggbb (WCAG 2.2)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def faint_parts(svg, paper, other):
    """Return the words and marks that do not stand out; `other` says which colour is painted for a written one."""
    return list(_faint(ET.fromstring(svg), paper, other, "#000000"))


def _faint(part, paper, other, fill):
    fill = part.get("fill", fill)
    painted = [other[colour] for colour in (fill, part.get("stroke", "none")) if colour != "none"]
    if part.tag == f"{SVG}text" and contrast(painted[0], paper) < WORDS:
        yield part.text, painted
    # A pale area with an edge is seen by its edge.
    drawn = part.tag in (f"{SVG}path", f"{SVG}rect") and painted != [paper]
    if drawn and max(contrast(colour, paper) for colour in painted) < MARKS:
        yield part.get("d"), painted
    for child in part:
        yield from _faint(child, paper, other, fill)


def smallest_on_a_phone(svg):
    """Size in CSS pixels of the smallest words of a picture that is as wide as a phone."""
    root = ET.fromstring(svg)
    return (
        min(float(text.get("font-size")) for text in root.iter(f"{SVG}text"))
        * PHONE
        / float(root.get("viewBox").split()[2])
    )
