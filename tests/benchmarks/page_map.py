"""The page's map against two map libraries, on the same tiles, in Chromium without a graphics card.

    python -m tests.benchmarks.page_map 26900 1000000 [--page]

fetches Leaflet and MapLibre GL with npm into a scratch folder, writes a street grid of each size
(`emergency_city`), and draws it three ways from the same tiles of `netplan.page.map_tiles`: our own canvas
(`netplan/page/static/map.js`), Leaflet with canvas tiles of our own, MapLibre GL with vector tiles (its WebGL
in software). First view is from the opening of the page to all tiles drawn, the server's tiles cut before;
recolouring is 200 mains drawn as a zone, to the frame after; panning is 90 steps of 8 points, one a frame. In
a city they are done where about as many pipes are in view as in the town. With ``--page`` also the page
itself: first view, a handle, the ghost of a stop, a zone recoloured, on the sample and on each size.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import tempfile
import threading
import time
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

import netplan.page
from netplan.cli.sample import sample_network
from netplan.page.map_tiles import FARTHEST_IN, UNITS, MapTiles
from netplan.readers import read_network, write_layers
from tests.benchmarks.emergency_city import city_layers
from tests.benchmarks.page_latency_in_browser import page_rows
from tests.benchmarks.vector_tiles import vector_tile
from tests.support.browser import chromium

LIBRARIES: Final = ("leaflet@1.9.4", "maplibre-gl@6.17.0")
WAYS: Final = {"own": "own canvas", "leaflet": "Leaflet, canvas tiles", "maplibre": "MapLibre GL"}
IN_VIEW: Final = 26_900
RUNS: Final = 3
PAGE: Final = (
    "<!doctype html><meta charset='utf-8'><title>map</title>"
    "<style>html,body{margin:0;height:100%}#map{width:864px;height:733px;background:#f4f1e8}</style>"
    "<div id='map'></div><script type='module' src='/contest.js'></script>"
)


def fetched_libraries(folder: Path) -> Path:
    """Fetch the libraries with npm into a folder, unless they are there; return where they are."""
    npm = shutil.which("npm")
    if npm is None:
        raise SystemExit("npm is missing; install Node.js")
    line = [npm, "install", "--no-audit", "--no-fund", "--ignore-scripts", *LIBRARIES]
    folder.mkdir(parents=True, exist_ok=True)
    subprocess.run(line, cwd=folder, check=True, capture_output=True)  # noqa: S603
    return folder / "node_modules"


def contest_app(tiles: MapTiles, lines: list[Any], libraries: Path) -> Starlette:
    """Return a server of one network's tiles, of the libraries and of our own modules."""
    middle = [tiles.west_m + tiles.extent_m / 2, tiles.north_m - tiles.extent_m / 2]
    facts = {"west_m": tiles.west_m, "north_m": tiles.north_m, "extent_m": tiles.extent_m, "units": UNITS}
    facts |= {"farthest_in": FARTHEST_IN, "middle": middle}  # type: ignore[dict-item]

    @cache
    def cut(zoom: int, column: int, row: int, as_vectors: bool) -> bytes:
        lines = tiles.tile(zoom, column, row)
        return vector_tile(lines) if as_vectors else lines.to_bytes()

    def tile(request: Request) -> Response:
        zoom, column, row = (int(request.path_params[name]) for name in ("zoom", "column", "row"))
        as_vectors = request.url.path.startswith("/vector")
        return Response(cut(zoom, column, row, as_vectors), media_type="application/octet-stream")

    def script(_: Request) -> Response:
        text = Path(__file__).with_suffix(".js").read_text(encoding="utf-8")
        return Response(text, media_type="text/javascript")

    static = Path(netplan.page.__file__).parent / "static"
    return Starlette(
        routes=[
            Route("/", lambda _: HTMLResponse(PAGE)),
            Route("/contest.js", script),
            Route("/facts", lambda _: JSONResponse(facts)),
            Route("/pipes", lambda _: JSONResponse(lines)),
            Route("/tiles/{zoom}/{column}/{row}", tile),
            Route("/vector/{zoom}/{column}/{row}", tile),
            Mount("/static", StaticFiles(directory=static)),
            Mount("/npm", StaticFiles(directory=libraries)),
        ]
    )


