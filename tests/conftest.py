"""Shared by all tests: the error budget, fixed seeds, the demo."""

import os

import pytest
from hypothesis import settings

# Chance that a sound program fails one test; a test with n comparisons divides it by n.
P_FAIL = 1e-4
# Random examples are the same in every run; the first compile of a kernel takes its time.
settings.register_profile("fixed", derandomize=True, deadline=None)
settings.load_profile("fixed")


def pytest_collection_modifyitems(items):
    """The book comes last: its cases find all kernels compiled, by one worker and not by each."""
    items.sort(key=lambda item: item.path.name == "test_book.py")


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
