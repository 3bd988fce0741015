import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from underlid.fit.sizes import Sizes
from underlid.update.drawn.charts import BLUE, VERMILION
from underlid.update.drawn.sizes import NoSuchPicture, draw, sizes_chart

COLDEST = {
    "middle": np.array([[-4.0, -1.5, -0.8], [-2.4, -1.4, -0.7], [-0.5, 0.5, 1.2]]),
    "edge": np.array([[-5.0, -2.1, -1.1], [-4.0, -1.8, -1.0], [-3.3, -1.6, -0.9]]),
}
OWN = {"middle": np.array([-2.2, -1.3, -0.6]), "edge": np.array([-3.9, -1.7, -0.95])}
FOUND = Sizes(
    "Porch <tote>", "America/Anchorage", np.array([10.0, 40.0, 160.0]), COLDEST, 67.0, OWN,
    1765126800, 1777618800, 0.0, (),
)  # fmt: skip


def layers(found, kind):
    spec = sizes_chart(found).to_dict()
    chosen = [layer for layer in spec["layer"] if layer["mark"]["type"] == kind]
    return [{**layer, "rows": spec["datasets"][layer["data"]["name"]]} for layer in chosen]


def test_every_range_is_drawn_the_fitted_bin_among_them():
    for layer, place in zip(layers(FOUND, "area"), ("edge", "middle"), strict=True):
        rows = layer["rows"]
        assert [row["litres"] for row in rows] == [10, 40, 67, 160]
        drawn = [[row["low"], row["middle"], row["high"]] for row in rows]
        assert drawn == [*COLDEST[place][:2].tolist(), OWN[place].tolist(), COLDEST[place][2].tolist()]


def test_places_differ_in_colour_shape_and_dash():
    marks = [layer["mark"] for layer in layers(FOUND, "point")]
    assert {(mark["color"], mark["shape"]) for mark in marks} == {(BLUE, "circle"), (VERMILION, "square")}
    dashes = [tuple(layer["mark"]["strokeDash"]) for layer in layers(FOUND, "line")]
    assert len(set(dashes)) == 2


def test_both_scales_show_the_same_temperatures():
    axes = [layer["encoding"]["y"].get("axis") for layer in sizes_chart(FOUND).to_dict()["layer"]]
    celsius, fahrenheit = (axis for axis in axes if axis)
    assert "°C" in celsius["labelExpr"]
    assert fahrenheit["orient"] == "right"
    assert [round(value * 1.8 + 32, 6) for value in fahrenheit["values"]] == [25, 30, 35]
    domains = {tuple(layer["encoding"]["y"]["scale"]["domain"]) for layer in sizes_chart(FOUND).to_dict()["layer"]}
    assert domains == {(-6, 2)}


def test_the_picture_says_what_was_fitted_and_what_is_predicted_in_the_bins_own_time():
    told = draw(FOUND, Path("sizes.svg")).decode()
    words = " ".join(re.findall(r">([^<>]+)</t(?:ext|span)>", told))
    for part in ("Predicted", "Porch &lt;tote&gt;", "67 litres", "this bin", "tolerated down to 0", "30 Apr 2026"):
        assert part in words
    assert "°F" in words


def test_the_ending_decides_what_is_drawn_and_the_bytes_are_the_same_again():
    assert draw(FOUND, Path("a.svg")).startswith(b"<svg")
    png = draw(FOUND, Path("a.PNG"))
    assert png.startswith(b"\x89PNG")
    assert draw(FOUND, Path("b.png")) == png
    for name in ("a.pdf", "a"):
        with pytest.raises(NoSuchPicture, match=r"\.svg or \.png"):
            draw(FOUND, Path(name))


def test_one_size_alone_can_be_drawn():
    alone = replace(
        FOUND, litres=np.array([20.0]), coldest_c={place: ranges[:1] for place, ranges in COLDEST.items()}
    )  # fmt: skip
    assert draw(alone, Path("a.svg")).startswith(b"<svg")
