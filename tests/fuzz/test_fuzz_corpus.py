"""Every input ever worth keeping is tried again, and a few of its neighbours with it."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from targets import CORPUS, TARGETS, corpus_of
from worker import mutated

FILES = [
    pytest.param(name, path, id=f"{name}-{path.name}")
    for name in TARGETS
    for path in corpus_of(name)
]
# Most of a config's time goes into reading YAML and its units.
NEIGHBOURS = {"config": 60, "record": 40, "control": 300, "weather": 150}


@pytest.mark.parametrize(("name", "path"), FILES)
def test_a_kept_input_does_no_harm(name: str, path: Path) -> None:
    TARGETS[name](path.read_bytes())


@pytest.mark.parametrize("name", TARGETS)
def test_neighbours_of_the_kept_inputs_do_no_harm(name: str) -> None:
    corpus = [path.read_bytes() for path in corpus_of(name)]
    dice = random.Random(7)
    for _ in range(NEIGHBOURS[name]):
        TARGETS[name](mutated(dice.choice(corpus), corpus, dice))


def test_every_target_has_a_corpus_small_enough_to_keep() -> None:
    for name in TARGETS:
        sizes = [path.stat().st_size for path in corpus_of(name)]
        assert sizes
        assert max(sizes) <= 8192
    assert sum(path.stat().st_size for path in CORPUS.rglob("*") if path.is_file()) < 500_000
