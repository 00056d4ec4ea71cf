#!/usr/bin/env python3
"""Writes small valid image files of many kinds: what the fuzzing of image files begins with.

Usage: python3 -m pip install -r scripts/requirements.txt && python3 scripts/make_fuzz_images.py [FOLDER]

Writes to fixtures/fuzz/images unless another folder is named. The same versions of the packages write the same bytes.
"""
import sys
from pathlib import Path

import numpy as np
from PIL import Image, ImageCms, PngImagePlugin

WIDTH, HEIGHT = 16, 12
SEED = 5


def pictures():
    """Colour, colour with opacity, grey, 16 bits of grey, a palette and one bit."""
    random = np.random.default_rng(SEED)
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    rgb = np.stack([x * 15, y * 20, 128 + 0 * x], -1) + random.integers(-8, 8, (HEIGHT, WIDTH, 3))
    rgb = Image.fromarray(rgb.clip(0, 255).astype(np.uint8))
    rgba = rgb.copy()
    rgba.putalpha(Image.fromarray(((x > 4) * 255).astype(np.uint8)))
    deep = Image.fromarray((x * 4000 + y).astype(np.uint16))
    return rgb, rgba, rgb.convert("L"), deep, rgb.quantize(7), rgb.convert("1")


def main():
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent.parent / "fixtures/fuzz/images"
    folder.mkdir(parents=True, exist_ok=True)
    rgb, rgba, grey, deep, palette, bits = pictures()
    turned = Image.Exif()
    turned[0x0112] = 6
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    # The profile states the time at which it was made; bytes 24 to 35 of its header.
    icc = profile.tobytes()
    icc = icc[:24] + bytes(12) + icc[36:]
    text = PngImagePlugin.PngInfo()
    text.add_text("Comment", "a drawing by a script")

    def save(name, image, **options):
        image.save(folder / name, **options)

    save("colour.png", rgb, exif=turned, pnginfo=text)
    save("profile.png", rgb, icc_profile=icc)
    save("opacity.png", rgba)
    save("deep.png", deep)
    save("palette.png", palette, transparency=2)
    save("bits.png", bits)
    save("two.png", rgb, save_all=True, append_images=[rgb.transpose(Image.Transpose.ROTATE_180)], duration=40)
    save("colour.jpg", rgb, exif=turned, quality=80)
    save("progressive.jpg", rgb, progressive=True, subsampling=0, icc_profile=icc)
    save("grey.jpg", grey, restart_marker_blocks=1)
    save("inks.jpg", rgb.convert("CMYK"))
    save("lossy.webp", rgb, quality=60, exif=turned)
    save("exact.webp", rgba, lossless=True)
    save("two.webp", rgba, save_all=True, append_images=[rgb], duration=40)
    save("plain.tif", rgb)
    save("packed.tif", grey, compression="tiff_lzw", tiffinfo={274: 8})
    save("deflated.tif", rgba, compression="tiff_adobe_deflate")
    save("bits.tif", bits, compression="packbits")
    save("deep.tif", deep)
    save("colour.bmp", rgb)
    save("palette.bmp", palette)
    save("opacity.bmp", rgba)


if __name__ == "__main__":
    main()
