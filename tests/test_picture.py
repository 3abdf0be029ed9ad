"""Pictures: the rasteriser at known pixels, a probe that cannot crash us, two renderers alike."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from canopysim.errors import CanopysimError
from canopysim.matter.parts import Part
from canopysim.report import gl_probe, scene_picture
from canopysim.report.camera import box_corners, frame_box
from canopysim.report.raster import darken_hollows, draw_triangles
from canopysim.report.scene_picture import PYVISTA, RASTERISER, draw_scene, renderer_note
from canopysim.report.shading import grid_spacing_m, luminous_rectangles, paint

RED, BLUE = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)
SIZE = (1.2, 1.0, 2.0)


def flat(corners: list[tuple[float, float, float]], colour: tuple[float, float, float]):
    return np.array([corners], np.float64), np.full((1, 3, 3), colour, np.float32)


def pixels_of(path: Path):
    with Image.open(path) as image:
        return np.asarray(image).astype(int)


def leaf_and_bar() -> list[Part]:
    """One square leaf in the middle of the box and a fixture body above it."""
    leaf = np.array([[0.3, 0.2, 0.8], [0.9, 0.2, 0.8], [0.9, 0.8, 0.8], [0.3, 0.8, 0.8]])
    body = box_corners((0.8, 0.1, 0.05)) + np.array([0.2, 0.45, 1.5])
    sides = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    solid = [t for a, b, c, d in sides for t in ((a, b, c), (a, c, d))]
    return [
        Part("plant-01", "leaf", leaf, np.array([[0, 1, 2], [0, 2, 3]], np.int32), "pepper", False),
        Part("bar-1", "fixture", body, np.array(solid, np.int32), "paint", True),
    ]


def test_triangle_covers_exactly_the_pixels_whose_centres_it_holds():
    # Right angle at (2, 2), legs of 5: a pixel (i, j) is in if i, j ≥ 2 and the centres' sum < 9.
    screen, colours = flat([(2, 2, 1), (7, 2, 1), (2, 7, 1)], RED)
    image, nearness = draw_triangles(screen, colours, size=(10, 9))
    row, column = np.mgrid[:9, :10] + 0.5
    inside = (row > 2) & (column > 2) & (row + column <= 9)
    assert np.array_equal(nearness > 0, inside)
    assert np.array_equal(image[inside], np.broadcast_to(RED, (inside.sum(), 3)))
    assert np.all(image[~inside] == 1.0)


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_nearer_triangle_wins_in_any_order_and_winding(order):
    near = flat([(0, 0, 0.5), (0, 20, 0.5), (20, 0, 0.5)], RED)
    far = flat([(0, 0, 0.25), (20, 0, 0.25), (0, 20, 0.25)], BLUE)
    pair = [near, far]
    screen = np.concatenate([pair[i][0] for i in order])
    colours = np.concatenate([pair[i][1] for i in order])
    image, nearness = draw_triangles(screen, colours, size=(6, 6))
    assert tuple(image[2, 2]) == RED
    assert nearness[2, 2] == pytest.approx(0.5, rel=1e-12)


def test_triangles_that_cross_swap_at_the_crossing():
    """Nearness is blended between the corners, so two slanted sheets meet where they are equal."""
    screen = np.array(
        [
            [(0, 0, 0.2), (40, 0, 0.6), (0, 40, 0.2)],
            [(0, 0, 0.4), (40, 0, 0.4), (0, 40, 0.4)],
        ],
        np.float64,
    )
    colours = np.stack([np.full((3, 3), RED), np.full((3, 3), BLUE)]).astype(np.float32)
    image, _ = draw_triangles(screen, colours, size=(40, 4))
    assert np.all(image[0, :20] == BLUE)
    assert np.all(image[0, 20:38] == RED)


def test_two_triangles_that_share_an_edge_leave_no_gap():
    corners = np.random.default_rng(5).uniform(0, 60, (200, 4, 2))
    for quad in corners:
        quad = quad[np.argsort(np.arctan2(*(quad - quad.mean(0)).T))]
        flat_quad = np.concatenate([quad, np.ones((4, 1))], axis=1)
        halves = flat_quad[[[0, 1, 2], [0, 2, 3]]]
        fan = np.stack(
            [[flat_quad.mean(0), flat_quad[i], flat_quad[(i + 1) % 4]] for i in range(4)]
        )
        colours = np.zeros((4, 3, 3), np.float32)
        fanned = draw_triangles(fan, colours, size=(60, 60))[1] > 0
        halved = draw_triangles(halves, colours[:2], size=(60, 60))[1] > 0
        # A quadrilateral that is not convex is cut differently; then only the fan's star counts.
        turns = np.cross(
            np.c_[np.roll(quad, -1, 0) - quad, np.zeros(4)],
            np.c_[np.roll(quad, -2, 0) - np.roll(quad, -1, 0), np.zeros(4)],
        )[:, 2]
        if np.all(turns < 0) or np.all(turns > 0):
            assert np.array_equal(fanned, halved)


def test_nothing_off_the_picture_or_edge_on_is_drawn():
    screen = np.array(
        [[(-9, -9, 1), (-2, -9, 1), (-9, -2, 1)], [(1, 1, 1), (5, 5, 1), (9, 9, 1)]], np.float64
    )
    _, nearness = draw_triangles(screen, np.zeros((2, 3, 3), np.float32), size=(8, 8))
    assert not nearness.any()


def test_hollows_darken_behind_an_edge_and_nowhere_on_a_flat_sheet():
    nearness = np.full((40, 40), 0.5)
    image = np.ones((40, 40, 3), np.float32)
    assert np.array_equal(darken_hollows(image, nearness, radius=4, scale=0.5), image)
    nearness[:, :20] = 1.0
    shaded = darken_hollows(image, nearness, radius=4, scale=0.5)
    assert np.all(shaded[:, 20:23] < 1.0)
    assert np.all(shaded[:, :20] == 1.0)
    assert np.all(shaded[:, 26:] == 1.0)


def test_camera_sees_the_whole_box_the_right_way_round():
    for size in (SIZE, (4.0, 1.0, 0.5), (0.3, 0.3, 3.0)):
        camera = frame_box(size, 400)
        seen = camera.project(box_corners(size))
        assert np.all(seen[:, :2] >= 0.0)
        assert np.all(seen[:, :2] <= camera.size)
        assert camera.size[0] <= 401
    seen = frame_box(SIZE, 400).project(box_corners(SIZE))
    # Corner bits are x, y, z: right is right, up is up, the front is nearer than the back.
    assert seen[1, 0] > seen[0, 0]
    assert seen[4, 1] < seen[0, 1]
    assert seen[0, 2] > seen[2, 2]


def test_floor_lines_are_few():
    assert grid_spacing_m(SIZE) == 0.25
    for longer in np.geomspace(0.2, 900, 60):
        assert 2 <= longer / grid_spacing_m((longer, 0.1, 1.0)) <= 10


def test_leaves_are_green_strips_are_warm_and_named_colours_count(tmp_path, monkeypatch):
    monkeypatch.setenv("CANOPYSIM_DRAW", "raster")
    camera = frame_box(SIZE, 400)
    parts = leaf_and_bar()
    soup = paint(parts, SIZE, {}, (), camera)
    leaf = soup.colours[-14:-12].reshape(-1, 3)
    assert np.all(leaf[:, 1] > leaf[:, [0, 2]].max(axis=1))
    blue = paint(parts, SIZE, {"paint": "#0000ff", "pepper": "#0000ff"}, (), camera)
    assert np.all(blue.colours[-14:-12, :, 2] > blue.colours[-14:-12, :, 1])

    class Strip:
        light, centre, axes = 0, np.array([0.6, 0.5, 1.49]), np.eye(3)
        length_m, width_m = 0.7, 0.05

    class Sky(Strip):
        light = -1

    rectangles = luminous_rectangles([Strip(), Sky()])
    assert len(rectangles) == 1
    assert np.allclose(rectangles[0].min(axis=0), [0.25, 0.475, 1.49])
    assert np.allclose(rectangles[0].max(axis=0), [0.95, 0.525, 1.49])

    # At the strip's centre the picture is warm, at the leaf's centre green, outside white.
    used = draw_scene(parts, SIZE, None, tmp_path / "a.png", 300, strips=rectangles)
    assert used == RASTERISER
    pixels = pixels_of(tmp_path / "a.png")
    camera = frame_box(SIZE, 600)

    def at(point):
        x, y, _ = camera.project(np.array(point)) / 2
        return pixels[int(y), int(x)]

    red, green, blue_part = at([0.6, 0.5, 1.49])
    assert red > 200 and red > green > blue_part + 40
    red, green, blue_part = at([0.6, 0.45, 0.8])
    assert green > red + 20 and green > blue_part + 20
    assert tuple(pixels[0, 0]) == (255, 255, 255)
    assert pixels.shape[1] <= 300


def test_same_scene_same_bytes(tmp_path, monkeypatch):
    monkeypatch.setenv("CANOPYSIM_DRAW", "raster")
    for name in ("a.png", "b.png"):
        draw_scene(leaf_and_bar(), SIZE, None, tmp_path / name, 120)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


def test_an_empty_box_can_be_drawn(tmp_path, monkeypatch):
    monkeypatch.setenv("CANOPYSIM_DRAW", "raster")
    assert draw_scene([], (0.1, 0.1, 0.1), None, tmp_path / "a.png", 60) == RASTERISER
    assert pixels_of(tmp_path / "a.png").shape[1] <= 61


def stub(folder: Path, script: str) -> str:
    """An "interpreter" that does what the script says, whatever it is asked."""
    path = folder / "python"
    path.write_text(f"#!/bin/sh\n{script}\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return str(path)


@pytest.mark.skipif(sys.platform == "win32", reason="stubs are shell scripts")
@pytest.mark.parametrize("script", ["kill -SEGV $$", "kill -ABRT $$", "exit 1"])
def test_probe_survives_a_child_that_dies(tmp_path, script):
    assert gl_probe.probe("", python=stub(tmp_path, script)) is False


@pytest.mark.skipif(sys.platform == "win32", reason="stubs are shell scripts")
def test_probe_gives_up_on_a_child_that_hangs(tmp_path):
    assert gl_probe.probe("", python=stub(tmp_path, "exec sleep 60"), timeout_s=0.2) is False


@pytest.mark.skipif(sys.platform == "win32", reason="stubs are shell scripts")
def test_probe_believes_a_child_that_ends_well_and_names_the_window(tmp_path):
    good = stub(tmp_path, '[ "$VTK_DEFAULT_OPENGL_WINDOW" = someWindow ]')
    assert gl_probe.probe("someWindow", python=good) is True
    assert gl_probe.probe("", python=good) is False


def test_probe_without_an_interpreter_is_false(tmp_path):
    assert gl_probe.probe("", python=str(tmp_path / "nothing-there")) is False


def test_candidates_follow_the_display_and_the_users_word(monkeypatch):
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.delenv("VTK_DEFAULT_OPENGL_WINDOW", raising=False)
    monkeypatch.delenv("DISPLAY", raising=False)
    assert gl_probe.candidates() == ["vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow"]
    monkeypatch.setenv("DISPLAY", ":0")
    assert gl_probe.candidates()[0] == ""
    monkeypatch.setenv("VTK_DEFAULT_OPENGL_WINDOW", "vtkXOpenGLRenderWindow")
    assert gl_probe.candidates() == ["vtkXOpenGLRenderWindow"]


def test_chosen_window_is_put_back(monkeypatch):
    monkeypatch.setenv("VTK_DEFAULT_OPENGL_WINDOW", "before")
    with gl_probe.chosen_window("inside"):
        assert gl_probe.os.environ["VTK_DEFAULT_OPENGL_WINDOW"] == "inside"
    assert gl_probe.os.environ["VTK_DEFAULT_OPENGL_WINDOW"] == "before"
    monkeypatch.delenv("VTK_DEFAULT_OPENGL_WINDOW")
    with gl_probe.chosen_window("inside"):
        pass
    assert "VTK_DEFAULT_OPENGL_WINDOW" not in gl_probe.os.environ


def test_without_a_driver_the_rasteriser_draws(tmp_path, monkeypatch):
    monkeypatch.delenv("CANOPYSIM_DRAW", raising=False)
    monkeypatch.setattr(scene_picture, "working_window", lambda: None)
    used = draw_scene(leaf_and_bar(), SIZE, None, tmp_path / "a.png", 120)
    assert used == RASTERISER
    assert "no graphics driver" in renderer_note(used)
    monkeypatch.setenv("CANOPYSIM_DRAW", "vtk")
    with pytest.raises(CanopysimError, match="CANOPYSIM_DRAW=vtk"):
        draw_scene(leaf_and_bar(), SIZE, None, tmp_path / "b.png", 120)
    monkeypatch.setenv("CANOPYSIM_DRAW", "crayon")
    with pytest.raises(CanopysimError, match="crayon"):
        draw_scene(leaf_and_bar(), SIZE, None, tmp_path / "b.png", 120)


def test_both_renderers_draw_the_same_picture(tmp_path, monkeypatch):
    """VTK's picture is the rasteriser's but for pixels along edges; without VTK, that is said."""
    monkeypatch.delenv("CANOPYSIM_DRAW", raising=False)
    used = draw_scene(leaf_and_bar(), SIZE, None, tmp_path / "a.png", 200)
    if gl_probe.working_window() is None:
        assert (used, renderer_note(used)) == (
            RASTERISER,
            "picture drawn with the built-in rasteriser; no graphics driver was used",
        )
        return
    assert (used, renderer_note(used)) == (PYVISTA, "picture drawn with pyvista")
    monkeypatch.setenv("CANOPYSIM_DRAW", "raster")
    assert draw_scene(leaf_and_bar(), SIZE, None, tmp_path / "b.png", 200) == RASTERISER
    first, second = (pixels_of(tmp_path / f"{n}.png") for n in "ab")
    assert first.shape == second.shape
    different = np.abs(first - second).max(axis=2) > 24
    assert different.mean() < 0.02


DRAW_AND_COUNT = """
import numpy as np
from canopysim.report import raster
raster.draw_triangles(np.ones((1, 3, 3)), np.ones((1, 3, 3), np.float32), size=(4, 4))
stats = raster._fill.stats
print(sum(stats.cache_hits.values()), sum(stats.cache_misses.values()))
"""


def test_rasteriser_is_compiled_once_and_not_in_every_process(tmp_path):
    answers = [
        subprocess.run(
            [sys.executable, "-c", DRAW_AND_COUNT],
            env={**os.environ, "CANOPYSIM_CACHE_DIR": str(tmp_path)},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for _ in range(2)
    ]
    assert answers == ["0 1\n", "1 0\n"]
