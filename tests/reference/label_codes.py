"""Photos of labels with Data Matrix (ISO/IEC 16022), Code 128 (ISO/IEC 15417) and Code 39 (ISO/IEC 16388) codes, drawn by pyStrich, through
a simulated camera: turned, tilted, blurred, noisy, JPEG.

Usage: label_codes.py OUT   writes OUT/label-N.jpg and OUT/labels.jsonl with what is printed on each. All texts are invented.
"""

import json
import sys
from pathlib import Path

import cv2
import numpy as np
from pystrich.code39 import Code39Encoder
from pystrich.code128 import Code128Encoder
from pystrich.datamatrix import DataMatrixEncoder

LABELS = [
    [("matrix", "0MBCB1A0000000F6B0000207")],
    [("128", "SN-2024-000123")],
    [("matrix", "0MBCB1A0000000F6B0000208"), ("128", "LOT 4711")],
    [("39", "CELL 105")],
    [("matrix", "LFP105-3.2V-0042"), ("matrix", "LFP105-3.2V-0043")],
]


def drawn(kind, text):
    encoder = {"matrix": DataMatrixEncoder, "128": Code128Encoder, "39": Code39Encoder}[kind](text)
    if kind == "matrix":
        code = np.array(encoder.get_pilimage(6).convert("L"))
    else:
        encoder.options = {"show_label": False} if encoder.options is None else {**encoder.options, "show_label": False}
        code = np.array(encoder.get_pilimage(3).convert("L"))
        code = code[: min(len(code), 110)]
    return np.where(cv2.copyMakeBorder(code, 30, 30, 30, 30, cv2.BORDER_CONSTANT, value=255) > 127, 215, 40).astype(np.uint8)


def photo(rng, codes):
    label = np.full((700, 1000), 215, np.uint8)
    top = 40
    for kind, text in codes:
        code = drawn(kind, text)
        label[top : top + code.shape[0], 60 : 60 + code.shape[1]] = code
        top += code.shape[0] + 30
    high, wide = label.shape
    # A linear code is read along lines that cross all of it.
    most = 25 if all(kind == "matrix" for kind, _ in codes) else 6
    turn, tilt = np.radians(rng.uniform(-most, most)), np.radians(rng.uniform(0, 25))
    c, s = np.cos(turn), np.sin(turn)
    corners = (np.array([[0, 0], [wide, 0], [wide, high], [0, high]], float) - [wide / 2, high / 2]) @ np.array([[c, s], [-s, c]])
    far = 1 + corners[:, 1] * np.sin(tilt) / 2000
    seen = corners * [1, np.cos(tilt)] / far[:, None] + [700, 560]
    way = cv2.getPerspectiveTransform(np.float32([[0, 0], [wide, 0], [wide, high], [0, high]]), np.float32(seen))
    picture = cv2.warpPerspective(label, way, (1400, 1120), borderValue=90).astype(float)
    picture *= np.linspace(0.8, 1.05, 1400)[None, :]
    picture = cv2.GaussianBlur(picture, (0, 0), rng.uniform(0.5, 1.1)) + rng.normal(0, 4, picture.shape)
    return np.clip(picture, 0, 255).astype(np.uint8)


def main(out):
    out = Path(out)
    with open(out / "labels.jsonl", "w") as file:
        for index, codes in enumerate(LABELS):
            name = f"label-{index}.jpg"
            cv2.imwrite(str(out / name), photo(np.random.default_rng(index), codes), [cv2.IMWRITE_JPEG_QUALITY, 85])
            file.write(json.dumps({"name": name, "texts": [text for _, text in codes]}) + "\n")


if __name__ == "__main__":
    main(sys.argv[1])
