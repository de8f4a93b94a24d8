#!/usr/bin/env python3
"""Draw the pictures of the two example inspections. Everything shown is invented.

The examples need pictures that look like evidence (a printed marking, a measured size, a missing washer) without
using anyone's product. So each `[[photo]]` of the two records is a drawing made here, marked as an illustration in
the picture and in its EXIF description, and dated a few minutes after the one before it. No position is written.

Drawn twice as large and scaled down, because Pillow draws shapes without smoothing. All randomness is seeded: the
same Pillow version gives the same bytes.

    python draw.py            draw all pictures of both revisions
    python draw.py b/05       draw those whose name contains the word
"""

import datetime
import pathlib
import random
import sys
import tomllib

from PIL import Image, ImageChops, ImageDraw, ImageEnhance, ImageFilter, ImageFont

HERE = pathlib.Path(__file__).resolve().parent
FONTS = pathlib.Path("/usr/share/fonts/truetype/dejavu")
WIDTH, HEIGHT, SCALE = 1400, 1050, 2
BAND = "INVENTED ILLUSTRATION · Marrowby Electric does not exist"

# Colour runs, top to bottom. Three or more stops make a surface look curved or polished.
COPPER = [(246, 190, 148), (214, 134, 88), (184, 104, 62), (222, 150, 104)]
NICKEL = [(226, 228, 222), (188, 192, 190), (152, 156, 156), (204, 206, 202)]
STEEL = [(236, 238, 240), (190, 194, 198), (150, 154, 160), (210, 214, 218)]
ALUMINIUM = [(222, 226, 230), (196, 201, 206), (206, 211, 216)]
BLACK = [(74, 78, 84), (40, 43, 48), (28, 30, 34)]
CASE = [(64, 72, 84), (46, 53, 63), (38, 44, 53)]
CELL = [(70, 128, 178), (44, 98, 148), (36, 82, 128)]
FOAM = [(70, 70, 74), (58, 58, 62)]
BOARD = [(30, 112, 82), (20, 88, 64)]
EPOXY = [(212, 208, 138), (190, 186, 112)]
RED = [(240, 108, 96), (206, 52, 44), (150, 28, 24)]
CREAM = [(250, 246, 234), (232, 226, 208)]
INK = (24, 28, 34)


def font(size, style=""):
    return ImageFont.truetype(str(FONTS / f"DejaVu{style or 'Sans'}.ttf"), round(size * SCALE))


def ramp(size, stops, across=False):
    """A colour run of several stops over a rectangle."""
    strip = Image.new("RGB", (1, len(stops)))
    strip.putdata([tuple(stop) for stop in stops])
    if across:
        strip = strip.transpose(Image.Transpose.ROTATE_90)
    return strip.resize(size, Image.Resampling.BICUBIC)


def smooth(points, steps=14):
    """A curve through the points (Catmull-Rom), for cables and beads of glue."""
    padded = [points[0], *points, points[-1]]
    curve = []
    for p0, p1, p2, p3 in zip(padded, padded[1:], padded[2:], padded[3:]):
        for step in range(steps):
            t = step / steps
            curve.append(tuple(
                0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3)
                for a, b, c, d in zip(p0, p1, p2, p3)))
    return [*curve, points[-1]]


