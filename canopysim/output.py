"""The folder that a run writes: made before any tracing, filled with the books first."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from canopysim.errors import CanopysimError

if TYPE_CHECKING:
    from canopysim.results import Result
    from canopysim.scene.schema import Scene
    from canopysim.world.compile import World


@contextmanager
def result_folder(out: Path | None, scene: Path, replace: bool) -> Iterator[Path]:
    """Make the folder before any tracing, so that no work is lost to a typing error.

    It is taken away again where the work fails before anything lies in it.
    """
    from canopysim.checkpoint import CHECKPOINT_NAME
    from canopysim.results import FILE_NAME

    folder, number = out or Path("results") / scene.stem, 1
    try:
        if out is not None and (out / FILE_NAME).exists() and not replace:
            raise CanopysimError(
                f"{folder}: holds results already; choose another --out, or add --replace"
            )
        if out is not None and (out / CHECKPOINT_NAME).exists() and not replace:
            raise CanopysimError(
                f"{folder}: holds the checkpoint of a run that was killed; take it up with "
                f"'canopysim resume {folder}', choose another --out, or add --replace"
            )
        made = [place for place in folder.parents if not place.exists()]
        while True:
            try:
                # Making it tells whether it is free, also to a run that starts at this moment.
                folder.mkdir(parents=True)
                made.insert(0, folder)
                break
            except FileExistsError:
                if out is not None:
                    break
            number += 1
            folder = Path("results") / f"{scene.stem}-{number}"
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as problem:
        raise CanopysimError(
            f"{folder}: cannot be written to ({problem.strerror}); choose another folder with --out"
        ) from None
    try:
        yield folder
    except BaseException:
        with suppress(OSError):
            for place in made:
                place.rmdir()
        raise


def write_files(scene: Scene, world: World, result: Result, folder: Path) -> str:
    """Write all files of a run, the books first.

    Parameters
    ----------
    scene, world, result : Scene, World, Result
        What was traced and found.
    folder : Path
        Existing folder; what an earlier result wrote there is replaced.

    Returns
    -------
    str
        What drew the picture, for `renderer_note`.

    Raises
    ------
    CanopysimError
        Where something cannot be written; what was written by then stays.
    """
    from canopysim.analysis.canopy_box import has_plants, has_sides
    from canopysim.analysis.facets import has_facets
    from canopysim.analysis.profile import knows_profile
    from canopysim.analysis.told_apart import splits_of
    from canopysim.checkpoint import remove_checkpoint
    from canopysim.report.canopy_box import write_canopy_box_csv, write_plants_csv
    from canopysim.report.leaf_light import write_leaf_light_csv
    from canopysim.report.page import write_report
    from canopysim.report.penetration import write_profile_csv
    from canopysim.report.probes import write_probes_csv
    from canopysim.report.scene_picture import draw_scene
    from canopysim.report.shading import luminous_rectangles
    from canopysim.report.tables import write_tables
    from canopysim.report.told_apart import write_told_apart_csv
    from canopysim.report.volume_picture import picture_leaves
    from canopysim.results import FILE_NAME

    replacing = (folder / FILE_NAME).exists()
    result.save(folder)
    remove_checkpoint(folder)
    try:
        if replacing:
            _remove_companions(folder)
        write_tables(result, folder)
        if knows_profile(result):
            write_profile_csv(result, folder / "profile.csv")
        if has_sides(result):
            write_canopy_box_csv(result, folder / "canopy-box.csv")
        if has_plants(result):
            write_plants_csv(result, folder / "plants.csv")
        if has_facets(result):
            write_leaf_light_csv(result, folder / "leaf-light.csv")
        if splits_of(result):
            write_told_apart_csv(result, folder / "told-apart.csv")
        if result.probes is not None:
            write_probes_csv(result, folder / "probes.csv")
        try:
            used = draw_scene(
                [*world.parts, *picture_leaves(world.volumes, scene.enclosure.size)],
                scene.enclosure.size,
                None,
                folder / "scene.png",
                strips=luminous_rectangles(world.strips),
                drawn_room=scene.enclosure.room is not None,
            )
        except CanopysimError:
            # A picture that cannot be had costs nothing else.
            write_report(result, folder, None)
            raise
        write_report(result, folder, folder / "scene.png")
    except OSError as problem:
        raise CanopysimError(
            f"{problem.filename or folder}: cannot be written ({problem.strerror or problem}); "
            f"the result itself is in {folder / FILE_NAME}"
        ) from None
    return used


def _remove_companions(folder: Path) -> None:
    """Remove what an earlier result wrote beside its file: a new one may write fewer tables."""
    tables = (
        "layers.csv", "profile.csv", "canopy-box.csv", "plants.csv", "leaf-light.csv",
        "told-apart.csv", "probes.csv", "map-*.csv",
    )  # fmt: skip
    for name in (*tables, "scene.png", "report.html"):
        for old in folder.glob(name):
            old.unlink()
