"""Renders photos of a printed scale sheet with a part beside or on it, whose sizes are known.

Nothing here comes from the solver: a pixel's look is bent by the lens (found by iteration), meets the part's top, its walls or
the sheet, and takes the light of what it meets; the sheet is the raster of the SVG that the program writes. The same
projection is held against OpenCV's `projectPoints` and `findHomography` before anything is written.

Usage: photo_scenes.py SHEET.svg STRIP.svg OUT FIRST LAST SEED   writes OUT/scene-NNN.jpg, of high parts a second photo
from another side, and OUT/truth-FIRST.jsonl; a scene's random numbers start from SEED and its number.
"""

import json
import re
import sys
from pathlib import Path

import cv2
import numpy as np

cv2.setNumThreads(1)  # several of these run at a time
SUPER = 2  # rays along a side of a pixel


def raster(svg: str, scale: float) -> np.ndarray:
    """Dark and light of the sheet at `scale` pixels a millimetre, from the squares of its one path and its frame."""
    width, height = (float(x) for x in re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg).groups())
    fine = 4
    full = np.full((int(height * scale * fine), int(width * scale * fine)), 235, np.uint8)
    number = r"(-?[\d.]+)"
    for x, y, w, h in re.findall(rf"M{number} {number}h{number}v{number}h-[\d.]+z", svg):
        x, y, w, h = (float(v) * scale * fine for v in (x, y, w, h))
        full[round(y) : round(y + h), round(x) : round(x + w)] = 28
    return cv2.resize(full, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)


class Camera:
    def __init__(self, rng, size, target, distance, tilt):
        self.size = size
        longer = max(size)
        self.film = rng.choice([24.0, 26.0, 28.0, 50.0])
        self.f = self.film / np.hypot(36, 24) * np.hypot(*size) * (1 + rng.normal(0, 0.02))
        self.c = np.array(size) / 2 - 0.5 + rng.normal(0, 0.004 * longer, 2)
        self.k = np.array([rng.uniform(-0.06, 0.05), rng.uniform(-0.015, 0.015)])
        self.place(rng.uniform(0, 2 * np.pi), rng.uniform(0, 2 * np.pi), target, distance, tilt)

    def place(self, heading, roll, target, distance, tilt):
        # Looks down (z away from the camera into the table), tilted by `tilt` towards `heading`, rolled.
        axis = np.array([np.cos(heading), np.sin(heading), 0.0])
        tilted, _ = cv2.Rodrigues(axis * np.radians(tilt))
        rolled, _ = cv2.Rodrigues(np.array([0.0, 0.0, roll]))
        self.r, self.heading = rolled @ tilted, heading
        self.t = np.array([0.0, 0.0, distance]) - self.r @ np.append(target, 0.0)

    def project(self, points):
        q = np.asarray(points, float) @ self.r.T + self.t
        x = q[:, :2] / q[:, 2:]
        r2 = (x**2).sum(1, keepdims=True)
        return self.c + self.f * x * (1 + self.k[0] * r2 + self.k[1] * r2**2)

    def looks(self, u, v):
        bent = [((at - c) / self.f).astype(np.float32) for at, c in zip((u, v), self.c)]
        x, y = bent
        for _ in range(6):
            r2 = x * x + y * y
            by = 1 / (1 + r2 * (np.float32(self.k[0]) + np.float32(self.k[1]) * r2))
            x, y = bent[0] * by, bent[1] * by
        r = self.r.astype(np.float32)
        return [x * r[0, axis] + y * r[1, axis] + r[2, axis] for axis in range(3)], (-self.t @ self.r)


def check_against_opencv(camera):
    """Our projection is OpenCV's, and the plane's homography is the one that it finds where the lens does not bend."""
    points = np.array([[x, y, -h] for x in (0, 70, 150) for y in (0, 60) for h in (0, 12)], float)
    k = np.array([[camera.f, 0, camera.c[0]], [0, camera.f, camera.c[1]], [0, 0, 1]])
    theirs, _ = cv2.projectPoints(points, cv2.Rodrigues(camera.r)[0], camera.t, k, np.array([*camera.k, 0, 0]))
    assert np.allclose(theirs[:, 0], camera.project(points), rtol=1e-9, atol=1e-6)
    plain = [p for p in points if p[2] == 0]
    pinhole, _ = cv2.projectPoints(np.array(plain), cv2.Rodrigues(camera.r)[0], camera.t, k, None)
    found, _ = cv2.findHomography(np.array(plain)[:, :2], pinhole[:, 0])
    own = k @ np.column_stack([camera.r[:, 0], camera.r[:, 1], camera.t])
    seen = [cv2.perspectiveTransform(np.array(plain)[None, :, :2], h) for h in (found, own / own[2, 2])]
    assert np.abs(seen[0] - seen[1]).max() < 0.01


