"""Shared by all tests: the error budget, and a private cache so that tests never race a user's."""

import os

import pytest

# Chance that a sound program fails one test; a test with n comparisons divides it by n.
P_FAIL = 1e-4


@pytest.fixture(scope="session")
def p_fail() -> float:
    return P_FAIL


def pytest_report_header() -> str:
    return f"P_FAIL {P_FAIL}, {os.cpu_count()} cores"


@pytest.fixture(scope="session")
def scenes_folder():
    from pathlib import Path

    return Path(__file__).parent.parent / "scenes"


@pytest.fixture(scope="session")
def demo_data(scenes_folder):
    """The demo scene as nested dictionaries of text, to be changed by a test."""
    import yaml

    return yaml.load((scenes_folder / "pepper-tent.yaml").read_text("utf-8"), yaml.BaseLoader)


@pytest.fixture(scope="session")
def demo_world(scenes_folder):
    from canopysim.scene.load import load_scene
    from canopysim.world.compile import compile_world

    return compile_world(load_scene(scenes_folder / "pepper-tent.yaml"))
