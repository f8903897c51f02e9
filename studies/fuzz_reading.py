"""Damaged files: does any of them end in anything but a surface or one clear message?

Question: files are cut short, changed in bits, lines, numbers, counts and names. Does reading them
ever give a traceback, a warning, a hang of more than 20 s, or take more than 2 GB?
Method: good files of every format that is read, of station tables and of a case are damaged in
many ways (always the same ones) and given, one after the other, to the command line in a process
that is watched, and started anew when it hangs or dies.
Known answer: status 0 for the good files; 0 or 2 for all others; no other outcome.
Command: python studies/fuzz_reading.py [number of files] [first number]
"""

from __future__ import annotations

import base64
import contextlib
import io
import json
import os
import queue
import re
import subprocess
import sys
import tempfile
import threading
import time
import zipfile
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
SECONDS = 20.0
GIGABYTES = 2.0
SUFFIXES = (".stl", ".obj", ".ply", ".off", ".glb", ".gltf", ".3mf", ".csv", ".toml")
NUMBERS = (
    b"nan", b"inf", b"-inf", b"1e308", b"-1e308", b"1e999", b"-1", b"0", b"1e-320", b"4294967296",
    b"99999999999999999999", b"-2147483648", b"0x10", b"1,5", b"1e", b"--3", b"7" * 400, b"",
)  # fmt: skip


def body(n_round: int = 14, n_along: int = 12) -> tuple[np.ndarray, np.ndarray]:
    """Vertices, m, and triangles of an invented egg 3 m long."""
    along = np.linspace(0.0, np.pi, n_along + 1)[1:-1]
    turn = 2.0 * np.pi * np.arange(n_round) / n_round
    radius = np.sin(along) * (0.5 + 0.1 * np.cos(along))
    x = np.repeat(-1.5 * np.cos(along), n_round)
    y, z = np.outer(radius, np.cos(turn)).ravel(), np.outer(radius, np.sin(turn)).ravel()
    vertices = np.vstack([np.stack([x, y, z], axis=1), [[-1.5, 0, 0], [1.5, 0, 0]]])
    k, j = np.meshgrid(np.arange(n_along - 2), np.arange(n_round), indexing="ij")
    a, b = n_round * k + j, n_round * k + (j + 1) % n_round
    c, d = a + n_round, b + n_round
    last, j = n_round * (n_along - 2), np.arange(n_round)
    front = np.stack([np.full(n_round, len(vertices) - 2), (j + 1) % n_round, j], axis=1)
    rear = np.stack([np.full(n_round, len(vertices) - 1), last + j, last + (j + 1) % n_round], 1)
    sides = [np.stack(t, axis=2).reshape(-1, 3) for t in ((a, b, c), (b, d, c))]
    return vertices, np.vstack([front, *sides, rear])


def good_files() -> dict[str, bytes]:
    """Name and content of the files that are damaged."""
    import trimesh

    vertices, triangles = body()
    mesh = trimesh.Trimesh(vertices, triangles, process=False)
    kinds = {
        "binary.stl": {"file_type": "stl"},
        "text.stl": {"file_type": "stl_ascii"},
        "body.obj": {"file_type": "obj"},
        "binary.ply": {"file_type": "ply"},
        "text.ply": {"file_type": "ply", "encoding": "ascii"},
        "body.off": {"file_type": "off"},
        "body.glb": {"file_type": "glb"},
    }
    files = {name: mesh.export(**kind) for name, kind in kinds.items()}
    files = {n: data.encode() if isinstance(data, str) else data for n, data in files.items()}
    files["body.gltf"] = _embedded(trimesh.Scene([mesh]).export(file_type="gltf"))
    files["body.3mf"] = packed_model(model_text(vertices, triangles))
    geometries = ROOT / "geometries"
    files["stations.csv"] = (geometries / "glider_tug" / "stations.csv").read_bytes()
    files["case.toml"] = (geometries / "ellipsoid" / "case.toml").read_bytes()
    return files


