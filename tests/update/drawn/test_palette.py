import numpy as np
import pytest

from underlid.update.drawn import palette
from underlid.update.own import contrast

# Protanopia, deuteranopia and tritanopia on linear RGB (Vienot, Brettel and Mollon 1999 for the first two, recalled).
DICHROMATS = {
    "protan": [[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]],
    "deutan": [[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]],
}


def linear(colour):
    share = np.array([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    """CIELAB under D65 (CIE 1976)."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ rgb
    x, y, z = np.cbrt(xyz / np.array([0.9505, 1.0, 1.089]))
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_a_shade_gives_way_at_its_edge():
    for low, high in zip(palette.EDGES_C, palette.EDGES_C[1:], strict=False):
        assert palette.shade(low) == palette.shade(high - 0.01) == palette.shade(high) - 1
    assert palette.shade(-99) == 0
    assert palette.shade(99) == len(palette.EDGES_C)
    assert len(set(palette.SHADES)) == len(palette.EDGES_C) + 1
    values = np.array([[-99.0, -0.01], [0.0, 99.0]])
    assert palette.shades(values).tolist() == [[palette.shade(value) for value in row] for row in values]


def test_what_is_below_freezing_is_dark():
    assert palette.shade(-0.001) == palette.DARK - 1 < palette.shade(0.0)
    assert palette.ink_on(palette.DARK - 1) == palette.WHITE != palette.ink_on(palette.DARK)


def test_words_can_be_read_on_every_shade():
    for number, colour in enumerate(palette.SHADES):
        assert contrast(colour, palette.ink_on(number)) >= 4.5


def test_every_shade_says_what_it_stands_for_in_both_units():
    assert palette.means(0) == "below −5\u00a0°C (23\u00a0°F)"
    assert palette.means(palette.DARK) == "0\u00a0to\u00a01\u00a0°C (32\u00a0to\u00a034\u00a0°F)"
    assert palette.means(len(palette.EDGES_C)).startswith("from 25\u00a0°C")


def test_lightness_rises_in_even_steps_and_leaps_at_freezing():
    found = np.array([lab(linear(colour)) for colour in palette.SHADES])
    steps = np.linalg.norm(np.diff(found, axis=0), axis=1)
    assert (np.diff(found[:, 0]) > 0).all()
    assert steps.argmax() == palette.DARK - 1
    apart = np.delete(steps, palette.DARK - 1)
    assert apart.max() / apart.min() < 2 < steps.max() / apart.max()


@pytest.mark.parametrize("kind", DICHROMATS)
def test_shades_stay_apart_for_the_colour_blind(kind):
    seen = np.array([lab(np.clip(np.array(DICHROMATS[kind]) @ linear(colour), 0, 1)) for colour in palette.SHADES])
    assert np.linalg.norm(np.diff(seen, axis=0), axis=1).min() > 5
    assert (np.diff(seen[:, 0]) > 0).all()