def mains_in_the_middle(network: Any, tiles: MapTiles, count: int = 200) -> list[Any]:
    """Return the courses of the mains nearest to the middle of a network."""
    pipes = network.pipes
    first = pipes.coord_start[: pipes.n_mains]
    middle = (tiles.west_m + tiles.extent_m / 2, tiles.north_m - tiles.extent_m / 2)
    away = np.hypot(*(pipes.coords_m[first] - middle).T)
    rows = np.argsort(away)[:count].tolist()
    return [
        pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]].round(2).tolist() for row in rows
    ]


def contest(path: Path, kept: Path, libraries: Path) -> list[list[str]]:
    """Return a row of figures for each way to draw one network."""
    network = read_network(str(path), cache=kept, set_aside=True)
    tiles = MapTiles(network)
    app = contest_app(tiles, mains_in_the_middle(network, tiles), libraries)
    config = uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning")
    server = uvicorn.Server(config)
    running = threading.Thread(target=server.run, daemon=True)
    running.start()
    while not server.started:
        time.sleep(0.05)
    port = server.servers[0].sockets[0].getsockname()[1]
    share = min(1.0, (IN_VIEW / len(network.pipes)) ** 0.5)
    rows = []
    with chromium("--enable-unsafe-swiftshader") as browser:
        for way, words in WAYS.items():
            runs = [_once(browser, f"http://127.0.0.1:{port}/?way={way}", share) for _ in range(RUNS + 1)][1:]
            first = np.median([run["first_ms"] for run in runs])
            colour = np.concatenate([run["recolour_ms"][1:] for run in runs])
            pan = np.concatenate([run["pan_ms"] for run in runs])
            rows.append(
                [
                    f"{len(network.pipes):,}",
                    words,
                    f"{first:.0f}",
                    *(f"{np.percentile(values, q):.0f}" for values in (colour, pan) for q in (50, 95)),
                ]
            )
    server.should_exit = True
    running.join(timeout=10)
    return rows


def _once(browser: Any, url: str, share: float) -> dict[str, Any]:
    context = browser.new_context(viewport={"width": 864, "height": 733})
    page = context.new_page()
    page.on("pageerror", lambda error: print("page:", error))  # noqa: T201
    page.goto(url)
    page.wait_for_function("window.ready")
    found: dict[str, Any] = page.evaluate("(share) => window.measure(share)", share)
    context.close()
    return found


def table(head: list[str], rows: list[list[str]]) -> str:
    """Return a table in Markdown."""
    lines = [head, ["---", "---"] + ["---:"] * (len(head) - 2), *rows]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)


def main(sizes: list[int], scratch: Path, *, ways: bool, page: bool) -> None:
    """Measure and print."""
    libraries = fetched_libraries(scratch / "npm") if ways else scratch
    rows, of_page = [], []
    for size in sizes:
        path = scratch / f"{size}.gpkg"
        if not path.exists():
            write_layers(city_layers(size), path)
        rows += contest(path, scratch / "kept", libraries) if ways else []
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, {', '.join(LIBRARIES)}\n")  # noqa: T201
    head = [
        "pipes",
        "drawn by",
        "first view [ms]",
        "recolouring p50 [ms]",
        "p95",
        "a frame of panning p50 [ms]",
    ]
    if ways:
        print(table([*head, "p95"], rows))  # noqa: T201
    if page:
        for network in (sample_network(), *(scratch / f"{size}.gpkg" for size in sizes)):
            of_page += page_rows(str(network), scratch)
        head = ["network", "what", "p50 [ms]", "p95 [ms]"]
        print("\n" + table(head, of_page))  # noqa: T201


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("sizes", nargs="*", type=int, default=[26_900, 1_000_000])
    parser.add_argument("--page", action="store_true", help="measure the page itself as well")
    parser.add_argument(
        "--scratch", type=Path, help="folder for npm packages and networks; a new one without"
    )
    parser.add_argument("--page-alone", action="store_true", help="measure the page itself and no library")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as new:
        folder, alone = given.scratch or Path(new), given.page_alone
        main(given.sizes, folder, ways=not alone, page=given.page or alone)
