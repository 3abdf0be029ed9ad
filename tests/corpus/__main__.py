"""Writes the corpus anew: files and `expected.json`."""

import json

from corpus import FOLDER, cases


def expected(found):
    """What is expected of a file, as it stands in `expected.json`."""
    if found.refusal:
        line, words = found.refusal
        return {"refused": f"{found.name}:{line}: ... {words} ..."}
    told = {"flux": float(f"{found.flux:.6g}"), "within": found.rel, "source": found.source}
    if found.opening:
        told["opening"] = list(found.opening)
    if found.doubts:
        told["doubts"] = [f"{found.name}:{line}: ... {words} ..." for line, words in found.doubts]
    return told


def index() -> str:
    """Text of `expected.json`."""
    return json.dumps({c.name: expected(c) for c in cases()}, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FOLDER.mkdir(parents=True, exist_ok=True)
    for old in FOLDER.iterdir():
        old.unlink()
    for case in cases():
        (FOLDER / case.name).write_bytes(case.data)
    (FOLDER / "expected.json").write_text(index(), encoding="utf-8")
    print(f"{len(cases())} files in {FOLDER}")
