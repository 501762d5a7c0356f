"""A drawing as SVG."""

from __future__ import annotations

from base64 import b64encode
from html import escape

from latchline.drawing.scene import Disc, Item, Picture, Scene, Words


def scene_svg(scene: Scene, *, standalone: bool = True) -> str:
    """The drawing as SVG text; `standalone` False leaves the XML line out, for use inside HTML."""
    parts = [_svg_item(item) for item in scene.items]
    head = '<?xml version="1.0" encoding="UTF-8"?>\n' if standalone else ""
    title = f"<title>{escape(scene.title)}</title>" if scene.title else ""
    return (
        f'{head}<svg xmlns="http://www.w3.org/2000/svg" width="{scene.width_mm:g}mm" height="{scene.height_mm:g}mm" '
        f'viewBox="0 0 {scene.width_mm:g} {scene.height_mm:g}" font-family="Helvetica, Arial, sans-serif" role="img">'
        f'{title}<rect width="100%" height="100%" fill="#ffffff"/>\n' + "\n".join(parts) + "\n</svg>\n"
    )


def _svg_item(item: Item) -> str:
    match item:
        case Words():
            anchor = f' text-anchor="{item.anchor}"' if item.anchor != "start" else ""
            bold = ' font-weight="bold"' if item.bold else ""
            return (
                f'<text x="{item.x:.3f}" y="{item.y:.3f}" font-size="{item.size_mm:g}" fill="{item.fill}"'
                f"{anchor}{bold}>{escape(item.text)}</text>"
            )
        case Disc():
            return (
                f'<circle cx="{item.x:.3f}" cy="{item.y:.3f}" r="{item.radius:.3f}" fill="{item.fill or "none"}" '
                f'stroke="{item.stroke or "none"}" stroke-width="{item.line_mm:g}"/>'
            )
        case Picture():
            data = b64encode(item.png).decode("ascii")
            return (
                f'<image x="{item.x:.3f}" y="{item.y:.3f}" width="{item.width_mm:.3f}" height="{item.height_mm:.3f}" '
                f'preserveAspectRatio="none" href="data:image/png;base64,{data}"/>'
            )
    points = " ".join(f"{x:.3f},{y:.3f}" for x, y in item.points)
    dash = f' stroke-dasharray="{" ".join(f"{length:g}" for length in item.dash)}"' if item.dash else ""
    return (
        f'<{"polygon" if item.closed else "polyline"} points="{points}" fill="{item.fill or "none"}" '
        f'stroke="{item.stroke or "none"}" stroke-width="{item.line_mm:g}" stroke-linejoin="round"{dash}/>'
    )