def meets(look, stand, height):
    """Where looks meet the plane at a height above the sheet."""
    far = (np.float32(-height) - np.float32(stand[2])) / look[2]
    return [np.float32(stand[axis]) + look[axis] * far for axis in (0, 1)]


def paint(light, look, stand, camera, solid):
    """The light of a solid where it is seen: its walls from low to high, then its top."""
    middle, halves, turned, low, high, top_light, wall_light, shape = solid
    signs = [(a, b) for a in (-1.2, 1.2) for b in (-1.2, 1.2)]
    corners = camera.project([[*(middle + turned @ (halves * np.array(s))), -z] for s in signs for z in (low, high)])
    (left, top), (right, bottom) = corners.min(0).astype(int) - 3, corners.max(0).astype(int) + 4
    part = slice(max(top, 0), max(bottom, 0)), slice(max(left, 0), max(right, 0))
    look, light = [axis[part] for axis in look], light[part]
    if light.size == 0:
        return
    turned = turned.astype(np.float32)

    def inside(height):
        x, y = (at - np.float32(m) for at, m in zip(meets(look, stand, height), middle))
        x, y = (np.abs(x * turned[0, axis] + y * turned[1, axis]) for axis in (0, 1))
        if shape == "disc":
            return x * x + y * y < halves[0] ** 2
        flat = (x < halves[0]) & (y < halves[1])
        if shape == "card":  # ISO/IEC 7810: corners rounded with 3.18 mm
            x, y = x - (halves[0] - 3.18), y - (halves[1] - 3.18)
            flat &= ~((x > 0) & (y > 0) & (x * x + y * y > 3.18**2))
        return flat

    for height in np.linspace(low, high, 24 if high - low > 1 else 3)[:-1]:
        light[inside(height)] = wall_light
    light[inside(high)] = top_light


