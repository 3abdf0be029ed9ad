"""What the user declares: the scene file, its schema, and the errors that name line and column."""

from canopysim.scene.load import load_scene, load_scene_text, resolve_reference, schema_json
from canopysim.scene.schema import Scene

__all__ = ["Scene", "load_scene", "load_scene_text", "resolve_reference", "schema_json"]
