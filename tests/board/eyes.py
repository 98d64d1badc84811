"""How colours look to different eyes, from the published formulae and apart from the board's own code.

Contrast: WCAG 2.1, relative luminance and contrast ratio. Eyes: Machado, Oliveira, Fernandes (2009). Difference: CIEDE2000.
"""

import math

Rgb = tuple[float, float, float]

# Machado, Oliveira, Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291-1298, severity 1.0; from memory, rows sum to 1
MACHADO: dict[str, tuple[Rgb, Rgb, Rgb]] = {
    "normal": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}


def linear(hex_: str) -> Rgb:
    """IEC 61966-2-1 (sRGB)."""
    channels = [int(hex_[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return red, green, blue


def simulated(hex_: str, by: str) -> Rgb:
    """Give the linear light that an eye makes of a colour."""
    r, g, b = linear(hex_)
    red, green, blue = (min(1.0, max(0.0, row[0] * r + row[1] * g + row[2] * b)) for row in MACHADO[by])
    return red, green, blue


def contrast(one: str, other: str, by: str = "normal") -> float:
    """WCAG 2.1, relative luminance and contrast ratio; of what an eye makes of two colours."""
    lights = sorted(0.2126 * r + 0.7152 * g + 0.0722 * b for r, g, b in (simulated(one, by), simulated(other, by)))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def lab(rgb: Rgb) -> Rgb:
    """CIE 1976 L*a*b*, D65."""
    r, g, b = (min(1.0, max(0.0, c)) for c in rgb)
    xyz = (
        (0.4124564 * r + 0.3575761 * g + 0.1804375 * b) / 0.95047,
        0.2126729 * r + 0.7151522 * g + 0.0721750 * b,
        (0.0193339 * r + 0.1191920 * g + 0.9503041 * b) / 1.08883,
    )
    x, y, z = (t ** (1 / 3) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29 for t in xyz)
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def ciede2000(one: Rgb, other: Rgb) -> float:
    """CIE 142-2001, as worked out by Sharma, Wu, Dalal, Color Res. Appl. 30 (2005) 21-30."""
    (l1, a1, b1), (l2, a2, b2) = one, other
    mean_c = (math.hypot(a1, b1) + math.hypot(a2, b2)) / 2
    g = 0.5 * (1 - math.sqrt(mean_c**7 / (mean_c**7 + 25.0**7)))
    a1, a2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h1, h2 = (math.degrees(math.atan2(b, a)) % 360 if (a, b) != (0, 0) else 0.0 for a, b in ((a1, b1), (a2, b2)))
    dh = 0.0 if c1 * c2 == 0 else (h2 - h1 + 180) % 360 - 180
    dl, dc = l2 - l1, c2 - c1
    big_dh = 2 * math.sqrt(c1 * c2) * math.sin(math.radians(dh / 2))
    ml, mc = (l1 + l2) / 2, (c1 + c2) / 2
    mh = h1 + h2
    if c1 * c2:
        mh = mh / 2 if abs(h1 - h2) <= 180 else (mh + 360) / 2 if mh < 360 else (mh - 360) / 2
    t = 1 - 0.17 * _cos(mh - 30) + 0.24 * _cos(2 * mh) + 0.32 * _cos(3 * mh + 6) - 0.20 * _cos(4 * mh - 63)
    sl = 1 + 0.015 * (ml - 50) ** 2 / math.sqrt(20 + (ml - 50) ** 2)
    sc, sh = 1 + 0.045 * mc, 1 + 0.015 * mc * t
    turn = 30 * math.exp(-(((mh - 275) / 25) ** 2))
    rt = -2 * math.sqrt(mc**7 / (mc**7 + 25.0**7)) * math.sin(math.radians(2 * turn))
    return math.sqrt((dl / sl) ** 2 + (dc / sc) ** 2 + (big_dh / sh) ** 2 + rt * (dc / sc) * (big_dh / sh))


def _cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))


def seen(hex_: str, by: str) -> Rgb:
    """Give what an eye makes of a colour, in CIE 1976 L*a*b*."""
    return lab(simulated(hex_, by))