def rendered(camera, sheet, solids):
    """Light of each pixel: of the solids, and below them of a sheet (texture, its scale, where a cable lies) or a table."""
    size = camera.size
    picture = np.zeros((size[1], size[0]), np.float32)
    for sub in range(SUPER * SUPER):
        du, dv = (np.array([sub % SUPER, sub // SUPER]) + 0.5) / SUPER - 0.5
        v, u = np.mgrid[0 : size[1], 0 : size[0]].astype(np.float32)
        look, stand = camera.looks(u + np.float32(du), v + np.float32(dv))
        ground = meets(look, stand, 0.0)
        if sheet is None:
            light = 70 + 6 * np.sin(ground[0] / 3.1) * np.sin(ground[1] / 2.3)
        else:
            texture, scale, cable = sheet
            maps = [at * np.float32(scale) - np.float32(0.5) for at in ground]
            light = cv2.remap(texture, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=60)
            light = light.astype(np.float32)
            if cable is not None:  # it lies over some of the codes
                light[np.abs(ground[0] - cable + 0.3 * ground[1]) < 5] = 45
        for solid in solids:
            paint(light, look, stand, camera, solid)
        picture += light
    return picture / (SUPER * SUPER)


def developed(rng, picture, thin):
    """Light from one side, the lens's fall-off, blur, noise."""
    high, wide = picture.shape
    v, u = np.mgrid[0:high, 0:wide].astype(np.float32)
    slope = rng.uniform(-0.3, 0.3, 2)
    picture *= 1 + slope[0] * (u / wide - 0.5) + slope[1] * (v / high - 0.5)
    picture *= 1 - 0.25 * (((u - wide / 2) ** 2 + (v - high / 2) ** 2) / (wide / 2) ** 2 / 1.6)
    picture *= rng.uniform(0.75, 1.05)
    picture = cv2.GaussianBlur(picture, (0, 0), rng.uniform(0.3, 1.3) if not thin else rng.uniform(0.3, 0.9))
    picture += rng.normal(0, rng.uniform(0.5, 5), picture.shape).astype(np.float32)
    return np.clip(picture, 0, 255).astype(np.uint8)


def scene(rng, index, sheets):
    """One photo, and what is true of it."""
    kind = ["plane", "high", "thin", "disc", "overlap", "card", "plane", "high"][index % 8]
    thin = kind == "thin"
    card = kind == "card"
    tilt = rng.uniform(0, 50) if not thin else rng.uniform(0, 25)
    size = (1280, 960) if index % 3 else (1120, 840)
    name = "STRIP" if thin and rng.random() < 0.5 else "A4"
    texture, scale = sheets[name]
    paper = np.array([texture.shape[1], texture.shape[0]]) / scale
    if thin:
        target = paper / 2 if name == "STRIP" else np.array([45.0, 75.0])
    else:
        target = paper / 2 + rng.uniform(-15, 15, 2)
    if card:
        target = np.array([60.0, 45.0])
    camera = Camera(rng, size, target, 1.0, tilt)
    want = 13.0 if thin else rng.uniform(4.0, 7.0) if not card else rng.uniform(6.0, 10.0)  # pixels a millimetre
    distance = camera.f / want
    camera.t = np.array([0.0, 0.0, distance]) - camera.r @ np.append(target, 0.0)
    check_against_opencv(camera)
    turn = rng.uniform(0, 2 * np.pi)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    height = {"plane": 0.0, "high": rng.uniform(2, 30), "thin": 0.0, "disc": rng.uniform(0, 15), "overlap": 0.0}.get(kind, 0.0)
    # The part: a box of half sizes round a middle, or a disc, on the sheet; a second box on it for an overlap.
    if thin:
        half = np.array([rng.uniform(8, 20), rng.uniform(0.5, 2.0)])
        spot = target + (np.array([rng.uniform(-30, 30), 22.0]) if name == "STRIP" else rng.uniform(-8, 8, 2))
        turn = 0.0 if name == "STRIP" else turn
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    else:
        half = np.array([rng.uniform(9, 38), rng.uniform(6, 20)])
        spot = target + rng.uniform(-12, 12, 2)
    if card:
        half = np.array([rng.uniform(8, 25), rng.uniform(6, 12)])
        spot = np.array([60.0, 45.0 + 27 + 22]) + rng.uniform(-3, 3, 2)
    solids = []  # middle, half sizes, spin, low, high, top light, wall light, round?
    top, wall = (rng.uniform(120, 190), rng.uniform(55, 90)) if rng.random() < 0.5 else (rng.uniform(60, 100), rng.uniform(120, 160))
    if kind == "disc":
        solids.append((spot, np.array([half[1], half[1]]), np.eye(2), 0.0, height, top, wall, "disc"))
    else:
        solids.append((spot, half, spin, 0.0, height, top, wall, "box"))
    if card:
        c, s = np.cos(0.3), np.sin(0.3)
        solids.append((np.array([60.0, 38.0]), np.array([42.8, 26.99]), np.array([[c, -s], [s, c]]) if rng.random() < 0.5 else np.eye(2), -0.5, 0.0, 205.0, 120.0, "card"))
    if kind == "overlap":
        along = spin @ np.array([1.0, 0.0])
        lap = rng.uniform(8, 2 * half[0] - 4) if half[0] > 8 else half[0]
        second = rng.uniform(20, 40)
        solids.append((spot + along * (half[0] - lap + second), np.array([second, half[1] * 0.8]), spin, height, height + 0.3, 255 - top, 40.0, "box"))
    cable = rng.uniform(20, 230) if index % 5 == 2 and name == "A4" else None
    ground = None if card else (texture, scale, cable)
    picture = developed(rng, rendered(camera, ground, solids), thin)
    quality = int(rng.integers(60, 96))
    middle, halves, turned, low, high = solids[0][:5]
    def seen(*own):
        return camera.project([[*(middle + turned @ np.array(p)), -high] for p in own])
    other = None
    a, b = halves
    part = rng.uniform(-0.35, 0.35)
    if kind in ("plane", "high", "card") and index % 2 == 0:
        measure, taps, truth = "length", seen([-a, part * b], [a, part * b]), 2 * a
    elif kind in ("plane", "high", "thin", "card"):
        measure, taps, truth = "width", seen([-0.6 * a, -b], [0.6 * a, -b], [-0.5 * a, b], [0.6 * a, b]), 2 * b
    elif kind == "disc":
        angles = rng.uniform(0, 0.6) + np.arange(5) * 2 * np.pi / 5
        measure, taps, truth = "diameter", seen(*[[a * np.cos(w), a * np.sin(w)] for w in angles]), 2 * a
    else:
        # From the end of the lower bar that is seen to the end of the upper one on it: twice half less the overlap.
        m2, h2 = solids[1][0], solids[1][1]
        measure, truth = "overlap", 2 * a - lap
        first = seen([-a, -0.5 * b], [-a, 0.5 * b])
        second = camera.project([[*(m2 + turned @ np.array([-h2[0], y * b])), -solids[1][4]] for y in (-0.5, 0.5)])
        taps = np.concatenate([first, second])
        other = solids[1][4]
    scatter = 1.5
    taps = taps + rng.normal(0, scatter, taps.shape)
    give = rng.uniform(0.2, 2.0) if high > 0 else 0.0
    shift = rng.uniform(-give, give)
    told = {
        "name": f"scene-{index:03}", "kind": kind, "measure": measure, "taps": taps.tolist(), "truth": float(truth),
        "height": [float(max(0.0, high + shift - give)), float(high + shift + give)],
        "other_height": None if other is None else [max(0.0, other - 0.3), other + 0.3],
        "tilt": float(tilt), "pixels": float(want), "scatter": scatter, "sheet": name, "inside": bool(((taps > 8) & (taps < np.array(size) - 8)).all()),
    }
    if card:
        m, h, t = solids[1][:3]
        corners = [m + t @ (h * np.array(s)) for s in ([-1, -1], [1, -1], [1, 1], [-1, 1])]
        told["card"] = (camera.project([[*p, 0.0] for p in corners]) + rng.normal(0, 3, (4, 2))).tolist()
    film = int(round(camera.film)) if rng.random() < 0.6 else None
    second = None
    if kind == "high":
        # From another side, with a corner of the part's top tapped in both.
        corner = seen([-a, -b])[0]
        camera.place(camera.heading + np.pi * rng.uniform(0.7, 1.3), rng.uniform(0, 2 * np.pi), target, distance, rng.uniform(15, 40))
        second = developed(rng, rendered(camera, ground, solids), thin)
        told["second"] = [(at + rng.normal(0, scatter, 2)).tolist() for at in (corner, seen([-a, -b])[0])]
        told["high"] = float(high)
    return picture, second, quality, told, film


def with_exif(jpeg: bytes, film: int, size) -> bytes:
    """Puts FocalLengthIn35mmFilm and the size in pixels into a JPEG (CIPA DC-008)."""
    from PIL import Image

    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0xA405: film, 0xA002: size[0], 0xA003: size[1]})
    payload = exif.tobytes()
    payload = payload if payload.startswith(b"Exif\0\0") else b"Exif\0\0" + payload
    return jpeg[:2] + b"\xff\xe1" + (len(payload) + 2).to_bytes(2, "big") + payload + jpeg[2:]


def main(sheet, strip, out, first, last, seed):
    sheets = {name: (raster(Path(path).read_text(), scale), scale) for name, path, scale in (("A4", sheet, 12), ("STRIP", strip, 24))}
    out = Path(out)
    with open(out / f"truth-{first}.jsonl", "w") as file:
        for index in range(int(first), int(last)):
            rng = np.random.default_rng(int(seed) + index)
            *pictures, quality, told, film = scene(rng, index, sheets)
            for picture, name in zip(pictures, (told["name"], f"{told['name']}-second")):
                if picture is None:
                    continue
                _, jpeg = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
                jpeg = jpeg.tobytes()
                if film:
                    jpeg = with_exif(jpeg, film, (picture.shape[1], picture.shape[0]))
                (out / f"{name}.jpg").write_bytes(jpeg)
            file.write(json.dumps(told) + "\n")


if __name__ == "__main__":
    main(*sys.argv[1:7])