def _embedded(files: dict[str, bytes]) -> bytes:
    """A glTF file with its buffers inside."""
    tree = json.loads(files["model.gltf"])
    for buffer in tree["buffers"]:
        content = base64.b64encode(files[buffer["uri"]]).decode()
        buffer["uri"] = f"data:application/octet-stream;base64,{content}"
    return json.dumps(tree, indent=1).encode()


def model_text(vertices, triangles) -> bytes:
    """The model of a 3MF file, in metres, placed by a component."""
    points = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>\n' for x, y, z in vertices.tolist())
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>\n' for a, b, c in triangles.tolist())
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<model unit="meter" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">\n<resources>\n'
        f'<object id="1" type="model" name="egg">\n<mesh>\n<vertices>\n{points}</vertices>\n'
        f"<triangles>\n{faces}</triangles>\n</mesh>\n</object>\n"
        '<object id="2"><components><component objectid="1" '
        'transform="1 0 0 0 1 0 0 0 1 0.5 0 0"/></components></object>\n</resources>\n'
        '<build><item objectid="2"/></build>\n</model>\n'
    ).encode()


def packed_model(text: bytes) -> bytes:
    """A 3MF file with one model, dated 1980 so that the clock changes nothing."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo("3D/3dmodel.model"), text, zipfile.ZIP_DEFLATED)
    return stream.getvalue()


def damaged(name: str, data: bytes, number: int) -> tuple[str, bytes]:
    """One of many ways in which a file goes bad on its way; the same for the same number."""
    random = np.random.default_rng([number, *name.encode()])
    suffix = Path(name).suffix
    if suffix == ".3mf" and random.random() < 0.7:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            text = archive.read("3D/3dmodel.model")
        return name, packed_model(_changed(text, random))
    if suffix == ".glb" and random.random() < 0.5:
        return name, _other_json(data, random)
    if random.random() < 0.05:
        return f"{Path(name).stem}{random.choice(SUFFIXES)}", data
    for _ in range(int(random.integers(1, 4))):
        data = _changed(data, random)
    return name, data


def _other_json(data: bytes, random) -> bytes:
    """A GLB file whose JSON is damaged and whose lengths are right again."""
    size = int.from_bytes(data[12:16], "little")
    text = _changed(data[20 : 20 + size], random)
    text += b" " * (-len(text) % 4)
    rest = data[20 + size :]
    total = 20 + len(text) + len(rest)
    head = b"glTF" + (2).to_bytes(4, "little") + total.to_bytes(4, "little")
    return head + len(text).to_bytes(4, "little") + b"JSON" + text + rest


def _changed(data: bytes, random) -> bytes:
    ways = [
        _bits, _cut, _lost, _doubled, _garbage, _head, _number, _number, _number, _lines, _lines,
        _encoding, _counts, _empty, _letters,
    ]  # fmt: skip
    return ways[int(random.integers(len(ways)))](data, random) if data else data


def _bits(data: bytes, random) -> bytes:
    found = bytearray(data)
    for place in random.integers(len(found), size=int(random.integers(1, 20))):
        found[place] ^= 1 << int(random.integers(8))
    return bytes(found)


def _cut(data: bytes, random) -> bytes:
    return data[: int(random.integers(len(data)))]


def _lost(data: bytes, random) -> bytes:
    place = int(random.integers(len(data)))
    return data[:place] + data[place + int(random.integers(1, 200)) :]


def _doubled(data: bytes, random) -> bytes:
    place = int(random.integers(len(data)))
    return data[: place + int(random.integers(1, 200))] + data[place:]


def _garbage(data: bytes, random) -> bytes:
    place = int(random.integers(len(data)))
    return data[:place] + random.bytes(int(random.integers(1, 60))) + data[place:]


def _head(data: bytes, random) -> bytes:
    found = bytearray(data)
    for place in random.integers(min(len(found), 200), size=int(random.integers(1, 6))):
        found[place] = int(random.integers(256))
    return bytes(found)


def _number(data: bytes, random) -> bytes:
    """A number, written or held in four bytes, becomes a strange one."""
    written = list(re.finditer(rb"(?<![\w.])-?\d+(\.\d+)?([eE][-+]?\d+)?", data))
    if b"\0" in data or not written:
        place = int(random.integers(max(len(data) - 4, 1)))
        value = random.choice([0, 0xFFFFFFFF, 0x7FFFFFFF, 0x7F800000, 0x7FC00000, 0x7F7FFFFF])
        return data[:place] + int(value).to_bytes(4, "little") + data[place + 4 :]
    chosen = written[int(random.integers(len(written)))]
    return data[: chosen.start()] + random.choice(NUMBERS) + data[chosen.end() :]


def _counts(data: bytes, random) -> bytes:
    """One of the first whole numbers becomes another."""
    written = list(re.finditer(rb"\b\d+\b", data[:2000]))[:12]
    if not written:
        return _number(data, random)
    chosen = written[int(random.integers(len(written)))]
    value = int(random.choice([0, 1, 3, 1000, 10**6, 10**9, 2**31, 2**32 - 1, 2**62]))
    return data[: chosen.start()] + str(value).encode() + data[chosen.end() :]


def _lines(data: bytes, random) -> bytes:
    lines = data.split(b"\n")
    first, second = random.integers(len(lines), size=2)
    way = int(random.integers(4))
    if way == 0:
        lines[first], lines[second] = lines[second], lines[first]
    elif way == 1:
        lines.insert(int(first), lines[second])
    elif way == 2:
        del lines[first]
    else:
        lines[first] = random.choice([b"", b"f 1 2 999", b"f -1 -2 -900", b"vertex nan 0 0", b"]"])
    return b"\n".join(lines)


def _encoding(data: bytes, random) -> bytes:
    way = int(random.integers(5))
    if way == 0:
        return b"\xef\xbb\xbf" + data
    if way == 1:
        return data.decode("latin-1").encode("utf-16")
    if way == 2:
        return data.replace(b"\n", b"\r\n" if random.random() < 0.5 else b"\r")
    if way == 3:
        return data.replace(b"e", b"\xe9", int(random.integers(1, 5)))
    return data.replace(b" ", b"\0", int(random.integers(1, 5)))


def _letters(data: bytes, random) -> bytes:
    return data.upper() if random.random() < 0.5 else data.swapcase()


def _empty(data: bytes, random) -> bytes:
    return random.choice([b"", b" ", b"\n\n", b"\0\0\0\0", data[:1]])


class Watched:
    """A process that reads one file after the other and is started anew when it must."""

    def __init__(self):
        self._process = None

    def read(self, path: Path) -> dict:
        """What came of one file: status, error text, seconds, peak memory in gigabytes."""
        if self._process is None:
            self._start()
        self._process.stdin.write(f"{path}\n")
        self._process.stdin.flush()
        try:
            line = self._answers.get(timeout=SECONDS)
        except queue.Empty:
            line = None
        if not line:
            what = "hangs" if line is None else "dies"
            self.stop()
            return {"status": what, "error": "", "seconds": SECONDS, "gigabytes": 0.0}
        return json.loads(line)

    def _start(self):
        settings = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
        self._process = subprocess.Popen(
            [sys.executable, __file__, "--worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            env=settings,
        )
        self._answers = queue.Queue()
        arguments = (self._process.stdout, self._answers)
        threading.Thread(target=_forward, args=arguments, daemon=True).start()
        self._answers.get(timeout=120.0)  # ready, imports done

    def stop(self):
        """End the process that was started."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            for pipe in (self._process.stdin, self._process.stdout):
                with contextlib.suppress(OSError):
                    pipe.close()
            self._process = None


