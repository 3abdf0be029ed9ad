"""Contradictions between the entries of a scene, each with its place and its remedy."""

from collections.abc import Iterator

from canopysim.scene.check_light import check_lights
from canopysim.scene.check_matter import check_matter
from canopysim.scene.check_meter import check_meters
from canopysim.scene.check_power import check_electricity
from canopysim.scene.check_space import check_space
from canopysim.scene.draft import Draft, Problem


def find_contradictions(draft: Draft) -> Iterator[Problem]:
    """Check the sound entries of a scene against each other.

    Parameters
    ----------
    draft : Draft
        What is sound of the scene.

    Yields
    ------
    path : tuple of str and int
        The entry to mend.
    message : str
        What is wrong; what is allowed.
    """
    yield from check_space(draft)
    yield from check_matter(draft)
    yield from check_lights(draft)
    yield from check_meters(draft)
    yield from check_electricity(draft)
