"""QR codes: a text in, an SVG out; and the geo: URI that a phone opens in its own map. The one room of segno."""

import io
import math

GEO_DECIMALS = 6
"""Decimals of a degree in a geo: URI: a tenth of a metre, less than any fix."""

LONG_TEXT = 120
"""Letters from which a code is drawn with the least redundancy, so that its squares stay large (our own)."""


def geo_uri(latitude: float, longitude: float, uncertainty_m: float) -> str:
    """Write a place on the earth as a geo: URI.

    Parameters
    ----------
    latitude, longitude
        Degrees, WGS 84.
    uncertainty_m
        Metres; written rounded up to whole ones.

    Raises
    ------
    ValueError
        If it is no place, or the uncertainty is no number above zero.

    Notes
    -----
    RFC 5870: latitude first; the parameter `u` is the uncertainty in metres; at the poles the longitude is 0.

    Examples
    --------
    >>> geo_uri(42.5282927, -118.4551996, 4.1)
    'geo:42.528293,-118.4552;u=5'
    """
    if not (math.isfinite(uncertainty_m) and uncertainty_m > 0):
        raise ValueError(f"an uncertainty of {uncertainty_m} m says nothing")
    if not (-90 <= latitude <= 90 and math.isfinite(longitude)):
        raise ValueError(f"latitude {latitude}, longitude {longitude} is no place")
    turned = 0.0 if abs(latitude) == 90 else (longitude + 180) % 360 - 180
    numbers = (f"{value:.{GEO_DECIMALS}f}".rstrip("0").rstrip(".") for value in (latitude + 0.0, turned))
    north, east = ("0" if number == "-0" else number for number in numbers)
    return f"geo:{north},{east};u={math.ceil(uncertainty_m)}"


def qr_svg(text: str) -> str:
    """Draw a QR code with its quiet zone, black on white, as SVG without a size of its own.

    Raises
    ------
    ValueError
        If the text does not fit a QR code.
    """
    import segno

    code = segno.make_qr(text, error="l" if len(text) > LONG_TEXT else "m", boost_error=False)
    out = io.BytesIO()
    code.save(out, kind="svg", border=4, light="white", xmldecl=False, omitsize=True, nl=False)
    return out.getvalue().decode("utf-8")