def _forward(stream, answers: queue.Queue):
    with contextlib.suppress(ValueError, OSError):
        for line in stream:
            answers.put(line)
    answers.put("")


def worker():
    """Read paths from the standard input; answer with one line for each."""
    from panelcp.case import checking  # noqa: F401

    _limit_memory()
    answers = sys.stdout
    print(json.dumps("ready"), file=answers, flush=True)
    for line in sys.stdin:
        start = time.perf_counter()
        said, errors = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(errors):
            status = _status(Path(line.rstrip("\n")))
        answer = {
            "status": status,
            "error": errors.getvalue()[:2000],
            "seconds": time.perf_counter() - start,
            "gigabytes": _peak_gigabytes(),
        }
        print(json.dumps(answer), file=answers, flush=True)


def _status(path: Path):
    import traceback

    from panelcp.cli import main as panelcp_main
    from panelcp.errors import PanelcpError
    from panelcp.surface.stations import loft_stations, read_stations

    try:
        if path.suffix != ".csv":
            return panelcp_main(["check", str(path)])
        try:
            loft_stations(read_stations(path))
        except PanelcpError:
            return 2
        return 0
    except BaseException:
        return traceback.format_exc()[-1500:]


def _limit_memory():
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))


def _peak_gigabytes() -> float:
    try:
        import resource
    except ImportError:
        return 0.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


