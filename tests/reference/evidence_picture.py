"""Photos written and read by the Pillow library.

evidence_picture.py make FILE    a 64 x 32 JPEG, red left and blue right, stored turned (orientation
                                 6), with position, serial number, owner, XMP, comment and profile
evidence_picture.py inspect FILE prints size, colours left and right, and every kind of metadata found
"""

import json
import sys

from PIL import Image, ImageCms

what, path = sys.argv[1:]
if what == "make":
    upright = Image.new("RGB", (64, 32), (200, 0, 0))
    upright.paste((0, 0, 200), (32, 0, 64, 32))
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "MAKE-SECRET"
    exif.get_ifd(0x8769)[0xA431] = "SERIAL-SECRET"
    exif.get_ifd(0x8769)[0x9003] = "2031:05:04 10:22:05"
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2], gps[3], gps[4] = "N", (51.0, 28.0, 40.0), "W", (0.0, 5.0, 6.0)
    upright.transpose(Image.Transpose.ROTATE_90).save(
        path,
        quality=95,
        exif=exif,
        xmp=b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>XMP-SECRET</x:xmpmeta>",
        comment=b"COMMENT-SECRET",
        icc_profile=ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
    )
elif what == "inspect":
    image = Image.open(path)
    image.load()
    exif = image.getexif()
    jfif = {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi"}
    print(
        json.dumps(
            {
                "size": image.size,
                "left": image.getpixel((8, 16)),
                "right": image.getpixel((image.width - 8, 16)),
                "exif": {str(k): str(v) for k, v in exif.items()},
                "gps": len(exif.get_ifd(0x8825)),
                "other": sorted(set(image.info) - jfif),
                "segments": [name for name, _ in getattr(image, "applist", [])],
            }
        )
    )
else:
    sys.exit(f"unknown: {what}")
