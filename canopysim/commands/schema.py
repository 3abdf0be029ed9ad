"""schema: what a scene file may say, for editors."""

from __future__ import annotations

import typer


def schema() -> None:
    """Print the JSON Schema of scene files, for editors that check while you type."""
    import json

    from canopysim.scene.load import schema_json

    typer.echo(json.dumps(schema_json(), indent=2, ensure_ascii=False))
