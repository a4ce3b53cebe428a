"""Objects that SEP finds at 3 sigma, five pixels and more, in FITS images: one JSON list of [x, y, flux] an image and line."""
import json
import sys

import numpy as np
import sep
from astropy.io import fits

for path in sys.argv[1:]:
    with fits.open(path) as hdus:
        image = next(hdu for hdu in hdus if hdu.data is not None and hdu.data.ndim == 2)
        pixels = np.ascontiguousarray(image.data.astype(np.float32))
    sky = sep.Background(pixels)
    found = sep.extract(pixels - sky.back(), 3, err=sky.globalrms, minarea=5)
    found = found[found["tnpix"] >= 3]
    print(json.dumps([[float(o["x"]), float(o["y"]), float(o["flux"])] for o in found]))
