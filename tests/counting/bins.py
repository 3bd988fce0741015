"""Invented bins for the tests of counting: a known truth, and samples of it."""

import numpy as np

from underlid.counting.found import Sample, exactly
from underlid.counting.parts import Bedding
from underlid.quantity import parse_amount
from underlid.quantity.amount import VagueAmount
from underlid.records import STAGES

HALF_LITRE = VagueAmount(0.5, 0.5, "L", "exact", "0.5 L")
BEDDING = Bedding(VagueAmount(20, 30, "L", "between", "20 to 30 L"), {"middle": 0.5, "edge": 0.5})
SHARP = Bedding(VagueAmount(25, 25, "L", "exact", "25 L"), {"middle": 0.5, "edge": 0.5})


def sample(place="middle", volume="0.5 L", **counts):
    """A sample in a keeper's words: `sample("edge", adult="a couple", sub_adult=0)`."""
    said = {name.replace("_", "-"): parse_amount(str(words), expect="1") for name, words in counts.items()}
    by_stage = tuple((stage, said[stage]) for stage in STAGES if stage in said)
    assert len(by_stage) == len(said), f"{counts} has something that is no stage"
    return Sample(place, parse_amount(volume, expect="L"), by_stage)


FOUR = (
    sample("middle", adult=3, juvenile=8, cocoon=2),
    sample("middle", adult=5, juvenile="about a dozen", cocoon=0),
    sample("edge", adult=0, juvenile=2, cocoon=0),
    sample("edge", adult=1, juvenile=4, cocoon=1),
)


def juveniles(rng, chance, *, each=3, scoops=25):
    """A bin of `scoops` half litres in each of two parts, sampled `each` times in both: its truth and the samples.

    Densities, their difference between the parts and the clumping are drawn as bins may have them.
    """
    overall = np.log(10) + rng.standard_normal()
    apart = 0.6 * np.exp(0.7 * np.clip(rng.standard_normal(), -2, 2))
    clumping = 1.5 * np.exp(rng.standard_normal())
    truth, samples = 0, []
    for place in ("middle", "edge"):
        finds_per_litre = np.exp(overall + apart * rng.standard_normal())
        mean = 0.5 * finds_per_litre / chance
        animals = rng.poisson(mean * rng.gamma(clumping, size=scoops) / clumping)
        truth += int(animals.sum())
        found = rng.binomial(animals[:each], chance)
        samples += [Sample(place, HALF_LITRE, (("juvenile", exactly(int(n))),)) for n in found]
    return truth, samples
