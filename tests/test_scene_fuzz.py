"""Any text at all is either a scene or a scene error whose lines can be shown."""

import json

from hypothesis import given, settings
from hypothesis import strategies as st
from test_scene_file import REPOSITORY

from canopysim.errors import SceneError
from canopysim.scene import Scene, load_scene_text
from canopysim.scene.yaml_text import parse_yaml, plain


def accept_or_refuse(text: str) -> None:
    """Anything but a scene or a scene error is a failure."""
    try:
        scene = load_scene_text(text)
    except SceneError as error:
        assert error.problems
        for line in error.problems:
            assert line.startswith(("scene:", "scene  "))
            assert line.isprintable()
    else:
        assert isinstance(scene, Scene)


@settings(deadline=None, max_examples=200)
@given(st.text(max_size=200) | st.text(alphabet=" \n\t:-[]{}&*!|>'\"%@`#,?ab1", max_size=60))
def test_any_text_is_a_scene_or_a_scene_error(text):
    accept_or_refuse(text)


FULL = (REPOSITORY / "scenes" / "basil-shelf.yaml").read_text(encoding="utf-8")
WORDS = [
    *("open", "[key]", "0 cm", "-5 cm", "1e3", "{}", "[]", "~", "all", "100 %", "0 %", "90 deg"),
    *("{a: b}", "[1, 2, 3]", "400-700", "''", "|", "&x", "*x", "!y", "fixture", "\n", "file: x"),
]


@settings(deadline=None, max_examples=200)
@given(st.data())
def test_a_damaged_scene_is_a_scene_or_a_scene_error(data):
    """Words of a sound scene are exchanged, dropped and put in at random."""
    tokens = FULL.split(" ")
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(tokens) - 1))
        word = data.draw(st.sampled_from(WORDS) | st.sampled_from(tokens) | st.text(max_size=8))
        how = data.draw(st.sampled_from(["replace", "insert", "drop"]))
        tokens[at : at + (how != "insert")] = [] if how == "drop" else [word]
    accept_or_refuse(" ".join(tokens))


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_a_scene_of_wrong_values_is_a_scene_or_a_scene_error(data):
    """One entry of a sound scene, anywhere, is replaced by another shape of thing."""
    tree = plain(parse_yaml(FULL, "x"))
    node, key = tree, data.draw(st.sampled_from(sorted(tree)))
    while data.draw(st.booleans()) and isinstance(node[key], dict | list) and node[key]:
        node = node[key]
        key = data.draw(
            st.sampled_from(sorted(node)) if isinstance(node, dict) else st.sampled_from([0])
        )
    leaf = st.sampled_from(WORDS) | st.text(max_size=6)
    node[key] = data.draw(
        st.recursive(leaf, lambda s: st.lists(s, max_size=3) | st.dictionaries(leaf, s, max_size=3))
    )
    # JSON on one line is YAML, but for its escapes of two halves.
    accept_or_refuse(json.dumps(tree, ensure_ascii=data.draw(st.booleans())))