class Scene:
    """One picture. All lengths are in pixels of the finished picture."""

    def __init__(self, seed, bench=((206, 210, 212), (158, 164, 168))):
        self.random = random.Random(seed)
        self.image = ramp((WIDTH * SCALE, HEIGHT * SCALE), bench)
        self._glow()

    def _glow(self):
        """Light from the upper left, so that flat areas are not dead."""
        light = Image.new("L", (140, 105), 0)
        ImageDraw.Draw(light).ellipse((-10, -30, 105, 75), fill=70)
        light = light.filter(ImageFilter.GaussianBlur(22)).resize(self.image.size, Image.Resampling.BICUBIC)
        self.image.paste((255, 255, 255), (0, 0), light)

    # Surfaces

    def _surface(self, box, draw, stops, across=False, shadow=10, bevel=3, brushed=0, outline=True):
        pad = 60
        x0, y0, x1, y1 = (round(v * SCALE) for v in box)
        size = (x1 - x0 + 2 * pad, y1 - y0 + 2 * pad)
        mask = Image.new("L", size, 0)
        draw(ImageDraw.Draw(mask), lambda x, y: (x * SCALE - x0 + pad, y * SCALE - y0 + pad))
        at = (x0 - pad, y0 - pad)
        if shadow:
            dark = mask.point(lambda v: v * 120 // 255).filter(ImageFilter.GaussianBlur(shadow))
            self.image.paste((16, 18, 24), (at[0] + shadow // 2, at[1] + shadow), dark)
        fill = Image.new("RGB", size, tuple(stops[-1]))
        fill.paste(ramp((max(1, x1 - x0), max(1, y1 - y0)), stops, across), (pad, pad))
        if brushed:
            grain = self._grain((x1 - x0, y1 - y0), brushed, across)
            fill.paste(ImageChops.overlay(fill.crop((pad, pad, size[0] - pad, size[1] - pad)), grain), (pad, pad))
        if bevel:
            inner = ImageChops.offset(mask, bevel, bevel)
            lit = ImageChops.subtract(mask, inner).filter(ImageFilter.GaussianBlur(1.5))
            fill.paste((255, 255, 255), (0, 0), lit.point(lambda v: v * 150 // 255))
            inner = ImageChops.offset(mask, -bevel, -bevel)
            shade = ImageChops.subtract(mask, inner).filter(ImageFilter.GaussianBlur(1.5))
            fill.paste((0, 0, 0), (0, 0), shade.point(lambda v: v * 130 // 255))
        if outline:
            edge = ImageChops.subtract(mask.filter(ImageFilter.MaxFilter(5)), mask)
            self.image.paste((30, 32, 36), at, edge.point(lambda v: v * 150 // 255))
        self.image.paste(fill, at, mask)

    def _grain(self, size, strength, across):
        length = size[0] if across else size[1]
        values = bytes(128 + self.random.randint(-strength, strength) for _ in range(max(1, length // 2)))
        line = Image.frombytes("L", (1, len(values)), values)
        if across:
            line = line.transpose(Image.Transpose.ROTATE_90)
        return Image.merge("RGB", [line.resize(size, Image.Resampling.BICUBIC)] * 3)

    def rect(self, x0, y0, x1, y1, stops, radius=0, **kind):
        def draw(pen, to):
            pen.rounded_rectangle((*to(x0, y0), *to(x1, y1)), radius * SCALE, fill=255)
        self._surface((x0, y0, x1, y1), draw, stops, **kind)

    def disc(self, cx, cy, rx, stops, ry=None, **kind):
        ry = ry or rx
        def draw(pen, to):
            pen.ellipse((*to(cx - rx, cy - ry), *to(cx + rx, cy + ry)), fill=255)
        self._surface((cx - rx, cy - ry, cx + rx, cy + ry), draw, stops, **kind)

    def poly(self, points, stops, **kind):
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        def draw(pen, to):
            pen.polygon([to(*p) for p in points], fill=255)
        self._surface((min(xs), min(ys), max(xs), max(ys)), draw, stops, **kind)

    def block(self, x0, y0, x1, y1, depth, stops, front, radius=0, **kind):
        """A block seen from above and in front: its top face, and its front face `depth` high below it."""
        self.rect(x0, y0 + depth * 0.5, x1, y1 + depth, front, radius, shadow=18, bevel=2)
        self.rect(x0, y0, x1, y1, stops, radius, shadow=0, **kind)

    def tube(self, points, width, stops, curved=True, shadow=True):
        """A round cable or bead: lines from wide and dark to narrow and light, moved towards the light."""
        path = smooth(points) if curved else points
        flat = [(x * SCALE, y * SCALE) for x, y in path]
        if shadow:
            soft = Image.new("L", (WIDTH, HEIGHT), 0)
            ImageDraw.Draw(soft).line([(x + 6, y + 12) for x, y in path], fill=120, width=round(width), joint="curve")
            soft = soft.filter(ImageFilter.GaussianBlur(9)).resize(self.image.size, Image.Resampling.BILINEAR)
            self.image.paste((16, 18, 24), (0, 0), soft)
        pen = ImageDraw.Draw(self.image)
        light, middle, dark = stops[0], stops[1], stops[-1]
        steps = 16
        for step in range(steps):
            part = step / (steps - 1)
            first, second, local = (dark, middle, part * 2) if part < 0.5 else (middle, light, part * 2 - 1)
            colour = tuple(round(a + (b - a) * local) for a, b in zip(first, second))
            wide = width * SCALE * (1 - part * 0.92)
            move = width * SCALE * 0.2 * part
            line = [(x - move * 0.5, y - move) for x, y in flat]
            pen.line(line, fill=colour, width=max(1, round(wide)), joint="curve")
            if curved:
                for x, y in (line[0], line[-1]):
                    pen.ellipse((x - wide / 2, y - wide / 2, x + wide / 2, y + wide / 2), fill=colour)

    def line(self, points, colour, width=2):
        ImageDraw.Draw(self.image).line([(x * SCALE, y * SCALE) for x, y in points], fill=colour,
                                        width=round(width * SCALE), joint="curve")

    def soft(self, box, colour, strength, blur=20, ellipse=True):
        """A stain, a shine or a hollow without an edge."""
        mask = Image.new("L", (WIDTH // 2, HEIGHT // 2), 0)
        half = [v / 2 for v in box]
        pen = ImageDraw.Draw(mask)
        (pen.ellipse if ellipse else pen.rectangle)(half, fill=strength)
        mask = mask.filter(ImageFilter.GaussianBlur(blur / 2)).resize(self.image.size, Image.Resampling.BILINEAR)
        self.image.paste(colour, (0, 0), mask)

    # Words

    def text(self, x, y, words, size, colour=INK, style="", anchor="la", mirrored=False, pressed=False):
        face = font(size, style)
        if mirrored:  # centred; print that came off on a soft face reads backwards
            left, top, right, bottom = face.getbbox(words)
            mask = Image.new("L", (round(right - left), round(bottom - top)), 0)
            ImageDraw.Draw(mask).text((-left, -top), words, 255, face)
            mask = mask.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
            self.image.paste(colour, (round(x * SCALE - mask.width / 2), round(y * SCALE - mask.height / 2)), mask)
            return
        pen = ImageDraw.Draw(self.image)
        if pressed:
            pen.text((x * SCALE - 2, y * SCALE - 2), words, (255, 255, 255), face, anchor)
            pen.text((x * SCALE + 2, y * SCALE + 2), words, (0, 0, 0), face, anchor)
        pen.text((x * SCALE, y * SCALE), words, colour, face, anchor)

    def leader(self, x, y, tx, ty, words):
        """A ring at the place, a thin line, and the words in a white box centred at (tx, ty)."""
        face = font(22, "Sans-Bold")
        lines = words.split("\n")
        wide = max(face.getlength(line) for line in lines) / SCALE + 28
        high = 30 * len(lines) + 16
        for colour, width in (((255, 255, 255), 7), ((176, 24, 84), 3)):
            self.line([(x, y), (tx, ty)], colour, width)
            pen = ImageDraw.Draw(self.image)
            pen.ellipse([v * SCALE for v in (x - 9, y - 9, x + 9, y + 9)], outline=colour, width=width * SCALE // 2 + 2)
        self.rect(tx - wide / 2, ty - high / 2, tx + wide / 2, ty + high / 2, [(255, 255, 255), (244, 244, 246)], 8,
                  bevel=0, shadow=8)
        for row, line in enumerate(lines):
            self.text(tx, ty - high / 2 + 23 + 30 * row, line, 22, (120, 12, 56), "Sans-Bold", "mm")

    # Parts that several pictures share

    def bolt(self, cx, cy, r, washer=None, metal=STEEL):
        """A hexagon bolt seen from its head, on a flat, spring or conical washer or on none."""
        if washer:
            self.disc(cx, cy, r * 1.75, metal, shadow=10)
        if washer == "spring":
            self.disc(cx, cy, r * 1.42, [(120, 124, 130), (88, 92, 98)], shadow=3)
            self.line([(cx + r * 0.95, cy - r * 1.15), (cx + r * 1.25, cy - r * 0.75)], (24, 26, 30), 5)
        if washer == "conical":
            for step in range(6):
                shade = 140 + step * 16
                self.disc(cx - step, cy - step, r * (1.6 - step * 0.09), [(shade, shade + 2, shade + 6)] * 2, shadow=0,
                          bevel=0, outline=False)
        corners = [(cx + r * dx, cy + r * dy) for dx, dy in
                   ((1, 0), (.5, .866), (-.5, .866), (-1, 0), (-.5, -.866), (.5, -.866))]
        self.poly(corners, metal, shadow=8, bevel=4)
        self.disc(cx, cy, r * 0.78, [(232, 234, 238), (170, 174, 180), (206, 210, 214)], shadow=0, bevel=2)

    def cell_top(self, x0, y0, x1, y1, plus_left, number=None):
        """The top of a prismatic cell: aluminium lid, two terminals, the vent between them."""
        self.rect(x0, y0, x1, y1, CELL, 6, bevel=3, across=True)
        self.rect(x0 + 5, y0 + 5, x1 - 5, y1 - 5, ALUMINIUM, 4, shadow=0, bevel=2, brushed=10)
        middle = (y0 + y1) / 2
        high = (y1 - y0) * 0.28
        for side, plus in ((x0 + (x1 - x0) * 0.17, plus_left), (x1 - (x1 - x0) * 0.17, not plus_left)):
            self.rect(side - 34, middle - high, side + 34, middle + high, BLACK, 4, shadow=4, bevel=2)
            self.rect(side - 25, middle - high * 0.72, side + 25, middle + high * 0.72, STEEL, 3, shadow=2, bevel=2)
            self.text(side, middle, "+" if plus else "−", 20, (190, 20, 20) if plus else (20, 20, 20), "Sans-Bold", "mm")
        cx = (x0 + x1) / 2
        self.rect(cx - 38, middle - high * 0.6, cx + 38, middle + high * 0.6, [(176, 180, 186), (214, 218, 222)],
                  high * 0.6, shadow=0, bevel=2)
        if number:
            self.text(cx + 74, middle, str(number), 18, (60, 66, 74), "Sans-Bold", "mm")

    def scale_bar(self, x, y, millimetres, per_mm):
        """A paper scale beside the part, with a tick for every 5 mm."""
        wide = millimetres * per_mm
        self.rect(x - 14, y, x + wide + 14, y + 44, [(255, 253, 240), (240, 236, 214)], 3, bevel=1, shadow=6)
        for step in range(0, millimetres + 1, 5):
            tall = 20 if step % 10 == 0 else 11
            self.line([(x + step * per_mm, y), (x + step * per_mm, y + tall)], INK, 2)
            if step % 10 == 0:
                self.text(x + step * per_mm, y + 31, str(step), 15, INK, "Sans", "mm")
        self.text(x + 5 * per_mm, y + 31, "mm", 14, INK, "Sans", "mm")

    def finish(self, revision, name, caption):
        """Title strip at the top, band at the bottom that says what this is."""
        strip = Image.new("L", (WIDTH * SCALE, 62 * SCALE), 255)
        self.image.paste((250, 250, 252), (0, 0), strip)
        self.line([(0, 62), (WIDTH, 62)], (120, 12, 56), 3)
        self.text(26, 32, caption, 25, INK, "Sans-Bold", "lm")
        self.text(WIDTH - 26, 32, f"Harbour 24-150 · revision {revision} · {name.split('-')[0]}", 20, (70, 76, 84), "Sans",
                  "rm")
        pen = ImageDraw.Draw(self.image)
        top = HEIGHT - 66
        pen.rectangle((0, top * SCALE, WIDTH * SCALE, HEIGHT * SCALE), fill=(250, 196, 40))
        for x in range(-20, WIDTH + 20, 48):
            pen.polygon([((x + d) * SCALE, (top + e) * SCALE) for d, e in ((0, 10), (10, 0), (34, 0), (24, 10))],
                        fill=(28, 28, 30))
        self.text(WIDTH / 2, HEIGHT - 28, BAND, 28, (20, 20, 22), "Sans-Bold", "mm")
        return self.image.resize((WIDTH, HEIGHT), Image.Resampling.LANCZOS)


# The pictures. Each takes the scene and whether it shows revision B.

def label(s, b):
    s.rect(-40, 90, 1440, 1010, CASE, 30, shadow=0)
    for x in range(30, 1400, 56):
        s.rect(x, 100, x + 12, 170, BLACK, 5, shadow=3)
        s.rect(x, 905, x + 12, 975, BLACK, 5, shadow=3)
    s.rect(110, 196, 1290, 884, [(252, 252, 250), (236, 238, 238)], 16, bevel=2)
    s.rect(110, 196, 1290, 316, [(24, 92, 112), (16, 70, 88)], 16, shadow=0, bevel=0, outline=False)
    s.text(150, 256, "MARROWBY ELECTRIC", 46, (255, 255, 255), "Sans-Bold", "lm")
    s.text(1250, 256, "invented maker", 26, (196, 226, 232), "Sans-Oblique", "rm")
    s.text(150, 372, "Harbour 24-150", 58, (16, 70, 88), "Sans-Bold", "lm")
    s.text(770, 380, "LiFePO₄ battery 8S1P · rev " + ("B" if b else "A"), 27, INK, "Sans", "lm")
    rows = [("Nominal voltage", "25.6 V"), ("Capacity (0.2 C)", "150 Ah"), ("Energy", "3840 Wh"),
            ("Continuous current", "200 A" if b else "150 A"), ("Peak current, 5 s", "400 A" if b else "300 A"),
            ("Charge current", "100 A" if b else "75 A"), ("Charge / cut-off voltage", "29.2 V / 20 V"),
            ("Charge temperature", "0 °C … 45 °C")]
    for row, (what, value) in enumerate(rows):
        y = 442 + row * 40
        if row % 2 == 0:
            s.rect(146, y - 20, 856, y + 20, [(226, 234, 236)] * 2, 4, shadow=0, bevel=0, outline=False)
        s.text(160, y, what, 24, INK, "Sans", "lm")
        s.text(846, y, value, 25, INK, "Sans-Bold", "rm")
    s.rect(896, 420, 1254, 744, [(255, 246, 220)] * 2, 8, shadow=0, bevel=0)
    s.poly([(938, 496), (974, 436), (1010, 496)], [(250, 204, 44)] * 2, shadow=0, bevel=1)
    s.text(974, 478, "!", 30, INK, "Sans-Bold", "mm")
    s.text(1030, 468, "CAUTION", 26, INK, "Sans-Bold", "lm")
    warnings = ["Do not short the terminals", "Do not open", "Do not charge below 0 °C", "Keep upright"]
    warnings += ["IP65", "Full marine certification"] if b else ["Certified cells", "Max. 2 in series"]
    for row, words in enumerate(warnings):
        s.text(920, 530 + row * 38, words, 22, INK, "Sans", "lm")
    s.text(160, 800, "Serial " + ("MB-B-2026-0417" if b else "MB-A-2024-0093"), 27, INK, "SansMono", "lm")
    s.text(160, 842, "Lot " + ("2026-04" if b else "2024-03") + " · made up for an example", 22, (80, 86, 92), "Sans", "lm")
    x = 760
    while x < 1230:
        wide = s.random.choice((2, 3, 5, 7))
        s.rect(x, 772, x + wide, 852, [INK] * 2, 0, shadow=0, bevel=0, outline=False)
        x += wide + s.random.choice((3, 4, 6))


def terminals(s, b):
    s.rect(60, 140, 1340, 930, CASE, 40, shadow=24, bevel=5)
    s.rect(110, 190, 1290, 880, [(56, 64, 75), (42, 49, 58)], 30, shadow=0, bevel=4)
    for cx, sign, ring in ((370, "+", RED), (1030, "−", BLACK)):
        s.disc(cx, 470, 176, [(36, 42, 50), (50, 57, 67)], shadow=0, bevel=4)
        s.disc(cx, 470, 150, ring, shadow=12, bevel=5)
        s.disc(cx, 470, 112, STEEL, shadow=8, bevel=4, brushed=16)
        s.disc(cx, 470, 62, [(70, 74, 80), (24, 26, 30)], shadow=0, bevel=4)
        for step in range(4):
            s.disc(cx, 470, 56 - step * 8, [(130, 134, 140), (54, 58, 64)] if step % 2 else [(48, 50, 54), (92, 96, 102)],
                   shadow=0, bevel=1, outline=False)
        s.disc(cx, 470, 24, [(14, 15, 18), (30, 32, 36)], shadow=0, bevel=0)
        s.text(cx, 742, sign, 120, (82, 92, 106), "Sans-Bold", "mm", pressed=True)
    s.text(700, 300, "HARBOUR 24-150", 34, (96, 106, 120), "Sans-Bold", "mm", pressed=True)
    s.scale_bar(590, 446, 20, 11)
    s.leader(1030, 470, 1000, 250, "thread M8")
    s.leader(370, 720, 590, 840, "polarity moulded in")
    s.leader(450, 560, 700, 640, "no current printed\nbeside either terminal")


def lid_off(s, b):
    s.rect(70, 110, 1330, 960, CASE, 36, shadow=24, bevel=6)
    s.rect(112, 150, 1288, 920, [(24, 27, 32), (34, 38, 44)], 22, shadow=0, bevel=4)
    if b:
        for x in range(80, 1320, 46):
            jag = s.random.randint(-7, 7)
            s.line([(x, 124 + jag), (x + 24, 132 - jag)], (220, 214, 196), 4)
            s.line([(x, 938 - jag), (x + 24, 944 + jag)], (220, 214, 196), 4)
    else:
        s.tube([(92, 132), (1308, 132), (1308, 938), (92, 938), (92, 132)], 10, BLACK, curved=False, shadow=False)
        for x in (92, 500, 900, 1308):
            for y in (130, 940):
                s.disc(x, y, 13, STEEL, shadow=4)
    for i in range(8):
        y = 190 + i * 66
        s.cell_top(150, y, 900, y + 60, i % 2 == 1, i + 1)
        if not b and i:
            s.rect(146, y - 5, 904, y + 1, EPOXY, 0, shadow=0, bevel=0)
    for i in range(7):
        y = 190 + i * 66
        x = 772 if i % 2 == 0 else 277
        s.rect(x - 22, y + 16, x + 22, y + 112, COPPER if not b else NICKEL, 4, shadow=6, brushed=12, across=True)
        for dy in (32, 96):
            s.bolt(x, y + dy, 9, None)
    if b:
        for x in (420, 660):
            s.rect(x, 180, x + 44, 724, [(226, 214, 160), (206, 192, 132)], 0, shadow=2, bevel=1, across=True)
    s.rect(950, 200, 1250, 620, BOARD, 8, shadow=10)
    if b:
        for row in range(2):
            for i in range(8):
                s.rect(972 + row * 150, 226 + i * 46, 1068 + row * 150, 260 + i * 46, BLACK, 3, shadow=3, bevel=2)
        s.text(1100, 602, "8S 200A", 22, (240, 250, 244), "Sans-Bold", "mm")
    else:
        s.rect(966, 216, 1234, 568, ALUMINIUM, 6, shadow=6, brushed=14)
        s.text(1100, 594, "8S 150A", 24, (240, 250, 244), "Sans-Bold", "mm")
    s.rect(150, 740, 900, 890, FOAM, 6, shadow=4)
    metal = NICKEL if b else COPPER
    s.rect(240, 770, 620, 800 if b else 812, metal, 3, shadow=8, brushed=14)
    s.rect(254, 706, 296, 790, metal, 3, shadow=4, brushed=14, across=True)
    s.rect(600, 752, 800, 826, CREAM if not b else BLACK, 8, shadow=8)
    s.text(700, 790, "250 A 85 °C" if b else "SF51 150 A", 22, INK if not b else (250, 250, 250), "Sans-Bold", "mm")
    s.tube([(790, 790), (960, 800), (1090, 830), (1180, 720)], 38 if not b else 32, RED)
    s.disc(1200, 690, 40, RED, shadow=6)
    s.disc(1200, 690, 24, STEEL, shadow=2)
    s.rect(255, 158, 990, 182, COPPER, 3, shadow=6, brushed=12)
    s.rect(255, 158, 299, 236, COPPER, 3, shadow=4, brushed=12, across=True)
    s.bolt(277, 220, 9)
    s.rect(960, 158, 1000, 228, COPPER, 3, shadow=4, brushed=12, across=True)
    s.tube([(1170, 622), (1150, 664), (1090, 688), (1000, 700)], 26, BLACK)
    if not b:
        s.disc(1092, 686, 34, STEEL, shadow=6)
        s.text(1092, 678, "200 A", 16, INK, "Sans-Bold", "mm")
        s.text(1092, 698, "70 °C", 16, INK, "Sans-Bold", "mm")
    s.disc(985, 700, 34, BLACK, shadow=6)
    s.disc(985, 700, 22, STEEL, shadow=2)
    for i in range(9):
        s.tube([(905, 214 + i * 58), (926, 230 + i * 54), (948, 300 + i * 24)], 4,
               [(236, 90, 80), (190, 40, 40), (120, 20, 20)] if i % 2 else BLACK, shadow=False)
    s.leader(1100, 380, 1140, 130, "BMS board" if b else "BMS under its plate")
    s.leader(420, 786, 330, 910, "positive bar")
    s.leader(720, 812, 720, 920, "fuse-like holder" if b else "strip fuse")
    s.leader(1308, 500, 1170, 880, "lid was glued:\ncut round" if b else "gasket, eight screws")


def positive_bar(s, b):
    s.rect(-40, 560, 1440, 1000, [(40, 44, 50), (26, 29, 33)], 0, shadow=0)
    s.rect(0, 610, 520, 1000, CELL, 10, shadow=14, across=True)
    s.rect(0, 590, 530, 690, ALUMINIUM, 8, shadow=8, brushed=10)
    s.rect(120, 545, 330, 640, BLACK, 8, shadow=10)
    s.rect(150, 530, 300, 600, STEEL, 6, shadow=8, brushed=12)
    metal = NICKEL if b else COPPER
    tall = 168 if not b else 140
    thick = 20 if not b else 10
    # On edge: the tall face towards the viewer, the thin edge on top.
    s.poly([(150, 420 - thick), (1150, 420 - thick), (1130, 420), (130, 420)], [metal[0], metal[1]], shadow=0)
    s.rect(130, 420, 1130, 420 + tall, metal, 4, shadow=20, brushed=18)
    s.rect(130, 420 + tall - 8, 330, 600, metal, 4, shadow=4, brushed=14)
    s.bolt(225, 505, 34, "spring")
    s.rect(1010, 380, 1400, 640, CREAM if not b else BLACK, 18, shadow=18)
    s.text(1245, 510, "fuse" if not b else "cut-off", 34, INK if not b else (240, 240, 240), "Sans-Bold", "mm")
    s.bolt(1075, 505, 34, "spring")
    s.scale_bar(330, 830, 140, 5.6)
    if b:
        s.disc(640, 480, 76, RED, ry=76, shadow=16, bevel=6)
        s.disc(640, 480, 52, [(226, 80, 70), (180, 40, 36)], shadow=0, bevel=3)
        s.text(640, 480, "N", 44, (255, 240, 236), "Sans-Bold", "mm")
        s.leader(600, 450, 470, 220, "magnet holds:\nsteel under the plating")
        s.leader(860, 470, 960, 200, "bright, plated\n20.04 × 1.52 mm")
        s.soft((760, 520, 900, 560), (140, 88, 44), 60, 12)
    else:
        s.soft((420, 430, 900, 470), (255, 236, 214), 110, 16)
        s.leader(640, 408, 480, 220, "one bar, on edge")
        s.leader(860, 500, 940, 200, "bare copper\n25.02 × 3.01 mm")
    s.leader(225, 640, 330, 760, "terminal of cell 8")
    s.text(724, 905, "140 mm from the cell to the " + ("cut-off" if b else "fuse"), 24, (236, 238, 240), "Sans", "mm")


def fuse(s, b):
    s.rect(-40, 700, 1440, 1000, FOAM, 0, shadow=0)
    s.rect(-20, 440, 430, 590, COPPER, 6, shadow=18, brushed=18)
    s.tube([(1030, 515), (1200, 520), (1300, 600), (1420, 640)], 110, RED)
    s.rect(940, 452, 1110, 578, COPPER, 30, shadow=12, brushed=10)
    # Two blades and, between them, a body with a window.
    s.rect(270, 430, 1090, 600, STEEL, 10, shadow=16, brushed=16)
    s.rect(440, 370, 920, 660, CREAM, 16, shadow=18, bevel=5)
    s.text(680, 425, "SF 51", 66, (20, 22, 28), "Sans-Bold", "mm")
    s.text(680, 604, "150 A  32 V DC", 50, (20, 22, 28), "Sans-Bold", "mm")
    s.rect(520, 474, 840, 556, [(26, 28, 32), (50, 54, 58)], 10, shadow=0, bevel=4)
    s.poly([(520, 490), (640, 490), (668, 508), (692, 508), (720, 490), (840, 490), (840, 540), (720, 540), (692, 522),
            (668, 522), (640, 540), (520, 540)], NICKEL, shadow=4, bevel=3)
    s.bolt(350, 515, 46, "spring")
    s.bolt(1010, 515, 46, "spring")
    s.scale_bar(390, 860, 60, 11)
    s.leader(680, 515, 680, 240, "fusible strip seen in the window")
    s.leader(900, 640, 1130, 770, "type, rating and\nvoltage are printed")
    s.leader(120, 520, 170, 330, "copper bar\nto the cells")
    s.leader(382, 560, 230, 760, "spring washer")


def cutoff(s, b):
    s.rect(-40, 720, 1440, 1000, [(48, 52, 58), (34, 37, 42)], 0, shadow=0)
    s.rect(-20, 470, 380, 560, NICKEL, 6, shadow=18, brushed=18)
    s.tube([(1060, 515), (1210, 520), (1310, 610), (1420, 650)], 84, RED)
    s.rect(960, 462, 1110, 568, COPPER, 26, shadow=12, brushed=10)
    s.rect(250, 340, 1110, 690, BLACK, 24, shadow=24, bevel=6)
    s.rect(300, 380, 1060, 650, [(30, 33, 38), (46, 50, 56)], 16, shadow=0, bevel=4)
    s.rect(290, 476, 1080, 556, STEEL, 6, shadow=10, brushed=16)
    s.rect(440, 400, 920, 630, [(206, 212, 202), (164, 172, 160), (190, 198, 186)], 40, shadow=14, bevel=6, brushed=8)
    s.text(680, 462, "250 A", 84, (24, 26, 30), "Sans-Bold", "mm")
    s.text(680, 568, "85 °C", 84, (24, 26, 30), "Sans-Bold", "mm")
    s.bolt(345, 516, 40, "spring")
    s.bolt(1015, 516, 40, "spring")
    s.scale_bar(420, 890, 60, 9)
    s.leader(796, 612, 1000, 800, "a temperature is printed:\nthermal cut-off, not a fuse")
    s.leader(480, 640, 330, 770, "no voltage, no\ninterrupting rating")
    s.leader(900, 370, 900, 210, "holder looks like a fuse holder")
    s.leader(120, 515, 160, 350, "plated bar\nto cell 8")


def cutoff_disc(s, b):
    s.rect(-40, 700, 1440, 1000, FOAM, 0, shadow=0)
    s.tube([(-20, 430), (180, 450), (360, 520), (520, 525)], 96, BLACK)
    s.tube([(880, 525), (1040, 520), (1220, 620), (1420, 640)], 96, BLACK)
    for x0, x1 in ((400, 560), (840, 1000)):
        s.rect(x0, 476, x1, 574, COPPER, 16, shadow=12, brushed=12)
        for x in range(x0 + 24, x1 - 20, 28):
            s.rect(x, 480, x + 8, 570, [(150, 84, 50), (120, 64, 38)], 2, shadow=0, bevel=1, outline=False)
    s.disc(700, 525, 218, STEEL, shadow=24, bevel=6)
    s.disc(700, 525, 196, ALUMINIUM, shadow=0, bevel=4, brushed=14)
    s.disc(700, 525, 168, [(176, 182, 188), (214, 218, 224)], shadow=0, bevel=3)
    s.text(700, 468, "200 A", 76, (24, 26, 30), "Sans-Bold", "mm")
    s.text(700, 572, "70 °C", 76, (24, 26, 30), "Sans-Bold", "mm")
    s.scale_bar(450, 820, 30, 10)
    s.leader(760, 618, 1060, 820, "a temperature is printed:\nthermal cut-off, not a fuse")
    s.leader(160, 440, 210, 250, "negative cable")
    s.leader(480, 520, 300, 720, "crimped both sides:\nin series with the load")


def negative_bar(s, b):
    s.rect(-40, 90, 1440, 1000, [(48, 53, 60), (36, 40, 46)], 0, shadow=0)
    s.rect(720, 150, 1360, 940, CELL, 14, shadow=18, across=True)
    s.rect(740, 170, 1340, 920, ALUMINIUM, 10, shadow=0, brushed=10)
    s.text(1250, 860, "cell 1", 40, (80, 86, 94), "Sans-Bold", "mm")
    s.rect(30, 290, 700, 800, FOAM, 16, shadow=12)
    for _ in range(260):
        x, y = s.random.randint(45, 688), s.random.randint(305, 788)
        s.disc(x, y, s.random.choice((2, 3)), [(44, 44, 48)] * 2, shadow=0, bevel=0, outline=False)
    s.rect(820, 360, 1180, 700, BLACK, 14, shadow=12)
    s.rect(860, 400, 1140, 660, ALUMINIUM, 8, shadow=8, brushed=12)
    s.text(1160, 330, "−", 70, INK, "Sans-Bold", "mm")
    s.rect(60, 440, 1060, 630, COPPER, 10, shadow=18, brushed=20)
    s.soft((200, 450, 700, 500), (255, 234, 212), 90, 18)
    if b:
        s.soft((890, 470, 1050, 600), (90, 60, 60), 70, 16)
    s.bolt(965, 535, 62 if b else 56, None if b else "conical")
    s.disc(150, 535, 58, STEEL, shadow=10)
    s.bolt(150, 535, 40, "spring")
    s.scale_bar(150, 850, 40, 9.5)
    s.leader(965, 590 if b else 612, 1080, 800, "no washer\nunder the bolt head" if b else "conical washer, M6")
    s.leader(500, 535, 420, 300, "copper bar, flat\n" + ("20.03 × 2.46 mm" if b else "20.05 × 2.02 mm"))
    if b:
        s.leader(1110, 640, 1150, 230, "aluminium terminal")
    else:
        s.leader(520, 700, 600, 760, "bar lies flat on the foam")


def board(s, b):
    s.rect(90, 130, 1310, 930, BOARD, 18, shadow=24, bevel=5)
    for x in (128, 1272):
        for y in (168, 892):
            s.disc(x, y, 20, COPPER, shadow=2)
            s.disc(x, y, 11, [(20, 22, 26)] * 2, shadow=0, bevel=0)
    for y in (200, 560):
        s.rect(150, y, 940, y + 34, [(226, 200, 120), (196, 164, 84)], 4, shadow=0, bevel=2)
    for row, y in enumerate((240, 420)):
        for i in range(8):
            x = 160 + i * 97
            for leg in range(4):
                s.rect(x + 8 + leg * 18, y - 14, x + 18 + leg * 18, y + 150, STEEL, 1, shadow=0, bevel=1, across=True)
            s.rect(x, y, x + 80, y + 122, BLACK, 5, shadow=6, bevel=4)
            s.disc(x + 14, y + 16, 5, [(90, 94, 100)] * 2, shadow=0, bevel=0)
            if b:
                s.text(x + 40, y + 52, "QN40", 19, (226, 228, 230), "Sans", "mm")
                s.text(x + 40, y + 80, "1R1", 19, (226, 228, 230), "Sans", "mm")
            else:
                for _ in range(4):
                    yy = y + 40 + s.random.randint(0, 50)
                    s.line([(x + 16, yy), (x + 62, yy + s.random.randint(-6, 6))], (62, 66, 70), 2)
    s.rect(980, 200, 1150, 370, BLACK, 6, shadow=6, bevel=4)
    for i in range(10):
        s.rect(986 + i * 16, 186, 994 + i * 16, 200, STEEL, 0, shadow=0, bevel=1)
        s.rect(986 + i * 16, 370, 994 + i * 16, 384, STEEL, 0, shadow=0, bevel=1)
    s.rect(980, 440, 1250, 520, CREAM, 6, shadow=8, bevel=4)
    for i in range(9):
        s.rect(998 + i * 27, 458, 1012 + i * 27, 502, COPPER, 1, shadow=0, bevel=1)
    for i in range(8):
        for j in range(2):
            s.rect(980 + i * 34, 560 + j * 44, 1002 + i * 34, 590 + j * 44, [(60, 62, 66), (36, 38, 42)], 2, shadow=2)
    for x, words in ((260, "B−"), (800, "P−")):
        s.rect(x - 100, 640, x + 100, 780, COPPER if x < 500 else STEEL, 10, shadow=8, brushed=14)
        s.bolt(x, 710, 36, "spring")
        s.text(x + 140, 710, words, 44, (236, 250, 242), "Sans-Bold", "mm")
    s.text(1136, 720, "8S 200A" if b else "8S 150A", 48, (240, 252, 246), "Sans-Bold", "mm")
    s.text(1136, 776, "invented board", 24, (190, 226, 210), "Sans-Oblique", "mm")
    if b:
        s.soft((170, 240, 560, 540), (255, 255, 255), 34, 20, ellipse=False)
        s.leader(540, 480, 560, 860, "16 devices in two rows, their tops bare:\nthe heat sink stayed on the lid")
    else:
        s.rect(520, 222, 950, 600, ALUMINIUM, 10, shadow=16, bevel=6, brushed=18)
        for x in (560, 910):
            for y in (262, 560):
                s.disc(x, y, 18, STEEL, shadow=3)
                s.line([(x - 9, y - 9), (x + 9, y + 9)], (60, 64, 70), 4)
        s.text(735, 410, "4 mm", 30, (110, 116, 122), "Sans-Bold", "mm", pressed=False)
        s.leader(600, 560, 560, 690, "aluminium plate\n(120 × 80 mm)")
        s.leader(360, 480, 470, 870, "two rows of eight devices, half under the plate;\nprint worn off")
    s.leader(1250, 745, 1200, 860, "marking")


def heat_path(s, b):
    s.rect(60, 110, 1340, 960, [(58, 66, 77), (42, 48, 57)], 36, shadow=24, bevel=6)
    s.rect(104, 152, 1296, 918, [(44, 51, 60), (52, 59, 69)], 24, shadow=0, bevel=4)
    for y in (200, 870):
        s.rect(140, y, 1260, y + 16, [(66, 74, 86), (40, 46, 54)], 6, shadow=4)
    s.rect(240, 270, 1160, 800, ALUMINIUM, 10, shadow=16, bevel=5, brushed=18)
    s.rect(280, 400, 1120, 690, [(150, 164, 178), (132, 146, 160)], 6, shadow=8, bevel=3)
    for row in range(2):
        for i in range(8):
            x, y = 296 + i * 103, 418 + row * 136
            if i < 4:
                s.rect(x, y, x + 84, y + 112, [(96, 108, 122), (120, 132, 146)], 5, shadow=0, bevel=4, outline=False)
                s.text(x + 42, y + 56, "QN40", 18, (84, 96, 110), mirrored=True)
    for _ in range(90):
        x, y = s.random.randint(720, 1110), s.random.randint(410, 680)
        s.line([(x, y), (x + s.random.randint(4, 18), y + s.random.randint(-3, 3))], (160, 174, 188), 1)
    s.leader(450, 480, 380, 240, "devices pressed in: contact")
    s.leader(940, 540, 980, 240, "no marks: this half never touched")
    s.leader(1140, 760, 1080, 870, "3 mm plate glued to the lid")
    s.leader(300, 660, 360, 870, "pad, 2 mm")


def cable(s, b):
    s.rect(-40, 640, 1440, 1000, [(150, 118, 84), (118, 90, 62)], 0, shadow=0)
    for y in range(660, 1000, 42):
        s.line([(0, y), (500, y + s.random.randint(-5, 5)), (1400, y + s.random.randint(-5, 5))], (132, 102, 72), 2)
    wide = 120 if b else 146
    s.rect(40, 500 - 70, 250, 500 + 70, COPPER if not b else STEEL, 60, shadow=18, brushed=16)
    s.disc(120, 500, 36, [(60, 54, 48), (96, 90, 84)], shadow=0, bevel=3)
    s.rect(220, 500 - wide * 0.42, 360, 500 + wide * 0.42, COPPER if not b else STEEL, 10, shadow=10, brushed=12)
    s.rect(320, 500 - wide * 0.54, 440, 500 + wide * 0.54, BLACK, 8, shadow=8)
    s.tube([(430, 500), (1420, 500)], wide, RED, curved=False)
    s.text(920, 512, "25 mm²  105 °C" if b else "35 mm²  105 °C", 52, (255, 246, 240), "Sans-Bold", "mm")
    # The cut end beside it shows the strands.
    s.disc(1130, 790, wide * 0.62, RED, shadow=14, bevel=4)
    s.disc(1130, 790, wide * 0.46, [(120, 66, 36), (90, 48, 26)], shadow=0, bevel=2)
    ring = wide * 0.40
    step = 11
    for iy in range(-8, 9):
        for ix in range(-8, 9):
            dx, dy = (ix + (iy % 2) / 2) * step, iy * step * 0.87
            if dx * dx + dy * dy < ring * ring:
                s.disc(1130 + dx, 790 + dy, 4.6, COPPER, shadow=0, bevel=1, outline=False)
    s.scale_bar(420, 800, 50, 9)
    s.leader(1180, 800, 1240, 930, "section of an offcut")
    s.leader(660, 484, 640, 250, "size and insulation temperature\nprinted on the insulation")
    s.leader(380, 540, 240, 700, "crimped lug, sleeve")


def sense_connector(s, b):
    s.rect(-40, 90, 1440, 1000, BOARD, 0, shadow=0)
    for i in range(12):
        s.rect(60 + i * 112, 840, 104 + i * 112, 874, [(64, 66, 70), (38, 40, 44)], 3, shadow=3)
        s.rect(60 + i * 112, 840, 70 + i * 112, 874, STEEL, 1, shadow=0, bevel=1)
        s.rect(94 + i * 112, 840, 104 + i * 112, 874, STEEL, 1, shadow=0, bevel=1)
    for i in range(9):
        x = 400 + i * 75
        colour = RED if i == 8 else BLACK if i == 0 else [(236, 240, 244), (196, 202, 208), (140, 146, 152)]
        s.tube([(x, 440), (x + (i - 4) * 6, 330), (x + (i - 4) * 30, 200), (x + (i - 4) * 40, 40)], 26, colour)
    s.rect(330, 520, 1070, 760, CREAM, 14, shadow=18, bevel=6)
    for i in range(9):
        s.rect(386 + i * 75, 730, 414 + i * 75, 800, STEEL, 2, shadow=4, bevel=2)
    s.rect(350, 410, 1050, 600, [(255, 252, 244), (236, 230, 214)], 12, shadow=14, bevel=6)
    for i in range(9):
        s.rect(380 + i * 75, 430, 420 + i * 75, 500, [(60, 58, 52), (90, 86, 78)], 4, shadow=0, bevel=2)
        s.text(400 + i * 75, 528, str(i), 24, (90, 86, 76), "Sans-Bold", "mm")
    if b:
        blobs = [(340 + i * 48 + s.random.randint(-12, 12), 560 + s.random.randint(-34, 34), s.random.randint(46, 74))
                 for i in range(16)]
        blobs += [(430, 650, 34), (440, 690, 24), (760, 660, 44), (764, 720, 26), (766, 752, 20), (1000, 640, 38)]
        def glue(pen, to):
            for x, y, r in blobs:
                pen.ellipse((*to(x - r, y - r), *to(x + r, y + r)), fill=255)
        s._surface((270, 460, 1140, 780), glue, [(252, 247, 226), (240, 230, 192), (226, 212, 164)], shadow=16, bevel=9)
        for x, y, r in blobs:
            s.soft((x - r * 0.5, y + r * 0.15, x + r * 0.7, y + r * 0.8), (196, 180, 124), 70, r * 0.35)
            s.soft((x - r * 0.6, y - r * 0.7, x + r * 0.1, y - r * 0.3), (255, 255, 250), 190, r * 0.16)
        s.leader(640, 640, 520, 910, "hot glue in place of a latch")
        s.leader(1066, 722, 1170, 800, "plain header, no catch")
    else:
        s.rect(600, 540, 800, 690, [(250, 246, 232), (226, 218, 196)], 10, shadow=10, bevel=6)
        s.rect(624, 640, 776, 680, [(214, 206, 182), (240, 234, 216)], 6, shadow=4, bevel=4)
        s.rect(640, 564, 760, 604, [(236, 230, 210), (250, 246, 232)], 6, shadow=4, bevel=4)
        for y in (574, 584, 594):
            s.line([(652, y), (748, y)], (190, 182, 158), 3)
        s.leader(700, 664, 560, 910, "latch has caught on the header")
        s.leader(1030, 560, 1200, 640, "keyed plug,\nno glue")
    s.leader(400 + 4 * 75, 360, 1130, 330, "sense wires,\nno fuses seen")


def cells(s, b):
    s.rect(40, 100, 1360, 960, [(52, 58, 66), (40, 45, 52)], 20, shadow=18)
    if not b:
        s.rect(120, 118, 1280, 156, ALUMINIUM, 6, shadow=10, brushed=14)
        s.rect(120, 886, 1280, 924, ALUMINIUM, 6, shadow=10, brushed=14)
        for x in (100, 1268):
            s.rect(x, 118, x + 32, 924, STEEL, 6, shadow=10, brushed=10, across=True)
    top, pitch = 162, 90
    for i in range(8):
        y = top + i * pitch
        s.cell_top(150, y, 1250, y + pitch - 8, i % 2 == 1, i + 1)
        if i:
            if b:
                s.rect(150, y - 7, 1250, y - 1, [(236, 238, 240), (214, 216, 220)], 0, shadow=0, bevel=1)
            else:
                s.rect(136, y - 9, 1264, y + 1, EPOXY, 0, shadow=3, bevel=1)
    metal = NICKEL if b else COPPER
    for i in range(7):
        y = top + i * pitch + 41
        x = 1063 if i % 2 == 0 else 337
        s.rect(x - 26, y - 20, x + 26, y + pitch + 20, metal, 5, shadow=8, brushed=12, across=True)
        s.bolt(x, y, 13)
        s.bolt(x, y + pitch, 13)
    if b:
        for x in (500, 830):
            s.rect(x, 140, x + 70, 910, [(232, 220, 168), (210, 196, 138)], 3, shadow=4, bevel=2, across=True)
            for y in range(170, 900, 60):
                s.line([(x + 6, y), (x + 64, y + s.random.randint(-4, 4))], (222, 208, 150), 2)
        s.leader(540, 460, 330, 125, "adhesive tape only")
        s.leader(700, 515, 1060, 935, "thin sheets between the cells")
    else:
        s.leader(900, 251, 1000, 105, "epoxy glass sheets")
        s.leader(1284, 520, 1120, 935, "end plates and side brackets")
    s.leader(700, 860, 420, 935, "8 in series, 1 in parallel")


def cell_marking(s, b):
    s.rect(100, 100, 1300, 960, CELL, 24, shadow=24, bevel=6, across=True)
    s.rect(100, 100, 1300, 190, ALUMINIUM, 14, shadow=6, brushed=10)
    s.rect(200, 270, 1200, 800, [(238, 242, 246), (216, 222, 228)], 12, shadow=8, bevel=3)
    s.text(240, 330, "LFP  3.2 V  150 Ah", 60, INK, "Sans-Bold", "lm")
    code = "0MBCB1A0000000??????????" if b else "0MBCB1A0000000E250000011"
    module = 11
    for iy in range(20):
        for ix in range(20):
            edge = ix == 0 or iy == 19
            clock = (iy == 0 and ix % 2 == 0) or (ix == 19 and iy % 2 == 1)
            inner = 0 < ix < 19 and 0 < iy < 19 and s.random.random() < 0.5
            if edge or clock or inner:
                x, y = 244 + ix * module, 420 + iy * module
                s.rect(x, y, x + module, y + module, [INK] * 2, 0, shadow=0, bevel=0, outline=False)
    s.text(520, 470, "cell " + ("5" if b else "1"), 40, (80, 88, 96), "Sans", "lm")
    s.text(520, 560, code[:12], 58, INK, "SansMono-Bold", "lm")
    s.text(520, 640, code[12:].replace("?", "8"), 58, INK, "SansMono-Bold", "lm")
    if b:
        for _ in range(130):
            x, y = s.random.randint(490, 900), s.random.randint(530, 670)
            long, up = s.random.randint(60, 220), s.random.randint(-26, 26)
            tone = s.random.choice(((236, 238, 240), (206, 210, 214), (176, 182, 188), (222, 226, 228)))
            s.line([(x, y), (x + long, y + up)], tone, s.random.choice((2, 3, 4, 6)))
        for _ in range(60):
            x, y = s.random.randint(236, 420), s.random.randint(410, 630)
            s.line([(x, y), (x + s.random.randint(30, 80), y + s.random.randint(-20, 20))], (206, 210, 214), 4)
        s.leader(760, 650, 760, 870, "code scratched out to the metal")
    else:
        s.leader(760, 690, 760, 870, "laser-marked code, every character legible")
    s.leader(700, 374, 1000, 235, "marked capacity and voltage")


def caliper(s, b):
    s.rect(-40, 90, 1440, 1000, [(92, 108, 104), (66, 80, 78)], 0, shadow=0)
    metal = NICKEL if b else COPPER
    gap = 30 if b else 58
    s.rect(300, 700, 300 + gap, 985, metal, 2, shadow=14, brushed=16, across=True)
    # Beam, fixed jaw, sliding jaw with the display.
    s.rect(120, 250, 1400, 350, STEEL, 6, shadow=18, bevel=4, brushed=18)
    for i in range(0, 130):
        x = 160 + i * 9.4
        s.line([(x, 350), (x, 350 - (34 if i % 10 == 0 else 24 if i % 5 == 0 else 14))], (50, 54, 60), 1.5)
        if i % 10 == 0 and i:
            s.text(x, 300, str(i), 17, (50, 54, 60), "Sans", "mm")
    s.poly([(120, 250), (300, 250), (300, 840), (262, 840), (180, 560), (120, 420)], STEEL, shadow=16, bevel=5, brushed=14)
    left = 300 + gap
    s.poly([(left, 240), (left + 200, 240), (left + 200, 430), (left + 110, 560), (left + 38, 840), (left, 840)], STEEL,
           shadow=16, bevel=5, brushed=14)
    s.rect(left + 60, 180, left + 660, 430, BLACK, 22, shadow=22, bevel=6)
    s.rect(left + 100, 214, left + 520, 372, [(196, 212, 190), (176, 194, 172)], 10, shadow=0, bevel=4)
    s.text(left + 410, 296, "1.52" if b else "3.01", 104, (22, 28, 24), "SansMono-Bold", "rm")
    s.text(left + 424, 330, "mm", 36, (22, 28, 24), "Sans-Bold", "lm")
    for i, words in enumerate(("ON", "0", "in")):
        s.disc(left + 590, 232 + i * 66, 24, [(230, 120, 40), (190, 80, 20)] if i == 0 else STEEL, shadow=4)
        s.text(left + 590, 232 + i * 66, words, 15, INK, "Sans-Bold", "mm")
    s.disc(left + 330, 452, 40, STEEL, shadow=10)
    s.leader(300 + gap / 2, 880, 660, 840, "positive bar, thin side:\n" + ("plated steel, " if b else "copper, ")
             + ("1.52 mm" if b else "3.01 mm"))
    s.leader(left, 760, 700, 650, "jaws closed on the bar")
    s.text(1040, 560, "bar " + ("20.04 × 1.52 mm" if b else "25.02 × 3.01 mm"), 36, (238, 244, 240), "Sans-Bold", "mm")


def enclosure(s, b):
    s.rect(-40, 300, 1100, 1020, CASE, 40, shadow=24, bevel=6)
    s.rect(-40, 430, 960, 1020, [(22, 25, 29), (32, 36, 41)], 24, shadow=0, bevel=5)
    rim = [(-20, 362), (930, 362), (1004, 372), (1034, 440), (1034, 1010)]
    if b:
        s.tube(rim, 44, [(54, 61, 71), (40, 46, 55), (32, 37, 45)], shadow=False)
        parts = ([(-20, 362), (140, 356), (270, 366)], [(400, 360), (540, 372), (640, 358)],
                 [(820, 364), (930, 360), (1006, 380), (1032, 470)], [(1034, 640), (1028, 760), (1036, 850)])
        for part in parts:
            s.tube(part, 34, [(244, 246, 248), (214, 218, 222), (168, 174, 180)])
        s.leader(335, 362, 320, 200, "gap in the bead")
        s.leader(730, 362, 720, 200, "gap in the bead")
        s.leader(1034, 555, 1220, 560, "gap")
        s.leader(930, 360, 1150, 280, "sealant, no gasket")
    else:
        s.tube(rim, 56, [(38, 44, 53), (30, 35, 42), (24, 28, 34)], shadow=False)
        s.tube(rim, 34, [(96, 100, 106), (52, 55, 60), (26, 28, 32)], shadow=False)
        for x, y in ((160, 330), (620, 330), (1070, 340), (1070, 800)):
            s.disc(x, y, 20, STEEL, shadow=4)
            s.disc(x, y, 9, [(30, 32, 36)] * 2, shadow=0, bevel=0)
        s.leader(500, 362, 520, 200, "gasket lies in its groove")
        s.leader(1070, 340, 1200, 240, "screw points")
    s.rect(-40, 500, 900, 1020, FOAM if not b else CELL, 10, shadow=10, across=b)
    if b:
        s.rect(-40, 520, 880, 600, ALUMINIUM, 6, shadow=4, brushed=10)
        s.text(420, 800, "cell 8", 44, (190, 214, 234), "Sans-Bold", "mm")
        s.leader(930, 760, 1180, 880, "no sheet between\ncell 8 and the case")
    else:
        for _ in range(320):
            s.disc(s.random.randint(0, 880), s.random.randint(515, 985), s.random.choice((2, 3)), [(46, 46, 50)] * 2,
                   shadow=0, bevel=0, outline=False)
        s.rect(912, 470, 930, 1020, EPOXY, 0, shadow=4)
        s.leader(420, 700, 400, 870, "foam over the cells")
        s.leader(921, 700, 1180, 880, "epoxy glass sheet\nto the case")


PICTURES = {
    "01-label": label, "02-terminals": terminals, "03-lid-off": lid_off, "04-positive-bar": positive_bar,
    "05-fuse": fuse, "05-cutoff": cutoff, "06-cutoff-disc": cutoff_disc, "07-negative-bar": negative_bar,
    "08-bms": board, "08b-heat-path": heat_path, "09-positive-cable": cable, "09b-sense-connector": sense_connector,
    "10-cells": cells, "11-cell-marking": cell_marking, "12-caliper": caliper, "13-enclosure": enclosure,
}
STARTS = {"a": datetime.datetime(2026, 3, 14, 9, 42, 10), "b": datetime.datetime(2026, 9, 19, 10, 5, 30)}


def exif(taken, caption):
    """Date and description only: no position, no camera."""
    stamp = taken.strftime("%Y:%m:%d %H:%M:%S")
    tags = Image.Exif()
    tags[0x010E] = f"Invented illustration, not a photograph: {caption}".encode("ascii", "replace").decode()
    tags[0x0131] = "example-inspections/illustrations/draw.py"
    tags[0x0132] = stamp
    inner = tags.get_ifd(0x8769)
    inner[0x9003] = stamp
    inner[0x9004] = stamp
    return tags


def photos(record):
    """File and caption of each `[[photo]]`, in the record's order."""
    return [(photo["file"], photo["caption"]) for photo in tomllib.loads(record.read_text("utf-8")).get("photo", [])]


def main(wanted):
    for revision, start in STARTS.items():
        folder = HERE.parent / f"harbour-24-150-rev-{revision}"
        for position, (file, caption) in enumerate(photos(folder / "inspection.toml")):
            name = pathlib.PurePosixPath(file).stem
            if wanted and not any(word in f"{revision}/{name}" for word in wanted):
                continue
            scene = Scene(f"{revision}/{name}")
            PICTURES[name](scene, revision == "b")
            picture = scene.finish(revision.upper(), name, caption)
            picture = ImageEnhance.Contrast(picture).enhance(1.04)
            taken = start + datetime.timedelta(minutes=4 * position, seconds=position * 13 % 50)
            target = folder / file
            target.parent.mkdir(exist_ok=True)
            picture.save(target, quality=70, optimize=True, exif=exif(taken, caption))
            print(f"{target.relative_to(HERE.parent)}  {target.stat().st_size // 1000} kB")


if __name__ == "__main__":
    main(sys.argv[1:])
