"""Replicate canopies: the same scene with plants from several seeds, traced as one run."""

import numpy as np
import pytest
from build import plain_box, scene_of, trace
from torture import EVERYTHING, torture

from canopysim.checkpoint import read_run
from canopysim.errors import CanopysimError
from canopysim.follow import Address, follow
from canopysim.results import Result
from canopysim.tracing import resume, run
from canopysim.world.compile import compile_world
from canopysim.world.replicates import replicate_scenes, with_replicates


def replicated(n="3", batch=3000, **changes) -> dict:
    scene = torture(batch) | changes
    scene["canopy"] = scene["canopy"] | {"replicates": n}
    return scene


def test_each_replicate_is_the_scene_with_another_plant_seed():
    scene = scene_of(replicated("3"))
    world = compile_world(scene)
    seeds = [one.canopy.seed for one in replicate_scenes(scene)]
    assert seeds == [4, 5, 6]
    for seed, one in zip(seeds, world.replicates, strict=True):
        alone = torture(1000)
        alone["canopy"] = alone["canopy"] | {"seed": str(seed)}
        assert compile_world(scene_of(alone)).digest == one.digest
    assert len({one.digest for one in world.replicates}) == 3
    assert world.batch_packets == 3 * world.replicates[0].batch_packets
    # The photons that the lights send out are those of one scene, not of three.
    one = compile_world(scene_of(torture(3000)))
    for mine, alone in zip(world.channels, one.channels, strict=True):
        assert mine.umol_s_per_quantum * mine.packets == pytest.approx(
            alone.umol_s_per_quantum * alone.packets, rel=1e-12
        )


def test_a_run_is_the_sum_of_its_replicates_batch_by_batch():
    """Replicate r takes the batches r, r + 3, ...: traced alone they give the very same quanta."""
    scene = scene_of(replicated("3", also_count=dict(EVERYTHING)))
    world = compile_world(scene)
    result = run(scene, world=world, target={}, max_packets=2 * world.batch_packets, seed=8)
    assert result.n_batch == 2
    alone = [trace(one, 6, seed=8) for one in world.replicates]
    for batch in range(2):
        each = [rows.absorbed[3 * batch + r] for r, rows in enumerate(alone)]
        kept = result.rows["replicate_absorbed"].values[batch]
        assert all(np.array_equal(a, b) for a, b in zip(each, kept, strict=True))
        assert np.array_equal(result.rows["absorbed"].values[batch], np.sum(each, 0))
        crossed = [rows.crossed_sum[3 * batch + r] for r, rows in enumerate(alone)]
        assert np.array_equal(result.rows["replicate_crossed"].values[batch], crossed)
        assert np.array_equal(result.rows["crossed_sum"].values[batch], np.sum(crossed, 0))
    # What is told apart: rows add up, triangles follow each other; batch 3 folds as batch 3 does.
    first = [rows.splits for rows in alone]
    assert np.array_equal(
        result.rows["split_absorbed"].values[1], sum(s.absorbed[3 + r] for r, s in enumerate(first))
    )
    assert np.array_equal(
        result.rows["canopy_counted"].values[0], sum(s.canopy[r] for r, s in enumerate(first))
    )
    assert np.array_equal(
        result.rows["facet_absorbed"].values[0],
        np.concatenate([s.facet[r] for r, s in enumerate(first)]),
    )
    # Leaf area, and the light of triangles, are those of the mean canopy.
    area = float(result.rows["facet_area_m2"].where(result.rows["facet_layer"] > 0).sum())
    assert area == pytest.approx(float(result.layers["leaf_area_m2"].sum()), rel=1e-9)
    assert area == pytest.approx(0.8 * 0.9 * 0.7, rel=1e-6)


def test_an_interrupted_run_goes_on_as_if_it_had_not_been(tmp_path):
    scene = scene_of(replicated("2", also_count={"canopy_sides": "true"}))
    packets = compile_world(scene).batch_packets
    whole = run(scene, target={}, max_packets=4 * packets, seed=8)
    run(scene, target={}, max_packets=2 * packets, seed=8).save(tmp_path)
    more = resume(tmp_path, max_packets=4 * packets, checkpoint=False)
    assert more.n_batch == whole.n_batch == 4
    for name in ("absorbed", "replicate_absorbed", "replicate_crossed", "canopy_counted"):
        assert np.array_equal(more.rows[name].values, whole.rows[name].values)
    assert more.digest == whole.digest


def test_replicates_asked_for_in_the_call_are_kept_for_resuming(tmp_path):
    scene = scene_of(torture(2000))
    run(scene, target={}, max_packets=4000, replicates=2, seed=8).save(tmp_path)
    old = read_run(tmp_path)
    assert len(old.world.replicates) == 2
    assert Result.load(tmp_path).settings["replicates"] == 2


def test_threads_do_not_change_a_quantum():
    scene = scene_of(replicated("2"))
    one, other = (
        run(scene, target={}, max_packets=6000, seed=8, threads=threads) for threads in (1, 2)
    )
    assert np.array_equal(one.rows["absorbed"].values, other.rows["absorbed"].values)


def test_one_photon_is_followed_in_its_own_canopy():
    world = compile_world(scene_of(replicated("3")))
    for batch in range(3):
        address = Address(0, batch, 5)
        assert follow(world, 8, address) == follow(world.replicates[batch], 8, address)


def test_what_cannot_be_replicated_is_refused():
    with pytest.raises(CanopysimError, match="no plants of this scene grow from a seed"):
        with_replicates(scene_of(plain_box()), 4)
    with pytest.raises(CanopysimError, match="99 is out of range; allowed is 1 to 64"):
        with_replicates(scene_of(torture(300)), 99)
    scene = scene_of(torture(300))
    assert with_replicates(scene, None) is scene
    assert with_replicates(scene, 1) is scene
    with pytest.raises(CanopysimError, match="2 were asked for, but the compiled world has 1"):
        run(scene, world=compile_world(scene), replicates=2)