def fault(answer: dict, control: bool) -> str:
    """What is wrong with an outcome; empty when nothing is."""
    status = answer["status"]
    if status not in (0, 2):
        return f"ends with: {status}"
    if control and status != 0:
        return f"good file refused: {answer['error']}"
    if status == 0 and answer["error"]:
        return f"warns: {answer['error']}"
    if status == 2 and "Warning" in answer["error"]:
        return f"warns: {answer['error']}"
    if answer["seconds"] > SECONDS or answer["gigabytes"] > GIGABYTES:
        return f"takes {answer['seconds']:.0f} s and {answer['gigabytes']:.1f} GB"
    return ""


def run(n_files: int, first: int = 0) -> tuple[list[str], dict[str, float]]:
    """Damage and read; the good ones first.

    Returns the faults, and numbers: files, read (status 0), slowest and gigabytes.
    """
    files, faults = good_files(), []
    numbers = {"files": 0, "read": 0, "slowest": 0.0, "gigabytes": 0.0, "faults": 0}
    watched = Watched()
    names = list(files)
    try:
        with tempfile.TemporaryDirectory() as folder:
            ellipsoid = ROOT / "geometries" / "ellipsoid" / "ellipsoid.obj"
            (Path(folder) / "ellipsoid.obj").write_bytes(ellipsoid.read_bytes())
            for k in range(-len(names), n_files):
                name = names[k % len(names)]
                chosen, data = (name, files[name])
                if k >= 0:
                    chosen, data = damaged(name, data, first + k)
                path = Path(folder) / f"x-{chosen}"
                path.write_bytes(data)
                answer = watched.read(path)
                path.unlink()
                wrong = fault(answer, control=k < 0)
                if wrong:
                    faults.append(f"{name}, number {first + k}: {wrong}")
                numbers["files"] += k >= 0
                numbers["read"] += k >= 0 and answer["status"] == 0
                numbers["slowest"] = max(numbers["slowest"], answer["seconds"])
                numbers["gigabytes"] = max(numbers["gigabytes"], answer["gigabytes"])
    finally:
        watched.stop()
    numbers["faults"] = len(faults)
    return faults, numbers


def main(quick: bool = False, n_files: int = 3000, first: int = 100_000) -> dict[str, float]:
    """Faults found and what the reading took."""
    start = time.perf_counter()
    faults, numbers = run(44 if quick else n_files, first)
    for line in faults:
        print(line)
    numbers["seconds"] = time.perf_counter() - start
    print(", ".join(f"{name} {value:.4g}" for name, value in numbers.items()))
    return numbers


if __name__ == "__main__":
    if sys.argv[1:] == ["--worker"]:
        worker()
    else:
        main(False, *map(int, sys.argv[1:]))
