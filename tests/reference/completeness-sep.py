"""What SEP finds in raw 16-bit frames, as ../shared/tools/sep_baseline.py calls it at 1.5 sigma.

usage: completeness-sep.py FRAME.json...   beside each lies FRAME.raw; prints one JSON list of [x, y, snr] a frame and line
"""
import json
import sys

import numpy as np
import sep

sep.set_extract_pixstack(2_000_000)
for path in sys.argv[1:]:
    with open(path, encoding="utf-8") as file:
        frame = json.load(file)
    pixels = np.fromfile(path[: -len("json")] + "raw", dtype="<u2")
    image = pixels.reshape(frame["height"], frame["width"]).astype(np.float32)
    if frame["mosaic"]:
        # SEP knows no mosaics: the skies of the channels are made equal for it, which is more than the baseline does.
        middle = float(np.median(image))
        for channel in range(4):
            part = image[channel >> 1 :: 2, channel & 1 :: 2]
            part += middle - float(np.median(part))
    sky = sep.Background(image, bw=64, bh=64, fw=3, fh=3)
    found = sep.extract(image - sky.back(), 1.5, err=sky.globalrms, minarea=5)
    # Hot pixels: fewer than three pixels above the threshold before the filter.
    found = found[found["tnpix"] >= 3]
    error = np.sqrt(found["npix"] * sky.globalrms**2 + np.maximum(found["flux"], 0) / frame["electronsPerAdu"])
    print(json.dumps([[float(x), float(y), float(s)] for x, y, s in zip(found["x"], found["y"], found["flux"] / error)]))
