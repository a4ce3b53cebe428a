"""Places targets, Sun and Moon with astropy, for sky-astropy.test.ts.

Reads JSON from standard input: a list of {utc, latitudeDeg, longitudeDeg, heightM, raDeg, decDeg}. Writes JSON: for each
the same quantities twice, once with UT1 = UTC and once with the measured UT1 of the tables that astropy brings along.
No refraction, topocentric, built-in ephemeris, no network.
"""

import json
import sys
import warnings

warnings.simplefilter("ignore")

import astropy.units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_body
from astropy.time import Time
from astropy.utils import iers

iers.conf.auto_download = False


def place(case, measured_ut1):
    site = EarthLocation.from_geodetic(case["longitudeDeg"], case["latitudeDeg"], case["heightM"])
    time = Time(case["utc"], location=site)
    if not measured_ut1:
        time.delta_ut1_utc = 0.0
    horizon = AltAz(obstime=time, location=site)
    star = SkyCoord(case["raDeg"] * u.deg, case["decDeg"] * u.deg).transform_to(horizon)
    sun = get_body("sun", time, site).transform_to(horizon)
    moon = get_body("moon", time, site).transform_to(horizon)
    return {
        "altitudeDeg": star.alt.deg,
        "azimuthDeg": star.az.deg,
        "sunAltitudeDeg": sun.alt.deg,
        "sunAzimuthDeg": sun.az.deg,
        "moonAltitudeDeg": moon.alt.deg,
        "moonAzimuthDeg": moon.az.deg,
        "moonSeparationDeg": star.separation(moon).deg,
        "ut1MinusUtcS": float(time.delta_ut1_utc),
    }


cases = json.load(sys.stdin)
json.dump([{"sameUt1": place(case, False), "measuredUt1": place(case, True)} for case in cases], sys.stdout)
