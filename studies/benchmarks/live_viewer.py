"""How fast does the surface viewer of the live page draw and read?

Question: milliseconds to the first picture, per frame and per reading, at 5 000 and 20 000
triangles of a half body whose mirrored half is drawn too, with WebGL2 and on the plain canvas.
Method: a half ellipsoid with a made-up field and six outlines, 1280 x 720 pixels, in a browser
without a window and without a graphics processor, so that WebGL2 is computed by the processor.
Every frame turns the body by 3 deg and is waited for. Medians over the pages; of frames and
readings the median in each page. All other work on the machine lengthens the times: "slowed" says
by how much, from a fixed loop between the frames, its mean time over its least; "frame alone" is
the mean of the frames divided by it.
Wanted: first picture within 1 s and 12 frames a second at 20 000, 25 at 5 000; reading in 2 ms.
Command: python studies/benchmarks/live_viewer.py
"""

import json
import os
import platform
import re
import shutil
import subprocess
import tempfile
from html import unescape
from pathlib import Path

import numpy as np

from panelcp.report.live.viewer_script import viewer_script

SIZES, QUICK_SIZES = (5000, 20000), (500,)
PAGES = 5
PAINTERS = ("webgl2", "2d")
TARGETS = {
    "first picture": {20000: 1000.0},
    "frame": {5000: 40.0, 20000: 83.0},
    "reading": {20000: 2.0},
}
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--enable-unsafe-swiftshader",
    "--no-first-run",
    "--disable-background-networking",
    "--dump-dom",
)
PAGE = """<!doctype html><meta charset="utf-8"><title>viewer</title>
<style>canvas {{ width:1280px; height:720px }}</style><canvas id="view"></canvas>
<script>{script}</script><script>
const median = (values) => values.sort((a, b) => a - b)[values.length >> 1];
const surface = {surface}, values = {values};
const begin = performance.now();
const options = {{ painter: "{painter}" }};
const view = new Panelcp.Viewer(document.getElementById("view"), surface, options);
view.setField(values, {{ limit: 1.2, step: 0.2, per: "vertex" }});
view.setOutlines({outlines});
view.measure(1);
const first = performance.now() - begin;
const mean = (values) => values.reduce((sum, value) => sum + value, 0) / values.length;
let sink = 0;
const work = () => {{
  const start = performance.now();
  for (let k = 0; k < 1e6; k++) sink += Math.sqrt(k);
  return performance.now() - start;
}};
const frames = [], works = [];
for (let k = 0; k < {frames}; k++) {{
  frames.push(view.measure(1)[0]);
  works.push(work(), work());
}}
const slowed = mean(works) / Math.min(...works);
const alone = mean(frames) / slowed, frame = median(frames);
const readings = [];
for (let k = 0; k < 200; k++) {{
  const start = performance.now();
  for (let i = 0; i < 10; i++) view.valueAt(view.pick(300 + 3 * k, 250 + 20 * i));
  readings.push((performance.now() - start) / 10);
}}
const found = {{ "first picture": first, frame, "frame alone": alone, slowed }};
document.title = "found " + JSON.stringify({{ ...found, reading: median(readings) }});
</script>
"""


def half_ellipsoid(count):
    """Points and about `count` triangles of the half y >= 0 of an ellipsoid 6 m long."""
    n = round(np.sqrt(count / 2.0))
    along, around = np.meshgrid(
        np.linspace(0.0, np.pi, n + 1), np.linspace(0.0, np.pi, n + 1), indexing="ij"
    )
    points = np.stack(
        [
            -3.0 * np.cos(along),
            0.6 * np.sin(along) * np.sin(around),
            0.8 * np.sin(along) * np.cos(around),
        ],
        axis=-1,
    ).reshape(-1, 3)
    first = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    squares = np.stack([first, first + 1, first + n + 1, first + n + 2], axis=1)
    return points, np.concatenate([squares[:, [0, 2, 1]], squares[:, [1, 2, 3]]])


def outlines():
    """Six small squares on the sides."""
    turn = np.radians(np.arange(0.0, 360.0, 15.0))
    found = []
    for k, x in enumerate((-1.5, -1.0, -0.5, 0.0, 0.5, 1.0)):
        place = [x + 0.15 * np.cos(turn), 0.6 * np.sqrt(1.0 - x**2 / 9.0) + 0.0 * turn]
        points = np.stack([place[0], (-1) ** k * place[1], 0.15 * np.sin(turn)], axis=1)
        found.append({"name": f"place {k}", "kind": "exit", "points": points.ravel().tolist()})
    return found


def page(count, painter, frames):
    """Text of a page that measures itself."""
    points, triangles = half_ellipsoid(count)
    x, y, z = points.T
    values = 0.4 * np.cos(2.0 * x) + 0.5 * z + 0.3 * y
    surface = {"points": points.round(6).ravel().tolist(), "mirrored": True}
    surface["triangles"] = triangles.ravel().tolist()
    return PAGE.format(
        script=viewer_script(),
        surface=json.dumps(surface),
        values=json.dumps(values.round(6).tolist()),
        outlines=json.dumps(outlines()),
        painter=painter,
        frames=frames,
    )


def measured(program, folder, text):
    """Numbers that one page found, ms."""
    path = folder / "page.html"
    path.write_text(text, encoding="utf-8")
    command = [program, *FLAGS, f"--user-data-dir={folder / 'profile'}", path.as_uri()]
    done = subprocess.run(command, capture_output=True, timeout=300, check=True)
    title = re.search(r"<title>found (.*?)</title>", done.stdout.decode("utf-8"))
    if title is None:
        raise RuntimeError("the page has not come to its end")
    return json.loads(unescape(title[1]))


def main(quick=False):
    """Measure, print the table, return its numbers; none without a browser."""
    program = shutil.which("chromium")
    if program is None:
        print("no chromium on the path: nothing measured")
        return {"pages": 0.0}
    sizes, pages, frames = (QUICK_SIZES, 1, 3) if quick else (SIZES, PAGES, 15)
    load = os.getloadavg()[0]
    print(f"{platform.machine()}, {os.cpu_count()} processors, load {load:.1f}; {pages} pages each")
    print(f"{'painter':8}{'triangles':>10}{'':2}{'':16}{'ms':>8}{'wanted':>8}")
    numbers = {"pages": 0.0}
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        for size in sizes:
            for painter in PAINTERS:
                text = page(size, painter, frames)
                found = [measured(program, Path(name), text) for _ in range(pages)]
                numbers["pages"] += pages
                for key in found[0]:
                    value = float(np.median([one[key] for one in found]))
                    numbers[f"{painter} {size} {key}"] = value
                    wanted = TARGETS.get(key, {}).get(size, "")
                    print(f"{painter:8}{size:10}  {key:16}{value:8.2f}{wanted:>8}")
    print(f"load at the end {os.getloadavg()[0]:.1f}")
    return numbers


if __name__ == "__main__":
    main()
